"""``bus.errors`` of the frozen catalogue: how often errors disturb the bus, as the analysis is to take it."""

from dataclasses import dataclass
from fractions import Fraction


@dataclass(frozen=True, slots=True)
class ErrorModel:
    """Errors with a least distance (``rate_per_s`` is None), or at random (``at_least_apart_ns`` is None).

    Errors count where they are signalled, at the first bit of the error flag.
    """

    at_least_apart_ns: int | None = None
    burst: int = 1  # once in a busy period, so many errors as close together as they like
    lasting_ns: int = 0  # for how long each of them keeps the bus from carrying anything
    rate_per_s: Fraction | None = None  # in the mean, of independent errors
    late_at_most: Fraction | None = None  # the probability that a frame is late which may not be exceeded
