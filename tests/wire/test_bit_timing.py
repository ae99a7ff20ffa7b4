"""One bit: segments, settings, ranges, and the two registers."""

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from busdesign.wire.bit_timing import (
    GENERIC_LIMITS,
    SEPARATE,
    SMALL,
    Limits,
    Segments,
    Setting,
    quanta_for,
)
from busdesign.wire.bit_timing_registers import TwoRegisters, two_registers
from busdesign.wire.oscillator import Assessment, classical_conditions


@st.composite
def segments(draw: st.DrawFn) -> Segments:
    prop, ps1, ps2 = (draw(st.integers(1, 8)) for _ in range(3))
    return Segments(prop, ps1, ps2, sjw=draw(st.integers(1, min(4, ps1, ps2))))


@given(segments(), st.integers(1, 100_000_000), st.integers(1, 64))
def test_a_setting_is_exact(one: Segments, clock_hz: int, prescaler: int) -> None:
    setting = Setting(clock_hz, prescaler, one)
    assert setting.quanta == 1 + one.prop_seg + one.phase_seg1 + one.phase_seg2
    assert setting.sample_point == Fraction(1 + one.prop_seg + one.phase_seg1, setting.quanta)
    assert setting.bit_rate_bit_s * prescaler * setting.quanta == clock_hz
    assert setting.bit_ns * setting.bit_rate_bit_s == 10**9
    assert setting.quantum_ns * setting.quanta == setting.bit_ns


def test_a_quantum_is_never_rounded() -> None:
    setting = Setting(80_000_000, 3, Segments(5, 6, 4, 4))
    assert setting.quantum_ns == Fraction(75, 2)
    assert setting.bit_ns == 600


@given(
    segments(),
    st.integers(1, 100_000_000),
    st.integers(1, 64),
    st.sampled_from([1, 2]),
    st.booleans(),
)
def test_registers_and_back(one: Segments, clock_hz: int, prescaler: int, pre_divider: int, three: bool) -> None:
    setting = Setting(clock_hz, prescaler * pre_divider, one)
    registers = two_registers(setting, pre_divider=pre_divider, three_samples=three)
    assert registers.setting(clock_hz, pre_divider=pre_divider, prop_seg=one.prop_seg) == setting
    assert registers.three_samples == three
    assert TwoRegisters.of_word(registers.word) == registers


@given(st.integers(0, 255), st.integers(0, 255))
def test_meaning_and_back(btr0: int, btr1: int) -> None:
    """Every pair of bytes whose sum of segments can be split and whose jump fits means a setting."""
    registers = TwoRegisters(btr0, btr1)
    if btr1 & 0xF == 0:
        with pytest.raises(ValueError, match="phase_seg1 needs 1 of its own"):
            registers.setting(8_000_000)
    elif btr0 >> 6 > btr1 >> 4 & 7:
        with pytest.raises(ValueError, match="exceeds phase_seg2"):
            registers.setting(8_000_000)
    else:
        setting = registers.setting(8_000_000)
        assert setting.prop_seg == 1
        assert two_registers(setting, three_samples=registers.three_samples) == registers


@given(st.integers(0, 10_000), st.integers(1, 100_000_000), st.integers(1, 64))
def test_the_fewest_quanta_that_cover_a_delay(delay_ns: int, clock_hz: int, prescaler: int) -> None:
    quanta = quanta_for(delay_ns, clock_hz, prescaler)
    quantum_ns = Fraction(prescaler * 10**9, clock_hz)
    assert quanta * quantum_ns >= 2 * delay_ns
    assert quanta == 1 or (quanta - 1) * quantum_ns < 2 * delay_ns
    assert Setting(clock_hz, prescaler, Segments(quanta, 1, 1, 1)).longest_delay_ns >= delay_ns


def test_the_two_conditions_and_the_margin() -> None:
    setting = Setting(16_000_000, 2, Segments(5, 8, 2, 2))
    jump, flag = classical_conditions(setting.segments)
    assert (jump.tolerance, flag.tolerance) == (Fraction(2, 320), Fraction(2, 2 * (13 * 16 - 2)))
    assert "phase_seg2, of 2 quanta" in flag.text
    found = Assessment(setting, 501_000, delay_ns=300, clock_tolerance=Fraction(1, 1000))
    assert found.weakest == flag
    assert found.conditions == (flag, jump)
    assert found.rate_error == Fraction(500, 501) - 1
    assert found.margin == flag.tolerance - Fraction(1, 501) - Fraction(1, 1000)
    assert found.delay_slack_ns == Fraction(625, 2) - 300
    assert found.holds
    assert not Assessment(setting, 501_000, delay_ns=313, clock_tolerance=Fraction(1, 1000)).holds
    assert not Assessment(setting, 501_000, delay_ns=300, clock_tolerance=Fraction(3, 1000)).holds


