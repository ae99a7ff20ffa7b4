"""Two boards on one harness: against the published conditions, and against bits acted out quantum by quantum."""

from collections.abc import Iterator
from fractions import Fraction

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from busdesign.wire.bit_timing import Segments, Setting
from busdesign.wire.compatibility import Board, PairCondition, Understanding, understanding
from busdesign.wire.oscillator import classical_conditions
from busdesign.wire.sampling import sample, sampled

BIT_RATE_BIT_S = 1_000_000
BIT_NS = 1000

EDGE_TO_EDGE = "0" * 5 + "1" * 5  # the furthest between two synchronising edges that stuffing allows
ERROR_FLAG = "0" * 12 + "1"  # one edge, then nothing to synchronise to until bit 13
# How much of a quantum was over when the edge came: at its start, within, and as near to its end as it matters.
PLACES = (Fraction(0), Fraction(1, 2), 1 - Fraction(1, 10**9))


@st.composite
def segments(draw: st.DrawFn) -> Segments:
    prop, ps1, ps2 = (draw(st.integers(1, 8)) for _ in range(3))
    return Segments(prop, ps1, ps2, sjw=draw(st.integers(1, min(4, ps1, ps2))))


def at_the_rate(one: Segments) -> Setting:
    """Each board its own clock and quanta, all at 1 Mbit/s."""
    return Setting(BIT_RATE_BIT_S * one.quanta, 1, one)


def filling_delay_ns(setting: Setting) -> Fraction:
    return setting.longest_delay_ns


def named(found: Understanding, name: str, **more: str) -> PairCondition:
    (one,) = (
        one
        for one in found.conditions
        if one.name == name and all(getattr(one, key) == value for key, value in more.items())
    )
    return one


def frequency_off(period_factor: Fraction) -> Fraction:
    """The tolerance of a clock whose period at its worst is ``period_factor`` times the nominal one."""
    return abs(1 / period_factor - 1)


@given(segments())
def test_equal_boards_meet_the_published_conditions_exactly_with_the_drift_on_one_side(one: Segments) -> None:
    """At the published limit, all of 2 df in one clock's period, what is left is nothing: neither more nor less."""
    setting = at_the_rate(one)
    delay_ns = filling_delay_ns(setting)
    jump, _ = classical_conditions(one)

    slow_sender = Board("sender", setting, frequency_off(1 + 2 * jump.tolerance))
    found = understanding(slow_sender, Board("receiver", setting), delay_ns=delay_ns)
    assert named(found, "resynchronisation", sender="sender", sender_is="slow").margin == 0

    until_sample = 13 * one.quanta - one.phase_seg2
    late = Fraction(one.phase_seg2, 2 * until_sample)
    slow_receiver = Board("receiver", setting, frequency_off(1 + 2 * late))
    found = understanding(Board("sender", setting), slow_receiver, delay_ns=delay_ns)
    assert named(found, "sampled late", sender="sender").margin == 0

    early = Fraction(one.phase_seg1, 2 * (until_sample - 1))  # the one quantum that the published limit counts twice
    fast_receiver = Board("receiver", setting, frequency_off(1 - 2 * early))
    found = understanding(Board("sender", setting), fast_receiver, delay_ns=delay_ns)
    assert named(found, "sampled early", sender="sender").margin == 0


@given(segments())
def test_equal_boards_that_share_the_drift_meet_them_to_first_order(one: Segments) -> None:
    """Exactly df / (1 + df) of the published df; sampling early is published up to a twentieth too strict."""
    setting = at_the_rate(one)
    found = understanding(Board("a", setting), Board("b", setting), delay_ns=filling_delay_ns(setting))
    jump, flag = (condition.tolerance for condition in classical_conditions(one))
    until_sample = 2 * (13 * one.quanta - one.phase_seg2)
    late, early = Fraction(one.phase_seg2, until_sample), Fraction(one.phase_seg1, until_sample)
    assert min(late, early) == flag
    assert named(found, "resynchronisation", sender="a", sender_is="slow").margin == jump / (1 + jump)
    assert named(found, "sampled late", sender="a").margin == late / (1 + late)
    assert early <= named(found, "sampled early", sender="a").margin <= early * Fraction(21, 20)


