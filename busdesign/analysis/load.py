"""How full the bus is: the share of time that the messages ask for, exact.

Source of the measure: the utilisation sum of C/T in the schedulability literature, as in Davis et al. 2007 (see
``response``). With every frame at its longest it is the worst load; with other lengths it is the load for those.
"""

from collections.abc import Iterable
from fractions import Fraction

from busdesign.analysis.response import Stream


def utilisation(streams: Iterable[Stream]) -> Fraction:
    """Fraction of bus time asked for: sum of length / period, exact; above 1 the bus is asked for more than it has.

    With clock drift the caller passes shortest periods and slowest bits, as for the bounds.
    """
    return sum((stream.utilisation for stream in streams), Fraction(0))
