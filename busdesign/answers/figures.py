"""Figures of answers: milliseconds, and times as a person would write them."""

MS = 1_000_000  # nanoseconds


def in_ms(time_ns: int | None) -> float | None:
    """Milliseconds; None where there is no time."""
    return None if time_ns is None else time_ns / MS


def rounded_up(time_ns: int) -> int:
    """To the next tenth of a millisecond: a figure a person would write."""
    return -(-time_ns // 100_000) * 100_000
