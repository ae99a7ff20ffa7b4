"""Bit timing against the timing class of python-can, an independent oracle, over thousands of clocks and rates.

Where the two differ, python-can is the coarser one, and the tests say so:

- it rounds a quantum to whole nanoseconds before it counts those of a delay, and the bit rate to whole bit/s;
- its search cuts the number of quanta off where rounding would be nearer, takes one split of the bit per prescaler,
  and accepts a rate within 1/256, where here the oscillator tolerance must pay for the error;
- it knows prop_seg and phase_seg1 only as one, and gives each setting the longest jump that phase_seg2 allows;
- it searches within one set of limits: prescaler up to 32, 8 to 25 quanta.
"""

import random
from fractions import Fraction

import can
import pytest

from busdesign.wire.bit_timing import SMALL, Segments, Setting
from busdesign.wire.bit_timing_registers import TwoRegisters, two_registers
from busdesign.wire.bit_timing_solver import OutOfReach, settings_for
from busdesign.wire.oscillator import Assessment

ROUNDS = 2000
ANYWHERE = Fraction(1)


def clocks_and_rates(seed: int) -> list[tuple[int, int, int]]:
    """Clock [Hz], bit rate [bit/s] and sample point [%]: usual ones and any."""
    draw = random.Random(seed)
    usual_mhz, usual_kbit = (8, 10, 12, 16, 20, 24, 25, 32, 40, 48, 60, 64, 80), (10, 50, 125, 250, 500, 800, 1000)
    return [
        (
            draw.choice(usual_mhz) * 10**6 if draw.random() < 0.7 else draw.randint(10**6, 80 * 10**6),
            draw.choice(usual_kbit) * 1000 if draw.random() < 0.7 else draw.randint(5_000, 1_000_000),
            draw.randint(50, 95),
        )
        for _ in range(ROUNDS)
    ]


def test_every_setting_that_it_finds_is_found() -> None:
    compared = 0
    for clock_hz, rate_bit_s, percent in clocks_and_rates(seed=1):
        try:
            theirs = list(can.BitTiming.iterate_from_sample_point(clock_hz, rate_bit_s, percent))
        except ValueError:
            theirs = []
        if not theirs:
            continue
        try:
            found = settings_for(clock_hz, rate_bit_s, SMALL, sample_point_within=ANYWHERE)
        except OutOfReach:
            found = ()
        ours = {(one.setting.prescaler, one.setting.quanta, one.setting.phase_seg2): one for one in found}
        for timing in theirs:
            one = ours.get((timing.brp, timing.nbt, timing.tseg2))
            if one is None:  # the tolerance does not pay for the rate error, or phase_seg1 would be empty
                segment1, sjw = timing.tseg1, min(4, timing.tseg1 - 1, timing.tseg2)
                split = Segments(1, segment1 - 1, timing.tseg2, sjw)
                assert Assessment(Setting(clock_hz, timing.brp, split), rate_bit_s).margin < 0
                continue
            compared += 1
            assert float(one.setting.sample_point * 100) == pytest.approx(timing.sample_point, rel=1e-12)
            assert round(one.setting.bit_rate_bit_s) == timing.bitrate
            assert round(one.setting.quantum_ns) == timing.tq
    assert compared > ROUNDS


def test_every_setting_found_means_the_same_to_it() -> None:
    compared = 0
    for clock_hz, rate_bit_s, percent in clocks_and_rates(seed=2):
        try:
            found = settings_for(clock_hz, rate_bit_s, SMALL, sample_point=Fraction(percent, 100))
        except OutOfReach:
            with pytest.raises(ValueError, match="No suitable bit timings"):
                can.BitTiming.from_sample_point(clock_hz, rate_bit_s, percent)
            continue
        for one in found:
            setting = one.setting
            if setting.sample_point < Fraction(1, 2):  # it does not know such bits
                continue
            registers = two_registers(setting)
            timing = can.BitTiming.from_registers(clock_hz, registers.btr0, registers.btr1)
            assert (timing.btr0, timing.btr1) == (registers.btr0, registers.btr1)
            assert (timing.brp, timing.nbt, timing.sjw) == (setting.prescaler, setting.quanta, setting.sjw)
            assert timing.tseg1 == setting.prop_seg + setting.phase_seg1
            assert timing.tseg2 == setting.phase_seg2
            assert timing.bitrate == round(setting.bit_rate_bit_s)
            compared += 1
    assert compared > ROUNDS


def test_the_tolerance_is_the_same_where_a_quantum_is_whole_nanoseconds() -> None:
    draw = random.Random(3)
    compared = 0
    for _ in range(ROUNDS):
        quantum_ns = draw.choice([25, 50, 100, 125, 200, 250, 500, 1000])
        tseg1, tseg2 = draw.randint(2, 16), draw.randint(1, 8)
        loop_ns, length_m = draw.randint(0, 255), draw.randint(0, 200)
        if tseg1 + 1 < tseg2:
            continue
        clock_hz, sjw = 10**9 // quantum_ns, draw.randint(1, min(4, tseg2))
        timing = can.BitTiming(clock_hz, 1, tseg1, tseg2, sjw)
        theirs = timing.oscillator_tolerance(node_loop_delay_ns=loop_ns, bus_length_m=length_m)
        try:
            setting = TwoRegisters(timing.btr0, timing.btr1).setting(clock_hz, delay_ns=loop_ns + 5 * length_m)
        except ValueError:
            assert theirs == 0  # nothing is left of phase_seg1
            continue
        if loop_ns + length_m == 0:  # no delay at all is no quantum there, and one here: prop_seg is never empty
            continue
        compared += 1
        ours = Assessment(setting, setting.bit_rate_bit_s).oscillator_tolerance
        assert float(ours * 100) == pytest.approx(theirs, rel=1e-12)
    assert compared > ROUNDS // 4


def test_a_rounded_quantum_promises_a_delay_that_does_not_fit() -> None:
    """37.5 ns count as 38 there: eight of them do not cover 2 * 151 ns, though it takes them for enough."""
    timing = can.BitTiming(80_000_000, 3, tseg1=14, tseg2=5, sjw=4)
    assert timing.tq == 38
    eight, nine = (
        Assessment(Setting(80_000_000, 3, Segments(prop, 14 - prop, 5, 4)), 1_333_333, 151) for prop in (8, 9)
    )
    theirs = timing.oscillator_tolerance(node_loop_delay_ns=151, bus_length_m=0)
    assert theirs == pytest.approx(float(eight.oscillator_tolerance * 100))
    assert eight.delay_slack_ns < 0 <= nine.delay_slack_ns
    assert TwoRegisters(timing.btr0, timing.btr1).setting(80_000_000, delay_ns=151).prop_seg == 9


def test_a_number_of_quanta_that_is_cut_off_misses_the_nearest() -> None:
    """15.97 cycles in a bit are 15 there, 6 % off; 16 are 0.19 % off."""
    with pytest.raises(ValueError, match="No suitable bit timings"):
        can.BitTiming.from_sample_point(15_970_000, 1_000_000, 75)
    best, *_ = settings_for(15_970_000, 1_000_000, SMALL, sample_point=Fraction(3, 4))
    assert best.setting.quanta == 16
    assert best.rate_error == Fraction(-3, 1600)