def test_the_best_published_tolerance_is_a_little_generous() -> None:
    """1/4/4/4: 1.587 % as published; two such clocks at 1.5625 % still understand each other, no further."""
    setting = at_the_rate(Segments(1, 4, 4, 4))
    found = understanding(Board("a", setting), Board("b", setting), delay_ns=0)
    assert found.tightest.name == "sampled late"
    assert found.margin == Fraction(1, 64)
    df = Fraction(1, 63)
    assert df == min(condition.tolerance for condition in classical_conditions(setting.segments))
    at_the_limit = sampled(setting, ERROR_FLAG, BIT_NS / (1 + df), clock_error=-df)
    assert [one.is_right for one in at_the_limit] == [True] * 12 + [False]


def worst_clocks(first: Board, second: Board, more: Fraction) -> Iterator[tuple[Setting, Fraction, Fraction]]:
    """Receiver, real bit time of the sender and error of the receiver: both directions, every pair of signs."""
    for sender, receiver in ((first, second), (second, first)):
        for sender_sign in (-1, 1):
            for receiver_sign in (-1, 1):
                bit_ns = sender.setting.bit_ns / (1 + sender_sign * (sender.clock_tolerance + more))
                yield receiver.setting, bit_ns, receiver_sign * (receiver.clock_tolerance + more)


def edge_to_edge_is_right(receiver: Setting, bit_ns: Fraction, error: Fraction, repeats: int) -> bool:
    return all(
        bit.is_right
        for place in PLACES
        for bit in sampled(receiver, EDGE_TO_EDGE * repeats, bit_ns, clock_error=error, edge_in_quantum=place)
    )


def error_flag_is_right(receiver: Setting, bit_ns: Fraction, error: Fraction) -> bool:
    return all(
        bit.is_right
        for place in PLACES
        for bit in sampled(receiver, ERROR_FLAG, bit_ns, clock_error=error, edge_in_quantum=place)
    )


def superposed_flag_is_right(receiver: Setting, bit_ns: Fraction, error: Fraction, delay_ns: Fraction) -> bool:
    """The edge comes from beside the receiver; the flag's end from the far node, which followed that edge."""
    edges_ns = [Fraction(0), 12 * bit_ns + 2 * delay_ns]
    return all(
        "".join(one.level for one in sample(receiver, edges_ns, 13, clock_error=error, edge_in_quantum=place))
        == ERROR_FLAG
        for place in PLACES
    )


def right_with(first: Board, second: Board, delay_ns: Fraction, more: Fraction, repeats: int) -> dict[str, bool]:
    """Whether the condition of that name is met, acted out at the worst clocks, each ``more`` off than declared."""
    clocks = list(worst_clocks(first, second, more))
    return {
        "resynchronisation": all(edge_to_edge_is_right(*one, repeats) for one in clocks),
        "sampled late": all(error_flag_is_right(*one) for one in clocks),
        "sampled early": all(superposed_flag_is_right(*one, delay_ns) for one in clocks),
    }


TOLERANCES = st.integers(0, 4).map(lambda steps: Fraction(steps, 2000))


@settings(max_examples=40)
@given(segments(), segments(), TOLERANCES, TOLERANCES, st.integers(0, 300))
def test_just_inside_everything_is_sampled_right_and_just_outside_the_tightest_fails(
    one: Segments, other: Segments, tolerance: Fraction, other_tolerance: Fraction, delay_ns: int
) -> None:
    first, second = Board("a", at_the_rate(one), tolerance), Board("b", at_the_rate(other), other_tolerance)
    found = understanding(first, second, delay_ns=delay_ns)
    assume(found.margin > Fraction(1, 10_000))
    inside = right_with(first, second, Fraction(delay_ns), found.margin * Fraction(999, 1000), repeats=6)
    assert all(inside.values())
    if found.tightest.name != "resynchronisation":  # which fails only in time: the next test
        beyond = right_with(first, second, Fraction(delay_ns), found.margin * Fraction(1002, 1000), repeats=1)
        assert not beyond[found.tightest.name]


