"""How long an edge takes to the furthest node and back, against the propagation segment; the longest trunk.

A node that loses an arbitration or acknowledges answers an edge which it saw late, and its answer comes back late: the
propagation segment covers out and back. Modelled: transceivers, isolators, wire. Not modelled: edges that rise slowly,
the controllers' own inputs, cable that gets slower with its load.
"""

from dataclasses import dataclass
from fractions import Fraction
from itertools import combinations

from busdesign.wire.harness import Harness, Tap, require_possible, wire_m
from busdesign.wire.physical_layer import PROPAGATION, Source
from busdesign.wire.problems import Exact, outside, refuse
from busdesign.wire.recommendations import LengthRecommendation, recommended_lengths

_BIT_NS_MOST = 10**9  # own bound: one bit a second
_BIT_RATE_BIT_S = (1, 10**8)  # own bound


@dataclass(frozen=True, slots=True)
class DelayPart:
    """One part of a propagation budget, out and back together."""

    name: str
    delay_ns: Fraction


@dataclass(frozen=True, slots=True)
class PropagationBudget:
    """The slowest pair of nodes; ``parts`` add up to ``total_ns``. ``margin_ns`` is what the segment has to spare."""

    nodes: tuple[str, str]
    wire_m: Fraction
    delay_ns_per_m: Fraction
    parts: tuple[DelayPart, ...]
    total_ns: Fraction
    limit_ns: Fraction
    margin_ns: Fraction
    source: Source = PROPAGATION

    @property
    def holds(self) -> bool:
        return self.margin_ns >= 0


@dataclass(frozen=True, slots=True)
class TrunkLimit:
    """The longest trunk with the slowest pair of nodes at its ends, and what it assumes of that pair.

    ``longest_trunk_m`` is None where nodes and stubs alone take longer than the segment, by ``shortfall_ns``.
    ``recommended`` stands beside it and assumes other delays.
    """

    nodes: tuple[str, str]
    loop_delays_ns: tuple[Fraction, Fraction]
    isolators_ns: Fraction
    stubs_m: Fraction
    delay_ns_per_m: Fraction
    limit_ns: Fraction
    left_for_wire_ns: Fraction
    longest_wire_m: Fraction
    longest_trunk_m: Fraction | None
    shortfall_ns: Fraction
    recommended: tuple[LengthRecommendation, ...]
    source: Source = PROPAGATION


def propagation_budget(harness: Harness, prop_seg_ns: Exact) -> PropagationBudget:
    """The pair of nodes that an edge takes longest between, out and back, against the propagation segment.

    Raises ValueError for a harness that cannot be, and for a segment that is not above zero.
    """
    require_possible(harness)
    _require_segment(prop_seg_ns)
    one, other = max(combinations(harness.taps, 2), key=lambda pair: _round_trip_ns(harness, *pair))
    parts = _parts(harness, one, other)
    total_ns = sum((part.delay_ns for part in parts), Fraction(0))
    return PropagationBudget(
        nodes=(one.node, other.node),
        wire_m=wire_m(one, other),
        delay_ns_per_m=Fraction(harness.cable.delay_ns_per_m),
        parts=parts,
        total_ns=total_ns,
        limit_ns=Fraction(prop_seg_ns),
        margin_ns=prop_seg_ns - total_ns,
    )


def longest_trunk(harness: Harness, bit_rate_bit_s: Exact, prop_seg_ns: Exact) -> TrunkLimit:
    """How long the trunk may get if the two nodes with the longest delays and stubs sit at its ends.

    ``bit_rate_bit_s`` chooses the recommendations only. Raises ValueError as `propagation_budget` does.
    """
    require_possible(harness)
    _require_segment(prop_seg_ns)
    refuse(outside("bit_rate_bit_s", bit_rate_bit_s, *_BIT_RATE_BIT_S, "bit/s"))
    per_m = Fraction(harness.cable.delay_ns_per_m)
    one, other = max(combinations(harness.taps, 2), key=lambda pair: _apart_from_trunk_ns(harness, *pair))
    isolators_ns, stubs_m = _isolators_ns(one) + _isolators_ns(other), Fraction(one.stub_m + other.stub_m)
    loops_ns = (Fraction(one.transceiver.loop_delay_ns), Fraction(other.transceiver.loop_delay_ns))
    left_ns = prop_seg_ns - sum(loops_ns) - isolators_ns
    trunk_m = left_ns / (2 * per_m) - stubs_m
    return TrunkLimit(
        nodes=(one.node, other.node),
        loop_delays_ns=loops_ns,
        isolators_ns=isolators_ns,
        stubs_m=stubs_m,
        delay_ns_per_m=per_m,
        limit_ns=Fraction(prop_seg_ns),
        left_for_wire_ns=max(left_ns, Fraction(0)),
        longest_wire_m=max(left_ns / (2 * per_m), Fraction(0)),
        longest_trunk_m=trunk_m if trunk_m >= 0 else None,
        shortfall_ns=max(-trunk_m * 2 * per_m, Fraction(0)),
        recommended=recommended_lengths(bit_rate_bit_s),
    )


