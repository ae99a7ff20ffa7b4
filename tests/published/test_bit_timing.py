"""Bit timing as application notes print it: values/bit_timing.yaml, each to its printed digits (sources stand there).

A printed tolerance is cut off, not rounded: 1.587 % stands there as 1.58 %.
"""

from fractions import Fraction
from itertools import product
from pathlib import Path
from typing import Any

import pytest
import yaml

from busdesign.wire.bit_timing import SMALL, SMALL_HALVED, Segments, Setting, recommended_sample_point
from busdesign.wire.bit_timing_registers import TwoRegisters, two_registers
from busdesign.wire.bit_timing_solver import settings_for
from busdesign.wire.oscillator import Assessment, classical_conditions

PUBLISHED: dict[str, Any] = yaml.safe_load(
    (Path(__file__).parent / "values" / "bit_timing.yaml").read_text(encoding="utf-8")
)
EXAMPLES = PUBLISHED["examples"]


def cut_off(ratio: Fraction, printed: str) -> str:
    """``ratio`` in per cent with as many decimals as ``printed``, the rest cut off."""
    decimals = len(printed.partition(".")[2])
    digits = ratio * 100 * 10**decimals // 1
    return f"{digits // 10**decimals}.{digits % 10**decimals:0{decimals}}" if decimals else str(digits)


def delay_ns(example: dict[str, Any]) -> int:
    return int(example["driver_ns"] + example["receiver_ns"] + example["line_40m_ns"])


