"""The search for settings: complete, exact, in the order it promises, and helpful where there is none."""

from fractions import Fraction
from itertools import product

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from busdesign.wire.bit_timing import GENERIC_LIMITS, LARGE, SEPARATE, SMALL, Limits, Segments, Setting
from busdesign.wire.bit_timing_reasons import why_best
from busdesign.wire.bit_timing_solver import OutOfReach, settings_for
from busdesign.wire.oscillator import Assessment

TINY = Limits("tiny", (1, 6), (2, 7), (1, 4), sjw=3, quanta=(4, 12), prop_seg=(1, 4), phase_seg1=(1, 4))
ANYWHERE = Fraction(1)

LIMITS = st.sampled_from(sorted(GENERIC_LIMITS)).map(GENERIC_LIMITS.__getitem__)
CLOCKS_HZ = st.one_of(
    st.sampled_from([8, 10, 16, 20, 24, 40, 80]).map(lambda mhz: mhz * 10**6), st.integers(1_000_000, 80_000_000)
)
RATES_BIT_S = st.one_of(
    st.sampled_from([125_000, 250_000, 500_000, 800_000, 1_000_000]), st.integers(50_000, 1_000_000)
)


def order(one: Assessment, sample_point: Fraction) -> tuple[Fraction | int, ...]:
    """Small first: the promised order, in fractions."""
    margins = [condition.tolerance - abs(one.rate_error) for condition in one.conditions]
    setting = one.setting
    return (
        *(-margin for margin in margins),
        abs(setting.sample_point - sample_point),
        abs(one.rate_error),
        -setting.quanta,
        setting.prescaler,
    )


@given(CLOCKS_HZ, RATES_BIT_S, LIMITS, st.integers(50, 90), st.integers(0, 300))
def test_every_setting_is_what_was_wanted(
    clock_hz: int, rate_bit_s: int, limits: Limits, percent: int, delay_ns: int
) -> None:
    sample_point = Fraction(percent, 100)
    try:
        found = settings_for(clock_hz, rate_bit_s, limits, sample_point=sample_point, delay_ns=delay_ns)
    except OutOfReach:
        assume(False)
    assert found == tuple(sorted(found, key=lambda one: order(one, sample_point)))
    splits = {(one.setting.prescaler, one.setting.quanta, one.setting.phase_seg2) for one in found}
    assert len(splits) == len(found)
    for one in found:
        setting = one.setting
        assert limits.allow(setting)
        assert setting.clock_hz == clock_hz
        assert setting.bit_rate_bit_s * setting.quanta * setting.prescaler == clock_hz
        assert one.rate_error == setting.bit_rate_bit_s / rate_bit_s - 1
        assert setting.sjw <= min(setting.phase_seg1, setting.phase_seg2)
        assert one.delay_slack_ns >= 0
        assert one.margin >= 0
        assert one.holds


@given(
    st.integers(1, 300),
    st.integers(1, 12),
    st.integers(0, 12),
    st.sampled_from([Fraction(1, 2), Fraction(3, 5), Fraction(7, 10), Fraction(4, 5)]),
    st.sampled_from([Fraction(0), Fraction(1, 20), Fraction(1, 5), ANYWHERE]),
)
def test_nothing_better_was_left_out(
    clock_hz: int, rate_bit_s: int, delay_ns: int, sample_point: Fraction, within: Fraction
) -> None:
    """Against every combination of the register values there is: none has more margin than the one given."""
    best: dict[tuple[int, int, int], Fraction] = {}
    delay = Fraction(delay_ns * 10**7)
    for prescaler, prop, ps1, ps2, sjw in product(range(1, 7), range(1, 5), range(1, 5), range(1, 5), range(1, 4)):
        if sjw > min(ps1, ps2) or abs(prescaler * (1 + prop + ps1 + ps2) * rate_bit_s - clock_hz) * 20 > clock_hz:
            continue
        one = Assessment(Setting(clock_hz, prescaler, Segments(prop, ps1, ps2, sjw)), rate_bit_s, delay)
        if TINY.allow(one.setting) and one.holds and abs(one.setting.sample_point - sample_point) <= within:
            split = (prescaler, one.setting.quanta, ps2)
            best[split] = max(one.margin, best.get(split, Fraction(0)))
    try:
        found = settings_for(
            clock_hz, rate_bit_s, TINY, sample_point=sample_point, sample_point_within=within, delay_ns=delay
        )
    except OutOfReach:
        assert not best
        return
    assert {(o.setting.prescaler, o.setting.quanta, o.setting.phase_seg2): o.margin for o in found} == best


