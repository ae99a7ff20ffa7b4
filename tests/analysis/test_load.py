"""The load of a set of messages, exact."""

from fractions import Fraction

from busdesign.analysis.load import utilisation
from busdesign.analysis.response import Stream


def test_load_is_the_exact_sum_of_length_over_period() -> None:
    streams = [Stream("a", 1, 3, 0, 3, 1), Stream("b", 2, 7, 5, 7, 2), Stream("c", 3, 10, 0, 9, 1)]
    assert utilisation(streams) == Fraction(1, 3) + Fraction(2, 7) + Fraction(1, 10)


def test_load_of_nothing_is_nothing() -> None:
    assert utilisation([]) == 0


def test_load_may_exceed_the_bus() -> None:
    assert utilisation([Stream("a", 1, 10, 0, 10, 6), Stream("b", 2, 10, 0, 10, 6)]) == Fraction(6, 5)
