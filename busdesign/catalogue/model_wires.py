"""The frozen catalogue's wires as written: harness, settings, supply. `wires` makes of them what is computed with."""

from dataclasses import dataclass, field
from fractions import Fraction

from busdesign.findings import Place
from busdesign.wire.bit_timing import Segments
from busdesign.wire.harness import Termination
from busdesign.wire.supply import Wire


@dataclass(frozen=True, slots=True)
class Cable:
    """The pair, as far as it is written: either a resistance, or copper of a cross-section and temperature."""

    delay_ns_per_m: Fraction | None = None
    ohm_per_m: Fraction | None = None
    cross_section_mm2: Fraction | None = None
    temperature_c: Fraction | None = None
    impedance_ohm: Fraction | None = None


@dataclass(frozen=True, slots=True)
class Stub:
    """Where a node is tied to the trunk; of length 0 where the trunk passes through it."""

    at_m: Fraction
    length_m: Fraction
    node: str


@dataclass(frozen=True, slots=True)
class Harness:
    """The wires, in short or at length; None is what is not written, and ``()`` an empty list."""

    trunk_m: Fraction | None = None
    longest_stub_m: Fraction | None = None
    termination_ohm: Fraction | None = None
    cable: Cable | None = None
    stubs: tuple[Stub, ...] | None = None
    terminations: tuple[Termination, ...] | None = None
    place: Place | None = field(default=None, compare=False, repr=False)


@dataclass(frozen=True, slots=True)
class Timing:
    """What a node's controller is set to; its clock is the node's."""

    prescaler: int
    segments: Segments


@dataclass(frozen=True, slots=True)
class Supply:
    """Wires of a node's own from the source, what it draws (idle to peak) and needs at its terminals."""

    power: Wire
    ground: Wire
    peak_a: Fraction
    at_least_v: Fraction
    idle_a: Fraction = Fraction(0)