@pytest.mark.parametrize("name", GENERIC_LIMITS)
def test_generic_limits_can_be_filled(name: str) -> None:
    limits = GENERIC_LIMITS[name]
    fewest, most = limits.quanta_range
    assert limits.quanta[0] == fewest
    assert fewest < most <= limits.quanta[1]


@pytest.mark.parametrize(
    ("setting", "allowed"),
    [
        (Setting(1, 2, Segments(8, 8, 8, 4)), True),
        (Setting(1, 3, Segments(8, 8, 8, 4)), False),  # the prescaler goes in steps of two
        (Setting(1, 2, Segments(9, 7, 8, 4)), False),
        (Setting(1, 2, Segments(7, 9, 8, 4)), False),
        (Setting(1, 2, Segments(8, 7, 1, 1)), False),  # information processing takes two quanta
        (Setting(1, 2, Segments(2, 2, 2, 1)), False),  # seven quanta
        (Setting(1, 2, Segments(4, 8, 8, 5)), False),
        (Setting(1, 130, Segments(8, 8, 8, 4)), False),
    ],
)
def test_limits_allow(setting: Setting, allowed: bool) -> None:
    assert SEPARATE.allow(setting) == allowed


BAD_INPUT = [
    (lambda: Segments(1, 0, 2, 1), "phase_seg1 of 0 quanta is too short; the nearest possible is 1 quantum"),
    (lambda: Segments(1, 4, 2, 3), "sjw of 3 quanta exceeds phase_seg2, which is 2; the nearest possible is 2"),
    (lambda: Setting(0, 1, Segments(1, 1, 1, 1)), "a clock of 0 Hz does not run"),
    (lambda: Setting(1, 0, Segments(1, 1, 1, 1)), "prescaler 0 is too small; the nearest possible is 1"),
    (lambda: TwoRegisters(256, 0), "BTR0 0x100 is not one byte; the nearest possible is 0xff"),
    (lambda: TwoRegisters(0, -1), "BTR1 -0x1 is not one byte; the nearest possible is 0x00"),
    (lambda: TwoRegisters.of_word(0x10000), "0x10000 is not 16 bits; the nearest possible is 0xffff"),
    (lambda: TwoRegisters(0, 0x14).setting(8_000_000, prop_seg=5), "the registers hold 5 .* nearest possible is 4"),
    (lambda: TwoRegisters(0, 0x14).setting(8_000_000, delay_ns=-1), "-1 ns is below zero; the nearest possible is 0"),
    (lambda: TwoRegisters(0, 0x14).setting(8_000_000, pre_divider=0), "not divided by 0; the nearest possible is 1"),
    (lambda: two_registers(Setting(1, 65, Segments(1, 1, 1, 1))), "prescaler 65 does not fit .* possible is 64"),
    (lambda: two_registers(Setting(1, 1, Segments(9, 8, 1, 1))), "phase_seg1 17 does not fit .* possible is 16"),
    (lambda: two_registers(Setting(1, 1, Segments(1, 1, 9, 1))), "phase_seg2 9 does not fit .* possible is 8"),
    (lambda: two_registers(Setting(1, 1, Segments(1, 5, 5, 5))), "sjw 5 does not fit .* possible is 4"),
    (lambda: two_registers(Setting(1, 3, Segments(1, 1, 1, 1)), pre_divider=2), "3 is no multiple of 2"),
    (lambda: Limits("own", (0, 4), (2, 16), (1, 8), 4, (8, 25)), "prescaler from 0 to 4 is no range"),
    (lambda: Limits("own", (1, 4), (2, 16), (1, 8), 0, (8, 25)), "sjw 0 is too small; the nearest possible is 1"),
    (
        lambda: Limits("own", (1, 4), (2, 16), (1, 8), 4, (8, 25), information_processing=9),
        "leaves no phase_seg2; the nearest possible is 8",
    ),
    (lambda: Limits("own", (1, 4), (2, 4), (1, 2), 4, (8, 25)), "nothing for quanta: from 8 to 7"),
    (lambda: Assessment(Setting(1, 1, Segments(1, 1, 1, 1)), 0), "0 bit/s carries nothing; the nearest possible"),
    (lambda: Assessment(Setting(1, 1, Segments(1, 1, 1, 1)), 1, -1), "-1 ns is below zero"),
    (lambda: Assessment(Setting(1, 1, Segments(1, 1, 1, 1)), 1, 0, 1), "a clock tolerance of 100 % is not from 0 %"),
]


@pytest.mark.parametrize(("build", "said"), BAD_INPUT, ids=[said[:40] for _, said in BAD_INPUT])
def test_what_is_none_is_refused(build: object, said: str) -> None:
    assert callable(build)
    with pytest.raises(ValueError, match=said):
        build()


def test_the_small_limits_are_those_of_the_two_registers() -> None:
    (_, largest), (_, segment1), (_, phase_seg2) = SMALL.prescaler, SMALL.time_segment1, SMALL.phase_seg2
    assert two_registers(Setting(1, largest, Segments(8, segment1 - 8, phase_seg2, SMALL.sjw))).word == 0x7FFF
