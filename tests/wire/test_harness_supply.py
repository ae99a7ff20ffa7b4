"""Drops on supply wires and the ground shift they cause."""

from dataclasses import replace
from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from busdesign.wire.cable import copper_ohm_per_m
from busdesign.wire.supply import Unit, Wire, ground_shifts, supply_drops, supply_problems
from tests.wire.harnesses import figures, tenths

WIRE = Wire(length_m=Fraction(58, 10), cross_section_mm2=Fraction(1, 2))  # 0.2 ohm
LEFT = Unit("left", WIRE, WIRE, peak_a=5, supply_v=12, minimum_v=9)
RIGHT = Unit("right", WIRE, WIRE, peak_a=2, supply_v=12, minimum_v=9, idle_a=1)


def test_a_drop_by_hand() -> None:
    """5.8 m of 0.5 mm2 are 5.8 / (58 * 0.5) = 0.2 ohm; 5 A drop 1 V on each wire."""
    (drop,) = supply_drops([LEFT])
    assert (drop.power_ohm, drop.ground_ohm) == (Fraction(1, 5), Fraction(1, 5))
    assert figures(drop.power_drop_v, drop.ground_drop_v, drop.unit_v, drop.margin_v) == (1, 1, 10, 1)
    assert (drop.most_wire_ohm, drop.power_mm2_needed, drop.holds) == (Fraction(3, 5), Fraction(1, 2), True)


def test_a_drop_too_large_says_what_would_do() -> None:
    (drop,) = supply_drops([replace(LEFT, minimum_v=11)])
    assert figures(drop.margin_v, drop.holds, drop.power_mm2_needed) == (-1, False, 1)
    assert drop.ground_mm2_needed == 1
    hopeless = replace(LEFT, minimum_v=11, power=replace(WIRE, joints_ohm=1))
    assert supply_drops([hopeless])[0].power_mm2_needed is None


def test_a_shift_by_hand() -> None:
    """Left's ground rises 1 V at its peak while right idles at 0.2 V: 0.8 V; or right's by 0.4 V over left's 0 V."""
    worst, least = ground_shifts([LEFT, RIGHT])
    assert (worst.driver, worst.hearer, worst.shift_v) == ("left", "right", Fraction(4, 5))
    assert worst.common_mode_v == (Fraction(14, 5), Fraction(19, 5))
    assert worst.margin_v == 7 - Fraction(19, 5)
    assert (least.driver, least.shift_v, least.common_mode_v[0]) == ("right", Fraction(-4, 5), Fraction(6, 5))
    assert least.margin_v == Fraction(16, 5)


def test_a_shift_beyond_the_range() -> None:
    heavy = replace(LEFT, peak_a=25, supply_v=48)  # 5 V on its ground wire
    worst = ground_shifts([heavy, RIGHT])[0]
    assert (worst.margin_v, worst.holds) == (Fraction(-4, 5), False)
    assert ground_shifts([heavy, RIGHT], (-12, 12))[0].holds
    with pytest.raises(ValueError, match="leaves no room"):
        ground_shifts([LEFT, RIGHT], (Fraction(5, 2), 7))


UNITS = st.builds(
    Unit,
    st.just("unit"),
    st.builds(Wire, tenths(0, 300), tenths(1, 60), st.integers(-40, 125), st.sampled_from([0, Fraction(1, 100)])),
    st.builds(Wire, tenths(0, 300), tenths(1, 60), st.integers(-40, 125), st.sampled_from([0, Fraction(1, 100)])),
    peak_a=tenths(0, 300),
    supply_v=tenths(100, 280),
    minimum_v=tenths(0, 100),
)


@given(UNITS)
def test_the_drops_add_up_and_the_wire_it_asks_for_just_does(unit: Unit) -> None:
    (drop,) = supply_drops([unit])
    assert drop.power_drop_v + drop.ground_drop_v + drop.unit_v == unit.supply_v
    assert drop.holds == (drop.margin_v >= 0)
    power, ground = drop.power_mm2_needed, drop.ground_mm2_needed
    if not drop.holds and power is not None and ground is not None and max(power, ground) <= 500:
        thicker = replace(
            unit,
            power=replace(unit.power, cross_section_mm2=power),
            ground=replace(unit.ground, cross_section_mm2=ground),
        )
        assert supply_drops([thicker])[0].margin_v == 0


@settings(max_examples=40)
@given(UNITS, UNITS, tenths(0, 100))
def test_a_longer_ground_wire_never_leaves_more_margin(one: Unit, other: Unit, more_m: Fraction) -> None:
    other = replace(other, name="other")
    longer = replace(one, ground=replace(one.ground, length_m=one.ground.length_m + more_m))
    assert ground_shifts([longer, other])[0].margin_v <= ground_shifts([one, other])[0].margin_v
    assert supply_drops([longer])[0].unit_v <= supply_drops([one])[0].unit_v


@given(tenths(1, 100), st.integers(-40, 120))
def test_copper_gets_worse_with_heat_and_better_with_girth(mm2: Fraction, celsius: int) -> None:
    assert copper_ohm_per_m(mm2, celsius + 1) > copper_ohm_per_m(mm2, celsius)
    assert copper_ohm_per_m(2 * mm2, celsius) * 2 == copper_ohm_per_m(mm2, celsius)


@pytest.mark.parametrize(
    ("unit", "part", "nearest"),
    [
        (replace(LEFT, power=replace(WIRE, length_m=-1)), "power.length_m", 0),
        (replace(LEFT, ground=replace(WIRE, cross_section_mm2=0)), "ground.cross_section_mm2", Fraction(1, 100)),
        (replace(LEFT, ground=replace(WIRE, temperature_c=1000)), "ground.temperature_c", 250),
        (replace(LEFT, power=replace(WIRE, joints_ohm=-1)), "power.joints_ohm", 0),
        (replace(LEFT, peak_a=-5), "peak_a", 0),
        (replace(LEFT, supply_v=0), "supply_v", 1),
        (replace(LEFT, minimum_v=13), "minimum_v", 12),
        (replace(LEFT, idle_a=6), "idle_a", 5),
    ],
)
def test_what_cannot_be(unit: Unit, part: str, nearest: Fraction) -> None:
    (problem,) = supply_problems([unit, RIGHT])
    assert (problem.part, problem.nearest) == (f"units.left.{part}", nearest)
    with pytest.raises(ValueError, match=part):
        supply_drops([unit, RIGHT])


def test_units_named_twice_or_not_at_all() -> None:
    assert [problem.part for problem in supply_problems([LEFT, LEFT])] == ["units.left"]
    assert [problem.part for problem in supply_problems([])] == ["units"]
