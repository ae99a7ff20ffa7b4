"""The wires between the nodes: a trunk, stubs tied to it at places, terminations; what is wrong with a description.

Places count in metres from one end of the trunk. Modelled: one trunk, each node on a stub of its own (length 0 for one
that the trunk passes through), terminations on the trunk. Not modelled: rings, stubs off stubs, terminations on stubs.
"""

from collections import Counter
from dataclasses import dataclass, field
from fractions import Fraction

from busdesign.wire.cable import Cable, cable_problems
from busdesign.wire.physical_layer import (
    DOMINANT_V_MAX,
    DOMINANT_V_MIN,
    DRIVER_LOAD_OHM,
    DRIVER_OUTPUT_OHM,
    INPUT_OHM_MIN,
    LOOP_DELAY_NS_MAX,
    TERMINATION_OHM,
)
from busdesign.wire.problems import Exact, Problem, outside, refuse, spelt

TRUNK_M = (Fraction(1, 100), 10_000)  # own bound: recommendations end at 5 km
_OHM = (1, 1_000_000)  # own bound, of anything that joins the two wires
_NODE_NS_MOST = 100_000  # own bound: a bit at 10 kbit/s
_VOLT_MOST = 12  # own bound


@dataclass(frozen=True, slots=True)
class Transceiver:
    """What ties a node to the wires; the defaults are the published limits in `physical_layer`.

    ``loop_delay_ns`` is from transmit input to receive output, at most. ``isolator_ns`` is the delay of one channel of
    an isolator between controller and transceiver, passed once each way; 0 for none, or where the loop delay has it.
    ``input_ohm`` lies between the wires, at least. The driver gives ``driven_v_min`` .. ``driven_v_max`` into
    ``load_ohm`` and has ``output_ohm`` inside (own model; 0 for a voltage that no load lowers).
    """

    loop_delay_ns: Exact = LOOP_DELAY_NS_MAX
    isolator_ns: Exact = 0
    input_ohm: Exact = INPUT_OHM_MIN
    driven_v_min: Exact = DOMINANT_V_MIN
    driven_v_max: Exact = DOMINANT_V_MAX
    load_ohm: Exact = DRIVER_LOAD_OHM
    output_ohm: Exact = DRIVER_OUTPUT_OHM

    @property
    def source_v_min(self) -> Fraction:
        """The weakest driver's voltage at no load."""
        return self.driven_v_min * (1 + Fraction(self.output_ohm) / self.load_ohm)

    @property
    def source_v_max(self) -> Fraction:
        """The strongest driver's voltage at no load."""
        return self.driven_v_max * (1 + Fraction(self.output_ohm) / self.load_ohm)


@dataclass(frozen=True, slots=True)
class Tap:
    """Where a node is tied to the trunk, and by what length of stub."""

    node: str
    at_m: Exact
    stub_m: Exact = 0
    transceiver: Transceiver = field(default_factory=Transceiver)


@dataclass(frozen=True, slots=True)
class Termination:
    """A resistance between the wires; ``tolerance`` is a fraction of ``ohm``, either way."""

    at_m: Exact
    ohm: Exact = TERMINATION_OHM
    tolerance: Exact = 0

    @property
    def ohm_min(self) -> Fraction:
        return Fraction(self.ohm) * (1 - self.tolerance)

    @property
    def ohm_max(self) -> Fraction:
        return Fraction(self.ohm) * (1 + self.tolerance)


@dataclass(frozen=True, slots=True)
class Harness:
    """One bus's wires. What `harness_problems` finds is refused by everything that computes with a harness."""

    trunk_m: Exact
    taps: tuple[Tap, ...]
    terminations: tuple[Termination, ...]
    cable: Cable = field(default_factory=Cable)


def wire_m(one: Tap, other: Tap) -> Fraction:
    """The length of wire between two nodes: the trunk between their places and both stubs."""
    return abs(Fraction(one.at_m) - other.at_m) + one.stub_m + other.stub_m


def require_possible(harness: Harness) -> None:
    """Raises Refused, a ValueError, for the problems that `harness_problems` finds."""
    refuse(harness_problems(harness))