@given(CLOCKS_HZ, RATES_BIT_S, LIMITS)
def test_without_a_window_the_nearest_sample_point_is_taken(clock_hz: int, rate_bit_s: int, limits: Limits) -> None:
    sample_point = Fraction(7, 8)
    try:
        everything = settings_for(clock_hz, rate_bit_s, limits, sample_point=sample_point, sample_point_within=ANYWHERE)
    except OutOfReach:
        with pytest.raises(OutOfReach):
            settings_for(clock_hz, rate_bit_s, limits, sample_point=sample_point)
        return
    nearest = min(abs(one.setting.sample_point - sample_point) for one in everything)
    reach = max(nearest, Fraction(1, 100))
    wanted = [one for one in everything if abs(one.setting.sample_point - sample_point) <= reach]
    assert list(settings_for(clock_hz, rate_bit_s, limits, sample_point=sample_point)) == wanted


@settings(max_examples=50)
@given(CLOCKS_HZ, st.integers(1, 20_000_000), LIMITS)
def test_the_nearest_rate_can_be_made(clock_hz: int, rate_bit_s: int, limits: Limits) -> None:
    try:
        settings_for(clock_hz, rate_bit_s, limits)
    except OutOfReach as refused:
        nearest = refused.nearest
        assert nearest is not None
        assert settings_for(clock_hz, nearest, limits)
        everything = settings_for(clock_hz, nearest, limits, sample_point_within=ANYWHERE)
        assert any(one.rate_error == 0 for one in everything)


@given(CLOCKS_HZ, RATES_BIT_S, LIMITS, st.integers(50, 90))
def test_the_nearest_sample_point_can_be_made(clock_hz: int, rate_bit_s: int, limits: Limits, percent: int) -> None:
    exactly = Fraction(0)
    sample_point = Fraction(percent, 100)
    try:
        settings_for(clock_hz, rate_bit_s, limits, sample_point=sample_point, sample_point_within=exactly)
    except OutOfReach as refused:
        assume("no sample point within" in refused.text)
        nearest = refused.nearest
        found = settings_for(clock_hz, rate_bit_s, limits, sample_point=nearest, sample_point_within=exactly)
        assert {one.setting.sample_point for one in found} == {nearest}


@given(CLOCKS_HZ, RATES_BIT_S, LIMITS)
def test_the_nearest_delay_can_be_carried_and_no_longer_one(clock_hz: int, rate_bit_s: int, limits: Limits) -> None:
    try:
        settings_for(clock_hz, rate_bit_s, limits)
    except OutOfReach:
        assume(False)
    with pytest.raises(OutOfReach, match="does not fit there and back") as refused:
        settings_for(clock_hz, rate_bit_s, limits, delay_ns=10**9)
    longest = refused.value.nearest
    assert longest is not None
    assert min(one.delay_slack_ns for one in settings_for(clock_hz, rate_bit_s, limits, delay_ns=longest)) == 0
    with pytest.raises(OutOfReach):
        settings_for(clock_hz, rate_bit_s, limits, delay_ns=longest + Fraction(1, 1000))


@pytest.mark.parametrize(
    ("clock_hz", "rate_bit_s", "said", "nearest"),
    [
        (10_000_000, 3_000_000, "3 Mbit/s cannot be made .* `small`; the nearest possible is 1.25 Mbit/s", 1_250_000),
        (16_000_000, 1_000, "the nearest possible is 10 kbit/s", 10_000),
        (8_000_000, 930_000, "the nearest possible is 888.888889 kbit/s", Fraction(8_000_000, 9)),
        (8_000_000, 950_000, "the nearest possible is 1 Mbit/s", 1_000_000),
        (16_000_000, 0, "0 bit/s carries nothing; the nearest possible is 10 kbit/s", 10_000),
        (16_000_000, -5, "-5 bit/s carries nothing; the nearest possible is 10 kbit/s", 10_000),
        (0, 500_000, "a clock of 0 Hz does not run; the nearest possible .* 4 MHz", 4_000_000),
        (-1, 500_000, "a clock of -1 Hz does not run; the nearest possible .* 4 MHz", 4_000_000),
        (0, 0, "0 bit/s carries nothing; a bit rate is above zero", None),
    ],
)
def test_what_cannot_be_made(clock_hz: int, rate_bit_s: int, said: str, nearest: int | Fraction | None) -> None:
    with pytest.raises(OutOfReach, match=said) as refused:
        settings_for(clock_hz, rate_bit_s, SMALL)
    assert refused.value.nearest == nearest