@pytest.mark.parametrize(
    ("one", "other"),
    [
        (Segments(3, 4, 4, 1), Segments(3, 4, 4, 1)),
        (Segments(2, 6, 6, 2), Segments(4, 5, 5, 2)),
        (Segments(7, 4, 4, 3), Segments(3, 2, 2, 1)),
    ],
)
def test_beyond_resynchronisation_an_endless_pattern_goes_wrong_and_a_frame_does_not(
    one: Segments, other: Segments
) -> None:
    """What a jump leaves over adds up over edges: the published condition is strict for frames, which end."""
    first, second = Board("a", at_the_rate(one)), Board("b", at_the_rate(other))
    found = understanding(first, second, delay_ns=0)
    assert found.tightest.name == "resynchronisation"
    nothing = Fraction(0)
    assert right_with(first, second, nothing, found.margin * Fraction(999, 1000), repeats=100)["resynchronisation"]
    beyond = found.margin * Fraction(102, 100)
    assert right_with(first, second, nothing, beyond, repeats=13)["resynchronisation"]  # the longest frame: 132 bits
    receiver = first if found.tightest.receiver == "a" else second
    sender = second if receiver is first else first
    bit_ns = sender.setting.bit_ns / (1 - beyond)
    assert not edge_to_edge_is_right(receiver.setting, bit_ns, beyond, repeats=600)


@given(segments(), segments(), TOLERANCES, TOLERANCES, st.integers(0, 2000))
def test_boards_that_do_not_understand_each_other_lose_a_bit(
    one: Segments, other: Segments, tolerance: Fraction, other_tolerance: Fraction, delay_ns: int
) -> None:
    """No margin at the declared tolerances, by the 13 bits: then a bit is sampled wrong at them, and not otherwise."""
    first, second = Board("a", at_the_rate(one), tolerance), Board("b", at_the_rate(other), other_tolerance)
    found = understanding(first, second, delay_ns=delay_ns)
    right = right_with(first, second, Fraction(delay_ns), Fraction(0), repeats=1)
    for name in ("sampled late", "sampled early"):
        margins = [condition.margin for condition in found.conditions if condition.name == name]
        assume(all(abs(margin) > Fraction(1, 10**7) for margin in margins))
        assert right[name] == (min(margins) >= 0)


@given(segments(), segments(), TOLERANCES, TOLERANCES, st.integers(0, 500))
def test_both_directions_the_tightest_first(
    one: Segments, other: Segments, tolerance: Fraction, other_tolerance: Fraction, delay_ns: int
) -> None:
    first, second = Board("a", at_the_rate(one), tolerance), Board("b", at_the_rate(other), other_tolerance)
    found = understanding(first, second, delay_ns=delay_ns)
    assert set(understanding(second, first, delay_ns=delay_ns).conditions) == set(found.conditions)
    assert len(found.conditions) == 8
    margins = [condition.margin for condition in found.conditions]
    assert margins == sorted(margins)
    assert (found.margin, found.holds) == (margins[0], margins[0] >= 0)
    for condition in found.conditions:
        assert condition.holds == (condition.slack_ns >= 0)
    worse = understanding(first, second, delay_ns=delay_ns + 100)
    assert worse.margin <= found.margin


def test_different_rates_count_as_drift() -> None:
    """16 MHz and 15.97 MHz, 16 quanta each: 0.19 % apart before any clock is off."""
    one = Segments(5, 6, 4, 4)
    same = understanding(Board("a", Setting(16_000_000, 1, one)), Board("b", Setting(16_000_000, 1, one)), delay_ns=0)
    apart = understanding(Board("a", Setting(16_000_000, 1, one)), Board("b", Setting(15_970_000, 1, one)), delay_ns=0)
    assert same.margin - apart.margin == pytest.approx(Fraction(3, 3200), rel=1e-2)
    half = understanding(Board("a", Setting(16_000_000, 1, one)), Board("b", Setting(8_000_000, 1, one)), delay_ns=0)
    assert not half.holds


def test_bad_input() -> None:
    setting = at_the_rate(Segments(1, 4, 4, 4))
    with pytest.raises(
        ValueError, match="a clock tolerance of -100 % is not from 0 % to below 100 %; the nearest possible is 0 %"
    ):
        Board("a", setting, -1)
    with pytest.raises(ValueError, match="a delay of -1 ns is below zero; the nearest possible is 0 ns"):
        understanding(Board("a", setting), Board("b", setting), delay_ns=-1)
