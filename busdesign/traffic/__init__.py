"""Frames in time as numpy columns: one type for simulated and recorded traffic, its files and its decoding."""