def harness_problems(harness: Harness) -> list[Problem]:
    """What cannot be, part by part: lengths, places, resistances and delays, nodes named twice or too few.

    Parts are ``trunk_m``, ``cable.*``, ``taps``, ``taps.NODE.*`` and ``terminations.INDEX.*``. A termination that is
    missing or of a wrong value can be: see `terminations.unsuitable_terminations`.
    """
    trunk = outside("trunk_m", harness.trunk_m, *TRUNK_M, "m")
    along_m = TRUNK_M[1] if trunk else harness.trunk_m  # places are judged against a trunk that can be
    return [
        *trunk,
        *cable_problems(harness.cable),
        *_node_problems(harness.taps),
        *(problem for tap in harness.taps for problem in _tap_problems(tap, along_m)),
        *(
            problem
            for index, termination in enumerate(harness.terminations)
            for problem in _termination_problems(index, termination, along_m)
        ),
    ]


def _node_problems(taps: tuple[Tap, ...]) -> list[Problem]:
    problems = [
        Problem(f"taps.{node}", f"named {count} times, a node is tied to the trunk once")
        for node, count in Counter(tap.node for tap in taps).items()
        if count > 1
    ]
    if len(taps) < 2:
        problems.append(
            Problem("taps", f"{len(taps)} on the trunk, a bus has at least two nodes", Fraction(2), "nodes")
        )
    return problems


def _tap_problems(tap: Tap, trunk_m: Exact) -> list[Problem]:
    part, circuit = f"taps.{tap.node}", tap.transceiver
    return [
        *_along(f"{part}.at_m", tap.at_m, trunk_m),
        *_stub_problems(f"{part}.stub_m", tap.stub_m, trunk_m),
        *outside(f"{part}.loop_delay_ns", circuit.loop_delay_ns, 0, _NODE_NS_MOST, "ns"),
        *outside(f"{part}.isolator_ns", circuit.isolator_ns, 0, _NODE_NS_MOST, "ns"),
        *outside(f"{part}.input_ohm", circuit.input_ohm, *_OHM, "ohm"),
        *_driver_problems(part, circuit),
    ]


def _driver_problems(part: str, circuit: Transceiver) -> list[Problem]:
    weakest = outside(f"{part}.driven_v_min", circuit.driven_v_min, Fraction(1, 1000), _VOLT_MOST, "V")
    least_v = Fraction(1, 1000) if weakest else circuit.driven_v_min
    return [
        *weakest,
        *outside(f"{part}.driven_v_max", circuit.driven_v_max, least_v, _VOLT_MOST, "V"),
        *outside(f"{part}.load_ohm", circuit.load_ohm, *_OHM, "ohm"),
        *outside(f"{part}.output_ohm", circuit.output_ohm, 0, _OHM[1], "ohm"),
    ]


def _termination_problems(index: int, termination: Termination, trunk_m: Exact) -> list[Problem]:
    part = f"terminations.{index}"
    return [
        *_along(f"{part}.at_m", termination.at_m, trunk_m),
        *outside(f"{part}.ohm", termination.ohm, *_OHM, "ohm"),
        *outside(f"{part}.tolerance", termination.tolerance, 0, Fraction(1, 2), ""),
    ]


def _along(part: str, at_m: Exact, trunk_m: Exact) -> list[Problem]:
    found = outside(part, at_m, 0, trunk_m, "m")
    if found and isinstance(at_m, int | Fraction) and at_m > trunk_m:
        text = f"{spelt(at_m, 'm')} is beyond the end of the trunk of {spelt(trunk_m, 'm')}"
        return [Problem(part, text, Fraction(trunk_m), "m")]
    return found


def _stub_problems(part: str, stub_m: Exact, trunk_m: Exact) -> list[Problem]:
    found = outside(part, stub_m, 0, trunk_m, "m")
    if found and isinstance(stub_m, int | Fraction) and stub_m > trunk_m:
        text = f"a stub of {spelt(stub_m, 'm')} is longer than the trunk of {spelt(trunk_m, 'm')}"
        return [Problem(part, text + ", so it is the trunk", Fraction(trunk_m), "m")]
    return found
