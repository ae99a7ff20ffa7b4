"""One file a door: joins what the rooms say into one typed result. The Python API is this floor."""
