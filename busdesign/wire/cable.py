"""What a metre of cable does: its delay, and its resistance as given or by copper cross-section and temperature."""

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction

from busdesign.wire.physical_layer import (
    CABLE_DELAY_NS_PER_M,
    CABLE_IMPEDANCE_OHM,
    CABLE_OHM_PER_M,
    Source,
)
from busdesign.wire.problems import Exact, Problem, outside, refuse

COPPER = Source("annealed copper at 20 degrees Celsius, IEC 60028 (1925)", "from memory")
COPPER_OHM_MM2_PER_M = Fraction(1, 58)  # COPPER: 0.017241
COPPER_PER_KELVIN = Fraction(393, 100_000)  # COPPER: of the resistance at 20 degrees, at constant mass
REFERENCE_C = 20

# ASTM B258, solid wire, rounded to three digits; from memory, recomputed from 0.127 mm * 92 ** ((36 - gauge) / 39).
GAUGE_MM2: Mapping[int, Fraction] = {
    gauge: Fraction(thousandths, 1000)
    for gauge, thousandths in (
        (26, 129),
        (24, 205),
        (23, 258),
        (22, 326),
        (20, 518),
        (18, 823),
        (16, 1310),
        (14, 2080),
        (12, 3310),
        (10, 5260),
    )
}

LIGHT_NS_PER_M = Fraction(10**9, 299_792_458)  # nothing is faster
_DELAY_NS_PER_M_MOST = 20  # own bound: a sixth of the speed of light; slower is a slip of the pen
_OHM_PER_M_MOST = 10  # own bound: copper of 0.002 mm2
_IMPEDANCE_OHM = (10, 1000)  # own bound
_MM2 = (Fraction(1, 100), 500)  # own bound
_CELSIUS = (-100, 250)  # own bound: beyond it insulation is gone, and copper no longer linear


@dataclass(frozen=True, slots=True)
class Cable:
    """A pair: ``ohm_per_m`` is of one conductor (the current passes two), ``delay_ns_per_m`` one way.

    The defaults are those of ISO 11898 (`physical_layer.CABLE`).
    """

    delay_ns_per_m: Exact = CABLE_DELAY_NS_PER_M
    ohm_per_m: Exact = CABLE_OHM_PER_M
    impedance_ohm: Exact = CABLE_IMPEDANCE_OHM

    @property
    def loop_ohm_per_m(self) -> Fraction:
        """Of both conductors together."""
        return Fraction(2 * self.ohm_per_m)


def copper_ohm_per_m(cross_section_mm2: Exact, temperature_c: Exact = REFERENCE_C) -> Fraction:
    """The direct-current resistance of one copper conductor: ``COPPER``, linear in temperature.

    Solid annealed copper of the full cross-section; stranded and tinned wire has up to some 15 % more (common practice,
    no source), so a data sheet's figure goes before this one. Raises ValueError for what no wire has.
    """
    refuse(copper_problems("copper", cross_section_mm2, temperature_c))
    return COPPER_OHM_MM2_PER_M * (1 + COPPER_PER_KELVIN * (temperature_c - REFERENCE_C)) / cross_section_mm2


def copper_problems(part: str, cross_section_mm2: object, temperature_c: object) -> list[Problem]:
    """What is wrong with a conductor's cross-section and temperature."""
    return [
        *outside(f"{part}.cross_section_mm2", cross_section_mm2, *_MM2, "mm2"),
        *outside(f"{part}.temperature_c", temperature_c, *_CELSIUS, "degrees Celsius"),
    ]


def cable_problems(cable: Cable) -> list[Problem]:
    """What is wrong with a cable's data; a cable without resistance passes, as a model."""
    return [
        *outside("cable.delay_ns_per_m", cable.delay_ns_per_m, LIGHT_NS_PER_M, _DELAY_NS_PER_M_MOST, "ns/m"),
        *outside("cable.ohm_per_m", cable.ohm_per_m, 0, _OHM_PER_M_MOST, "ohm/m"),
        *outside("cable.impedance_ohm", cable.impedance_ohm, *_IMPEDANCE_OHM, "ohm"),
    ]
