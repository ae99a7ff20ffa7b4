"""The supply of each unit: what its power and ground wires drop at its peak current, and how far grounds move apart.

Modelled: each unit has wires of its own from the supply to itself, and its current does not depend on the voltage.
Not modelled: wires that units share, ground through a metal frame or through the bus cable, inductance.
"""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import permutations

from busdesign.wire.cable import REFERENCE_C, copper_ohm_per_m, copper_problems
from busdesign.wire.physical_layer import (
    COMMON_MODE_V_MAX,
    COMMON_MODE_V_MIN,
    LEVELS,
    RECESSIVE_BIAS_V_MAX,
    RECESSIVE_BIAS_V_MIN,
    Source,
)
from busdesign.wire.problems import Exact, Problem, outside, refuse, spelt

OHM_LAW = Source("resistance of the wire times peak current; copper as in `cable.COPPER`", "own model")
COMMON_MODE = Source(
    f"{LEVELS.text}: receivers work from {COMMON_MODE_V_MIN} to {COMMON_MODE_V_MAX} V; the driver's wires lie at "
    f"{RECESSIVE_BIAS_V_MIN} to {RECESSIVE_BIAS_V_MAX} V over its own ground",
    LEVELS.status,
)
_LENGTH_M = (0, 1000)  # own bounds
_CURRENT_A = (0, 1000)
_SUPPLY_V = (1, 1000)
_JOINTS_OHM = (0, 10)


@dataclass(frozen=True, slots=True)
class Wire:
    """One copper conductor from the supply to a unit; ``joints_ohm`` is of its connectors together.

    2.5 .. 10 mohm for each connector: CiA 303-1 as quoted in two device manuals (confirmed).
    """

    length_m: Exact
    cross_section_mm2: Exact
    temperature_c: Exact = REFERENCE_C
    joints_ohm: Exact = 0

    @property
    def ohm(self) -> Fraction:
        return copper_ohm_per_m(self.cross_section_mm2, self.temperature_c) * self.length_m + self.joints_ohm


@dataclass(frozen=True, slots=True)
class Unit:
    """``supply_v`` at the supply, ``minimum_v`` at the unit's own terminals; it draws ``idle_a`` .. ``peak_a``."""

    name: str
    power: Wire
    ground: Wire
    peak_a: Exact
    supply_v: Exact
    minimum_v: Exact
    idle_a: Exact = 0


@dataclass(frozen=True, slots=True)
class SupplyDrop:
    """One unit at its peak. ``most_wire_ohm`` is what both wires may have together; where they have more,
    ``ground_mm2_needed`` and ``power_mm2_needed`` would do, both wires thickened alike; None where nothing would.
    """

    unit: str
    peak_a: Fraction
    power_ohm: Fraction
    ground_ohm: Fraction
    power_drop_v: Fraction
    ground_drop_v: Fraction
    unit_v: Fraction
    minimum_v: Fraction
    margin_v: Fraction
    most_wire_ohm: Fraction | None
    power_mm2_needed: Fraction | None
    ground_mm2_needed: Fraction | None
    source: Source = OHM_LAW

    @property
    def holds(self) -> bool:
        return self.margin_v >= 0


@dataclass(frozen=True, slots=True)
class GroundShift:
    """A ``driver`` at its peak and an idle ``hearer``, or the other way round: ``shift_v`` is how far the driver's
    ground lies above the hearer's. The wires lie at ``common_mode_v`` (lowest, highest) over the hearer's ground.
    """

    driver: str
    hearer: str
    shift_v: Fraction
    common_mode_v: tuple[Fraction, Fraction]
    limit_v: tuple[Fraction, Fraction]
    margin_v: Fraction
    source: Source = COMMON_MODE

    @property
    def holds(self) -> bool:
        return self.margin_v >= 0


def supply_problems(units: Sequence[Unit]) -> list[Problem]:
    """What cannot be, part by part: ``units``, ``units.NAME.*``, ``units.NAME.power.*``, ``units.NAME.ground.*``."""
    twice = [name for name, count in Counter(unit.name for unit in units).items() if count > 1]
    none = [] if units else [Problem("units", "no unit is supplied", Fraction(1), "unit")]
    return [
        *none,
        *(Problem(f"units.{name}", "is supplied twice, a unit has one power and one ground wire") for name in twice),
        *(problem for unit in units for problem in _unit_problems(unit)),
    ]


def supply_drops(units: Sequence[Unit]) -> tuple[SupplyDrop, ...]:
    """Every unit's voltage at its peak current. Raises ValueError for what `supply_problems` finds."""
    refuse(supply_problems(units))
    return tuple(_drop(unit) for unit in units)