def propagation_room_ns(
    bit_rate_bit_s: Exact, sample_point: Fraction, quanta: int = 16, phase_seg1_quanta: int | None = None
) -> Fraction:
    """The propagation segment of a bit of ``quanta`` time quanta: what lies before the sample point, less one quantum
    of synchronisation and the first phase segment, which is as long as the second unless given.

    For a bus whose bit timing is known by rate and sample point only (own model). Raises ValueError where nothing is
    left, or for a sample point that is not a whole number of quanta within the bit.
    """
    refuse(outside("bit_rate_bit_s", bit_rate_bit_s, *_BIT_RATE_BIT_S, "bit/s"))
    refuse(outside("quanta", quanta, 3, 400, "quanta"))
    before = sample_point * quanta
    if before.denominator != 1 or not 0 < before < quanta:
        nearest = Fraction(min(max(round(before), 1), quanta - 1), quanta)
        raise ValueError(
            f"a sample point of {float(sample_point) * 100:g} % does not fall between two of {quanta} quanta; "
            f"the nearest is {float(nearest) * 100:g} %"
        )
    phase_seg1 = quanta - before if phase_seg1_quanta is None else phase_seg1_quanta
    left = before - 1 - phase_seg1
    if left < 1 or phase_seg1 < 1:
        raise ValueError(
            f"{before} quanta before the sample point leave none for propagation beside 1 of synchronisation and "
            f"{phase_seg1} of the first phase segment, of 1 or more"
        )
    return Fraction(10**9) / bit_rate_bit_s / quanta * left


def _parts(harness: Harness, one: Tap, other: Tap) -> tuple[DelayPart, ...]:
    both_ways_ns = 2 * Fraction(harness.cable.delay_ns_per_m)
    nodes = [
        part
        for tap in (one, other)
        for part in (
            DelayPart(f"transceiver of {tap.node}", Fraction(tap.transceiver.loop_delay_ns)),
            DelayPart(f"isolators of {tap.node}", _isolators_ns(tap)),
            DelayPart(f"stub of {tap.node}", both_ways_ns * tap.stub_m),
        )
    ]
    return (*nodes, DelayPart("trunk", both_ways_ns * abs(Fraction(one.at_m) - other.at_m)))


def _round_trip_ns(harness: Harness, one: Tap, other: Tap) -> Fraction:
    trunk_ns = 2 * Fraction(harness.cable.delay_ns_per_m) * abs(Fraction(one.at_m) - other.at_m)
    return _apart_from_trunk_ns(harness, one, other) + trunk_ns


def _apart_from_trunk_ns(harness: Harness, one: Tap, other: Tap) -> Fraction:
    """Each node's driver and receiver are passed once, so together its loop; each isolator twice."""
    stubs_ns = 2 * Fraction(harness.cable.delay_ns_per_m) * (one.stub_m + other.stub_m)
    loops_ns = one.transceiver.loop_delay_ns + other.transceiver.loop_delay_ns
    return loops_ns + _isolators_ns(one) + _isolators_ns(other) + stubs_ns


def _isolators_ns(tap: Tap) -> Fraction:
    return Fraction(2 * tap.transceiver.isolator_ns)


def _require_segment(prop_seg_ns: Exact) -> None:
    refuse(outside("prop_seg_ns", prop_seg_ns, Fraction(1, 1000), _BIT_NS_MOST, "ns"))
