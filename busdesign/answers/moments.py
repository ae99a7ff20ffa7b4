"""Moments of a recording as people write them."""

from busdesign.findings import shown
from busdesign.units import NS_PER_S, QuantityError, read_quantity

LATEST_S = 2**62 // 10**9  # beyond it, times of frames do not fit their column


def read_moment(written: str) -> int:
    """A moment, or a distance that may be negative, in whole nanoseconds. Raises QuantityError."""
    time_s = read_quantity(written, "duration")
    if (time_s * NS_PER_S).denominator != 1 or abs(time_s) >= LATEST_S:
        raise QuantityError(f"{shown(written)} is no moment of a recorder's clock", "such as `12.5 s`")
    return int(time_s * NS_PER_S)