def test_other_bad_input() -> None:
    with pytest.raises(ValueError, match="a sample point of 1 is outside the bit"):
        settings_for(16_000_000, 500_000, SMALL, sample_point=Fraction(1))
    with pytest.raises(ValueError, match="cannot lie within -1 of another; the nearest possible is 0"):
        settings_for(16_000_000, 500_000, SMALL, sample_point_within=Fraction(-1))
    with pytest.raises(ValueError, match="a delay of -1 ns is below zero; the nearest possible is 0 ns"):
        settings_for(16_000_000, 500_000, SMALL, delay_ns=-1)
    with pytest.raises(
        ValueError, match="a clock tolerance of -100 % is not from 0 % to below 100 %; the nearest possible is 0 %"
    ):
        settings_for(16_000_000, 500_000, SMALL, clock_tolerance=-1)


def test_a_rate_error_is_paid_from_the_margin() -> None:
    """15.97 MHz make 1 Mbit/s with 16 quanta, 0.19 % slow."""
    best, *_ = settings_for(
        15_970_000, 1_000_000, SMALL, sample_point=Fraction(3, 4), clock_tolerance=Fraction(1, 1000)
    )
    assert best.setting.quanta == 16
    assert best.rate_error == Fraction(-3, 1600)
    assert best.margin == best.oscillator_tolerance - Fraction(3, 1600) - Fraction(1, 1000)


def test_a_rate_error_as_large_as_the_tolerance_is_still_found() -> None:
    """1.2 % off, of 1.25 % tolerance."""
    found = settings_for(12_144, 1_000, TINY, sample_point_within=ANYWHERE)
    (one,) = (one for one in found if one.setting.segments == Segments(3, 4, 4, 3) and one.setting.prescaler == 1)
    assert one.rate_error == Fraction(12, 1000)
    assert one.margin == Fraction(1, 80) - Fraction(12, 1000)


def test_a_clock_that_is_too_poor_still_has_its_settings() -> None:
    found = settings_for(16_000_000, 500_000, SMALL, clock_tolerance=Fraction(1, 100))
    assert not any(one.holds for one in found)
    assert "none has enough margin" in why_best(found, Fraction(7, 8))[0]


def test_a_segment_in_a_register_of_its_own_may_lengthen_prop_seg() -> None:
    best, *_ = settings_for(16_000_000, 500_000, SEPARATE)
    assert best.setting.segments == Segments(5, 8, 2, 2)


def test_reasons_name_what_decided() -> None:
    found = settings_for(80_000_000, 500_000, LARGE, delay_ns=300, clock_tolerance=Fraction(1, 1000))
    flag = found[0].weakest
    assert flag.text == "phase_seg2, of 21 quanta, takes up the drift until bit 13 after an edge is sampled"
    assert why_best(found, Fraction(7, 8)) == (
        "it leaves the most margin, 0.41 %: 0.51 % of oscillator tolerance less 0.1 % of the clock",
        f"its weakest condition is `error flag`: {flag.text}",
        "its sample point is 86.88 %, wanted 87.5 %",
        "its rate is exact",
        "prop_seg, 600 ns, covers the delay there and back, with 0 ns over",
        "the next (prescaler 1, 160 quanta, 87.5 %) leaves 0.3854 %",
    )
    exactly = settings_for(80_000_000, 500_000, LARGE, sample_point_within=Fraction(0))
    assert why_best(exactly, Fraction(7, 8))[-1] == (
        "the next (prescaler 2, 80 quanta, 87.5 %) is equal in all that, but has fewer quanta, so coarser ones"
    )
    assert why_best(exactly[:1], Fraction(7, 8))[-1] == "there is no other"
    with pytest.raises(ValueError, match="no setting to give reasons for"):
        why_best((), Fraction(7, 8))


def test_reasons_say_why_a_sample_point_is_far_from_the_wanted_one() -> None:
    off = settings_for(16_000_000, 300_000, SMALL)  # 54 cycles of the clock, 1.235 % slow
    assert (
        "its sample point is 66.67 %, the nearest to the wanted 87.5 % where the tolerance exceeds the rate's error"
        in (why_best(off, Fraction(7, 8)))
    )
    coarse = settings_for(16_500_000, 500_000, SMALL)  # 11 quanta, so 90.91 % or 81.82 %
    assert "its sample point is 90.91 %, the nearest to the wanted 87.5 % that can be made" in (
        why_best(coarse, Fraction(7, 8))
    )


def test_one_quantum_is_one() -> None:
    found = Assessment(Setting(8_000_000, 1, Segments(5, 1, 1, 1)), 1_000_000)
    assert {condition.name: condition.text for condition in found.conditions} == {
        "error flag": "each phase segment, of 1 quantum, takes up the drift until bit 13 after an edge is sampled",
        "resynchronisation": "a jump of 1 quantum takes up the drift of 10 bits",
    }
