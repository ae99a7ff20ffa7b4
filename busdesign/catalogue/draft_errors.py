"""``bus.errors`` as written: a least distance between errors, or a rate."""

from fractions import Fraction
from typing import Annotated

from pydantic import Field

from busdesign.catalogue.json_shapes import quantity
from busdesign.catalogue.written import Duration, PositiveDuration, ReadBy, Written
from busdesign.findings import Refused, shown
from busdesign.units import positive, read_quantity


def _probability(written: object) -> Fraction:
    chance = read_quantity(written, "ratio", lambda ratio: 0 < ratio < 1)
    if not 0 < chance < 1:
        raise Refused(f"{shown(written)} is no such probability", "more than 0 %, and less than 100 %, is allowed")
    return chance


Rate = Annotated[Fraction, ReadBy(lambda written: positive(written, "rate"), quantity("rate"))]
Probability = Annotated[Fraction, ReadBy(_probability, quantity("ratio", "1 ppm"))]


class ErrorsWritten(Written):
    """``bus.errors``: how often errors disturb the bus."""

    at_least_apart: PositiveDuration | None = Field(None, description="least time between two, such as `10 ms`")
    burst: int = Field(1, description="so many at once, one time in a busy period, such as `2`", ge=1, le=1000)
    lasting: Duration = Field(0, description="for how long each keeps the bus busy, such as `1 ms`")
    rate: Rate | None = Field(None, description="in place of `at_least_apart`: at random, such as `30 per s`")
    late_at_most: Probability | None = Field(
        None, description="with `rate`: probability that a frame is late, such as `1 ppm`"
    )
