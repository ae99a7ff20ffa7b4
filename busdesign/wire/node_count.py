"""How many nodes the levels allow, and how long a trunk so many nodes allow: one driver, all others at the far end.

All inputs at the far end is the worst place for them while the trunk's loop resistance is below a termination's, which
is far beyond any trunk that holds. By the published formula and by our own driver, side by side.
"""

from dataclasses import dataclass, field
from fractions import Fraction
from math import floor

from busdesign.wire.cable import Cable, cable_problems
from busdesign.wire.harness import TRUNK_M, Termination, Transceiver
from busdesign.wire.levels import reserved_level_v
from busdesign.wire.physical_layer import (
    DOMINANT_ABOVE_V,
    DRIVER_MODEL,
    LEAST_LOAD,
    LEAST_LOAD_OHM,
    LEVELS,
    Source,
)
from busdesign.wire.problems import Exact, Problem, outside, refuse

PUBLISHED_FORMULA = Source(
    "CiA DR-303-1: V = V_out / (1 + 2 R_wire (1 / R_termination + (n - 1) / R_input)), V at least the reserved level",
    "formula from memory; ratios cross-checked with its table, parameters confirmed",
)
MOST_NODES = 10_000  # own bound of the answer


@dataclass(frozen=True, slots=True)
class TwoEnds:
    """A trunk with a termination and a driver at one end, a termination and all other nodes at the other."""

    trunk_m: Exact
    cable: Cable = field(default_factory=Cable)
    near: Termination = field(default_factory=lambda: Termination(0))
    far: Termination = field(default_factory=lambda: Termination(0))
    transceiver: Transceiver = field(default_factory=Transceiver)

    @property
    def loop_ohm(self) -> Fraction:
        return self.cable.loop_ohm_per_m * self.trunk_m


@dataclass(frozen=True, slots=True)
class NodeLimit:
    """The most nodes by one rule: ``most_nodes`` counts the driver, 0 where not even two hold."""

    name: str
    required: Fraction
    unit: str
    most_nodes: int
    source: Source


@dataclass(frozen=True, slots=True)
class NodeCount:
    """The most nodes by every rule. ``most_nodes`` is by the rule to judge by: dominant at every receiver."""

    loop_ohm: Fraction
    limits: tuple[NodeLimit, ...]

    @property
    def most_nodes(self) -> int:
        return self.limits[0].most_nodes


def node_count(ends: TwoEnds) -> NodeCount:
    """How many nodes keep the levels, tolerances at their worst. Raises ValueError for what cannot be."""
    refuse(_problems(ends))
    wanted_v = reserved_level_v(ends.transceiver.driven_v_min)
    by_model = Source(f"{LEVELS.text}; driver: {DRIVER_MODEL.text}", DRIVER_MODEL.status)
    return NodeCount(
        loop_ohm=ends.loop_ohm,
        limits=(
            NodeLimit("dominant at every receiver", DOMINANT_ABOVE_V, "V", _by_level(ends, DOMINANT_ABOVE_V), by_model),
            NodeLimit("dominant with a reserve", wanted_v, "V", _by_level(ends, wanted_v), by_model),
            NodeLimit("published formula", wanted_v, "V", _by_formula(ends, wanted_v), PUBLISHED_FORMULA),
            NodeLimit("load of the driver", Fraction(LEAST_LOAD_OHM), "ohm", _by_load(ends), LEAST_LOAD),
        ),
    )


def trunk_for_nodes_m(nodes: int, ends: TwoEnds, required_v: Exact | None = None) -> Fraction:
    """The longest trunk by `PUBLISHED_FORMULA` for so many nodes; the trunk of ``ends`` does not count.

    The driver gives its ``driven_v_min`` at any load; only the far termination enters, at its lowest. ``required_v`` is
    the reserved level unless given; 0 m where it is not below the driver's. Raises ValueError for fewer than two nodes
    or a cable without resistance.
    """
    refuse([*_problems(ends), *outside("nodes", nodes, 2, MOST_NODES, "nodes")])
    if ends.cable.ohm_per_m == 0:
        raise ValueError("a cable without resistance sets no limit to the trunk")
    driven_v = Fraction(ends.transceiver.driven_v_min)
    wanted_v = reserved_level_v(driven_v) if required_v is None else required_v
    drawn = 1 / ends.far.ohm_min + Fraction(nodes - 1) / ends.transceiver.input_ohm
    return max((driven_v / wanted_v - 1) / drawn / ends.cable.loop_ohm_per_m, Fraction(0))


def _by_level(ends: TwoEnds, required_v: Fraction) -> int:
    """V = E / ((1 + R_out / R_near) (1 + R_loop G) + R_out G), with G the far end's conductance, solved for G."""
    output_ohm = Fraction(ends.transceiver.output_ohm)
    near = 1 + output_ohm / ends.near.ohm_min
    left = ends.transceiver.source_v_min / required_v - near
    return _nodes_drawing(ends, left, near * ends.loop_ohm + output_ohm)


def _by_formula(ends: TwoEnds, required_v: Fraction) -> int:
    return _nodes_drawing(ends, Fraction(ends.transceiver.driven_v_min) / required_v - 1, ends.loop_ohm)


def _nodes_drawing(ends: TwoEnds, left: Fraction, ohm: Fraction) -> int:
    """The most nodes with ``ohm`` times the far end's conductance at most ``left``."""
    if ohm == 0:
        return MOST_NODES if left >= 0 else 0
    return _driver_and(floor((left / ohm - 1 / ends.far.ohm_min) * ends.transceiver.input_ohm))


def _by_load(ends: TwoEnds) -> int:
    """As if the trunk had no resistance, which is the heaviest load."""
    spare = Fraction(1, LEAST_LOAD_OHM) - 1 / ends.near.ohm_min - 1 / ends.far.ohm_min
    return _driver_and(floor(spare * ends.transceiver.input_ohm))


def _driver_and(others: int) -> int:
    return min(others + 1, MOST_NODES) if others >= 1 else 0


def _problems(ends: TwoEnds) -> list[Problem]:
    circuit = ends.transceiver
    return [
        *outside("trunk_m", ends.trunk_m, *TRUNK_M, "m"),
        *cable_problems(ends.cable),
        *(
            problem
            for name, termination in (("near", ends.near), ("far", ends.far))
            for problem in (
                *outside(f"{name}.ohm", termination.ohm, 1, 10**6, "ohm"),
                *outside(f"{name}.tolerance", termination.tolerance, 0, Fraction(1, 2), ""),
            )
        ),
        *outside("input_ohm", circuit.input_ohm, 1, 10**6, "ohm"),
        *outside("driven_v_min", circuit.driven_v_min, Fraction(1, 1000), 12, "V"),
        *outside("load_ohm", circuit.load_ohm, 1, 10**6, "ohm"),
        *outside("output_ohm", circuit.output_ohm, 0, 10**6, "ohm"),
    ]