def ground_shifts(
    units: Sequence[Unit], common_mode_v: tuple[Exact, Exact] = (COMMON_MODE_V_MIN, COMMON_MODE_V_MAX)
) -> tuple[GroundShift, ...]:
    """Every ordered pair of units, the worst first: one at its peak while the other idles, whichever way is worse.

    ``common_mode_v`` is the receivers' range: -2 .. 7 V unless given (-12 .. 12 V for those of the 2016 edition, from
    memory). Raises ValueError for what `supply_problems` finds, and for a range that leaves no room for the bias.
    """
    refuse(supply_problems(units))
    least, most = (Fraction(limit) for limit in common_mode_v)
    if not (least <= RECESSIVE_BIAS_V_MIN and most >= RECESSIVE_BIAS_V_MAX):
        raise ValueError(
            f"a common-mode range of {spelt(least)} .. {spelt(most, 'V')} leaves no room for wires that lie at "
            f"{RECESSIVE_BIAS_V_MIN} .. {RECESSIVE_BIAS_V_MAX} V without any shift"
        )
    found = [_shift(driver, hearer, least, most) for driver, hearer in permutations(units, 2)]
    return tuple(sorted(found, key=lambda shift: shift.margin_v))


def _drop(unit: Unit) -> SupplyDrop:
    power_ohm, ground_ohm = unit.power.ohm, unit.ground.ohm
    unit_v = unit.supply_v - unit.peak_a * (power_ohm + ground_ohm)
    most_ohm = (unit.supply_v - Fraction(unit.minimum_v)) / unit.peak_a if unit.peak_a else None
    thicker = _thicker(unit, most_ohm)
    return SupplyDrop(
        unit=unit.name,
        peak_a=Fraction(unit.peak_a),
        power_ohm=power_ohm,
        ground_ohm=ground_ohm,
        power_drop_v=unit.peak_a * power_ohm,
        ground_drop_v=unit.peak_a * ground_ohm,
        unit_v=unit_v,
        minimum_v=Fraction(unit.minimum_v),
        margin_v=unit_v - unit.minimum_v,
        most_wire_ohm=most_ohm,
        power_mm2_needed=None if thicker is None else thicker * unit.power.cross_section_mm2,
        ground_mm2_needed=None if thicker is None else thicker * unit.ground.cross_section_mm2,
    )


def _thicker(unit: Unit, most_ohm: Fraction | None) -> Fraction | None:
    """The factor on both cross-sections that just holds, 1 where they do as they are."""
    if most_ohm is None:
        return Fraction(1)
    joints_ohm = Fraction(unit.power.joints_ohm + unit.ground.joints_ohm)
    copper_ohm = unit.power.ohm + unit.ground.ohm - joints_ohm
    if copper_ohm + joints_ohm <= most_ohm:
        return Fraction(1)
    return copper_ohm / (most_ohm - joints_ohm) if most_ohm > joints_ohm else None


def _shift(driver: Unit, hearer: Unit, least: Fraction, most: Fraction) -> GroundShift:
    up_v = driver.peak_a * driver.ground.ohm - hearer.idle_a * hearer.ground.ohm
    down_v = driver.idle_a * driver.ground.ohm - hearer.peak_a * hearer.ground.ohm
    room_up_v, room_down_v = most - RECESSIVE_BIAS_V_MAX - up_v, down_v + RECESSIVE_BIAS_V_MIN - least
    shift_v = up_v if room_up_v <= room_down_v else down_v
    lies_v = (RECESSIVE_BIAS_V_MIN + shift_v, RECESSIVE_BIAS_V_MAX + shift_v)
    return GroundShift(driver.name, hearer.name, shift_v, lies_v, (least, most), min(room_up_v, room_down_v))


def _unit_problems(unit: Unit) -> list[Problem]:
    part = f"units.{unit.name}"
    numbers = [
        *_wire_problems(f"{part}.power", unit.power),
        *_wire_problems(f"{part}.ground", unit.ground),
        *outside(f"{part}.peak_a", unit.peak_a, *_CURRENT_A, "A"),
        *outside(f"{part}.supply_v", unit.supply_v, *_SUPPLY_V, "V"),
        *outside(f"{part}.minimum_v", unit.minimum_v, 0, _SUPPLY_V[1], "V"),
    ]
    if numbers:
        return numbers
    return [
        *outside(f"{part}.minimum_v", unit.minimum_v, 0, unit.supply_v, "V"),
        *outside(f"{part}.idle_a", unit.idle_a, 0, unit.peak_a, "A"),
    ]


def _wire_problems(part: str, wire: Wire) -> list[Problem]:
    return [
        *outside(f"{part}.length_m", wire.length_m, *_LENGTH_M, "m"),
        *copper_problems(part, wire.cross_section_mm2, wire.temperature_c),
        *outside(f"{part}.joints_ohm", wire.joints_ohm, *_JOINTS_OHM, "ohm"),
    ]
