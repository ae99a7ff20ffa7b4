"""The receiver acted out: by hand where a person can count, by law elsewhere."""

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from busdesign.wire.bit_timing import Segments, Setting
from busdesign.wire.sampling import edges_of, sample, sampled

# Ten quanta of 100 ns, sampled after six.
TEN = Setting(10_000_000, 1, Segments(1, 4, 4, 1))
BIT_NS = 1000


def times_ns(setting: Setting, edges_ns: list[int], samples: int) -> list[Fraction]:
    return [one.time_ns for one in sample(setting, [Fraction(edge) for edge in edges_ns], samples)]


@given(st.text("01", max_size=40), st.fractions(0, Fraction(999, 1000), max_denominator=1000), st.integers(0, 1000))
def test_equal_clocks_sample_every_bit_at_the_sample_point(rest: str, place: Fraction, delay_ns: int) -> None:
    bits = "0" + rest
    seen = sampled(TEN, bits, BIT_NS, delay_ns=delay_ns, edge_in_quantum=place)
    assert "".join(one.level for one in seen) == bits
    assert all(one.is_right for one in seen)
    assert [one.bit for one in seen] == list(range(len(bits)))
    earlier_ns = place * 100
    assert [one.time_ns for one in seen] == [delay_ns + 600 - earlier_ns + BIT_NS * bit for bit in range(len(bits))]


@pytest.mark.parametrize(
    ("second_edge_ns", "sjw", "third_sample_ns"),
    [
        (2000, 1, 2600),  # on time
        (2099, 1, 2600),  # still within the sync segment
        (2100, 1, 2700),  # a quantum late: phase_seg1 is one longer
        (2299, 1, 2700),  # two late, one taken up
        (2299, 2, 2800),
        (2599, 4, 3000),  # five late, four taken up
        (1999, 1, 2500),  # a quantum early: phase_seg2 is one shorter
        (1900, 1, 2500),
        (1999, 2, 2500),
        (1899, 1, 2500),  # two early, one taken up
        (1899, 2, 2400),
        (1601, 4, 2200),
    ],
)
def test_an_edge_moves_the_next_sample(second_edge_ns: int, sjw: int, third_sample_ns: int) -> None:
    """Dominant, recessive, dominant; the second edge to dominant comes at ``second_edge_ns``."""
    setting = Setting(10_000_000, 1, Segments(1, 4, 4, sjw))
    edges_ns = [0, 1000, second_edge_ns]
    assert times_ns(setting, edges_ns, 4) == [600, 1600, third_sample_ns, third_sample_ns + 1000]


def test_only_edges_to_dominant_after_a_recessive_sample_synchronise() -> None:
    assert times_ns(TEN, [0, 1150, 1350], 4) == [600, 1600, 2600, 3600]  # recessive between two dominant samples
    assert times_ns(TEN, [0, 1100, 3000], 4) == [600, 1600, 2600, 3600]
    assert times_ns(TEN, [0, 700, 850], 2) == [600, 1600]  # the same, before the bit ends


def test_only_one_edge_between_two_samples_synchronises() -> None:
    """Early by two quanta, one taken up; back, and then late by one in the new bit: the second does not count."""
    assert times_ns(TEN, [0, 1000, 1850, 1880, 2050], 4) == [600, 1600, 2500, 3500]


@given(st.integers(-20, 20), st.integers(1, 4))
def test_a_drift_within_the_jump_width_is_taken_up_for_ever(thousandths: int, sjw: int) -> None:
    setting = Setting(10_000_000, 1, Segments(1, 4, 4, sjw))
    if abs(thousandths) > 10 * sjw * Fraction(9, 10):
        return
    bit_ns = Fraction(BIT_NS * (1000 + thousandths), 1000)
    assert all(one.is_right for one in sampled(setting, "0000011111" * 30, bit_ns))


@given(st.integers(-500, 500), st.integers(0, 99), st.text("01", max_size=12))
def test_a_clock_error_is_a_quantum_longer_or_shorter(ppm: int, percent: int, rest: str) -> None:
    """One factor on every time of the sender does what the inverse does to the receiver's clock."""
    error, place = Fraction(ppm, 10**6), Fraction(percent, 100)
    by_clock = sampled(TEN, "0" + rest, BIT_NS, clock_error=error, edge_in_quantum=place)
    by_sender = sampled(TEN, "0" + rest, BIT_NS * (1 + error), edge_in_quantum=place)
    assert [(one.time_ns * (1 + error), one.level, one.bit) for one in by_clock] == [
        (one.time_ns, one.level, one.bit) for one in by_sender
    ]


def test_edges_of_bits() -> None:
    assert edges_of("0010", 1000, 5) == [5, 2005, 3005]


def test_bad_input() -> None:
    with pytest.raises(ValueError, match="'10' cannot follow an idle bus; write"):
        sampled(TEN, "10", BIT_NS)
    with pytest.raises(ValueError, match="'02' cannot follow an idle bus"):
        edges_of("02", BIT_NS)
    with pytest.raises(ValueError, match="a bit of 0 ns does not last"):
        sampled(TEN, "0", 0)
    with pytest.raises(ValueError, match="without an edge nothing is synchronised"):
        sample(TEN, [], 1)
    with pytest.raises(ValueError, match="do not rise in time"):
        sample(TEN, [Fraction(1), Fraction(1)], 1)
    with pytest.raises(ValueError, match="a clock off by -1 stands still"):
        sampled(TEN, "0", BIT_NS, clock_error=-1)
    with pytest.raises(ValueError, match="1 of a quantum is not within it"):
        sampled(TEN, "0", BIT_NS, edge_in_quantum=1)