def setting_of(example: dict[str, Any]) -> Setting:
    registers = TwoRegisters.of_word(int(example["register"], 16))
    return registers.setting(example["clock_hz"], prop_seg=example["prop_ns"] // example["tq_ns"])


@pytest.mark.parametrize("example", EXAMPLES, ids=lambda example: example["name"])
def test_the_printed_register_means_the_printed_times(example: dict[str, Any]) -> None:
    setting = setting_of(example)
    assert setting.prescaler == example["brp"]
    assert setting.quantum_ns == example["tq_ns"]
    assert setting.bit_ns == example["bit_ns"]
    assert setting.bit_rate_bit_s == example["bit_rate"]
    assert (setting.prop_seg + setting.phase_seg1) * setting.quantum_ns == example["tseg1_ns"]
    assert setting.phase_seg2 * setting.quantum_ns == example["tseg2_ns"]
    assert setting.sjw * setting.quantum_ns == example["sjw_ns"]
    assert setting.sample_point * 100 == Fraction(example["sample_point_percent"])
    assert two_registers(setting).word == int(example["register"], 16)


@pytest.mark.parametrize("example", EXAMPLES, ids=lambda example: example["name"])
def test_the_printed_tolerance(example: dict[str, Any]) -> None:
    setting = setting_of(example)
    found = Assessment(setting, example["bit_rate"]).oscillator_tolerance
    assert cut_off(found, example["tolerance_percent"]) == example["tolerance_percent"]
    # The printed formulas, in printed nanoseconds.
    phase1_ns = example["tseg1_ns"] - example["prop_ns"]
    flag = Fraction(min(phase1_ns, example["tseg2_ns"]), 2 * (13 * example["bit_ns"] - example["tseg2_ns"]))
    assert found == min(flag, Fraction(example["sjw_ns"], 20 * example["bit_ns"]))


def test_the_printed_propagation_segment_is_the_shortest_that_covers_the_printed_delays() -> None:
    high_rate, low_rate = EXAMPLES
    registers = TwoRegisters.of_word(int(high_rate["register"], 16))
    assert registers.setting(high_rate["clock_hz"], delay_ns=delay_ns(high_rate)) == setting_of(high_rate)
    assert setting_of(high_rate).longest_delay_ns == delay_ns(high_rate)
    # The low rate's example rounds 2 * 500 ns to one quantum of 1000 ns.
    assert delay_ns(low_rate) == setting_of(low_rate).longest_delay_ns


@pytest.mark.parametrize("example", EXAMPLES, ids=lambda example: example["name"])
def test_the_solver_comes_to_the_printed_setting(example: dict[str, Any]) -> None:
    sample_point = Fraction(example["sample_point_percent"]) / 100
    best, *_ = settings_for(
        example["clock_hz"], example["bit_rate"], SMALL, sample_point=sample_point, delay_ns=delay_ns(example)
    )
    assert best.setting == setting_of(example)


def test_the_inconsistent_example_is_found_out() -> None:
    """Its register makes the 9 us bit that it draws, not the 100 kbit/s that it states, and jumps past phase_seg2."""
    printed = PUBLISHED["inconsistent_example"]
    registers = TwoRegisters.of_word(int(printed["register"], 16))
    with pytest.raises(ValueError, match="sjw of 4 quanta exceeds phase_seg2, which is 3"):
        registers.setting(2_000_000)
    setting = TwoRegisters(registers.btr0 & 0x3F, registers.btr1).setting(2_000_000)
    assert setting.bit_ns == printed["bit_us"] * 1000
    found = Assessment(setting, printed["stated_kbit"] * 1000)
    assert found.rate_error == Fraction(1, 9)
    assert not found.holds


def test_the_best_case() -> None:
    printed = PUBLISHED["best_case"]
    segments = Segments(printed["prop"], printed["ps1"], printed["ps2"], printed["sjw"])
    tolerance = min(condition.tolerance for condition in classical_conditions(segments))
    assert cut_off(tolerance, printed["tolerance_percent"]) == printed["tolerance_percent"]
    rate_bit_s = printed["up_to_kbit"] * 1000
    high_rate, low_rate = EXAMPLES
    # It carries 40 m with the nodes of the fast example, not with those of the slow one, and not at twice the rate.
    setting = Setting(rate_bit_s * segments.quanta, 1, segments)
    assert Assessment(setting, rate_bit_s, delay_ns(high_rate)).holds
    assert not Assessment(setting, rate_bit_s, delay_ns(low_rate)).holds
    twice = Setting(2 * rate_bit_s * segments.quanta, 1, segments)
    assert not Assessment(twice, 2 * rate_bit_s, delay_ns(high_rate)).holds


def test_the_best_case_is_not_the_best_of_its_own_formulas() -> None:
    """It is often called the largest tolerance there is; one quantum more in each phase has a little more."""
    ranges = product(range(1, 9), range(1, 9), range(1, 9), range(1, 5))
    segments = [Segments(prop, ps1, ps2, sjw) for prop, ps1, ps2, sjw in ranges if sjw <= min(ps1, ps2)]
    best = max(segments, key=lambda one: min(condition.tolerance for condition in classical_conditions(one)))
    assert best == Segments(1, 5, 5, 4)
    assert min(condition.tolerance for condition in classical_conditions(best)) == Fraction(5, 302)


@pytest.mark.parametrize("row", PUBLISHED["register_table_16MHz"]["rows"], ids=lambda row: f"{row['kbit']} kbit/s")
def test_the_register_table_for_16_mhz(row: dict[str, Any]) -> None:
    registers = TwoRegisters(int(row["btr0"], 16), int(row["btr1"], 16))
    setting = registers.setting(16_000_000, pre_divider=2)
    assert setting.bit_rate_bit_s == row["kbit"] * 1000
    assert cut_off(setting.sample_point, row["sample_percent"]) == row["sample_percent"]
    assert two_registers(setting, pre_divider=2) == registers
    # The same split of the bit is found again: the table tunes for the longest bus, so the jump width is 1.
    rates = settings_for(16_000_000, row["kbit"] * 1000, SMALL_HALVED)
    splits = {(one.setting.prescaler, one.setting.quanta, one.setting.phase_seg2) for one in rates}
    assert (setting.prescaler, setting.quanta, setting.phase_seg2) in splits


@pytest.mark.parametrize(
    ("kbit", "key"),
    [
        (1000, "above_800_kbit"),
        (801, "above_800_kbit"),
        (800, "above_500_kbit"),
        (501, "above_500_kbit"),
        (500, "up_to_500_kbit"),
        (10, "up_to_500_kbit"),
    ],
)
def test_recommended_sample_points(kbit: int, key: str) -> None:
    recommended = recommended_sample_point(kbit * 1000)
    assert recommended * 100 == Fraction(PUBLISHED["default_sample_points"][key])
