"""Players of the faults of clocks and bit timing."""

from dataclasses import replace
from fractions import Fraction

from busdesign.catalogue.wires import harness_of, setting_of
from busdesign.scenario.model import Fault
from busdesign.virtual.faults.sources import Slipping, Unacknowledged, first_misread
from busdesign.virtual.faults.stage import Stage
from busdesign.wire.bit_timing_solver import OutOfReach
from busdesign.wire.delays import propagation_budget

_SJW_UNKNOWN = Fraction(1, 16)  # one quantum of sixteen: an assumption
_LONGEST_RUN = "10000010000010"  # five equal bits and a stuff bit: the longest way between edges within a frame


def wrong_bit_rate(fault: Fault, stage: Stage) -> None:
    assert fault.bit_rate_bit_s is not None
    _slips(
        fault, stage, stage.catalogue.bus.bit_rate_bit_s / fault.bit_rate_bit_s - 1, stage.catalogue.bus.sample_point
    )


def oscillator(fault: Fault, stage: Stage) -> None:
    slow = 1 / (1 + fault.clock_error) - 1
    point, sjw = _slips(fault, stage, slow, stage.catalogue.bus.sample_point)
    if first_misread(_LONGEST_RUN, slow, point, sjw, 0) is None:
        stage.note(fault, "between two edges five bits apart it is still read right; longer runs decide")


def wrong_sample_point(fault: Fault, stage: Stage) -> None:
    assert fault.sample_point is not None
    slow = 1 / (1 + fault.clock_error) - 1
    _slips(fault, stage, slow, fault.sample_point)
    way_ns, bit_ns = _shortest_way_ns(fault.node, stage), stage.catalogue.bus.bit_ns
    if way_ns is None:
        stage.note(fault, "the catalogue gives no trunk, so no acknowledge is taken to come too late for it")
    elif fault.sample_point * bit_ns < way_ns:
        stage.sources.append(Unacknowledged(fault.node, fault.at_ns, stage.stop(fault)))
    else:
        sampled = f"it samples after {float(fault.sample_point * bit_ns):.0f} ns"
        stage.note(fault, f"{sampled}, and the nearest acknowledge is there after {float(way_ns):.0f} ns: in time")


def _shortest_way_ns(node: str, stage: Stage) -> Fraction | None:
    """To the nearest other node and back, transceivers included; None without a harness."""
    found = harness_of(stage.catalogue)
    if found is None:
        return None
    harness, own = found[0], [tap for tap in found[0].taps if tap.node == node]
    pairs = [(own[0], tap) for tap in harness.taps if own and tap.node != node]
    bit_ns = stage.catalogue.bus.bit_ns
    ways = [
        sum(part.delay_ns for part in propagation_budget(replace(harness, taps=pair), bit_ns).parts) for pair in pairs
    ]
    return min(map(Fraction, ways), default=None)


def _slips(fault: Fault, stage: Stage, slow: Fraction, point: Fraction) -> tuple[Fraction, Fraction]:
    """Add the source; the sample point and the sjw, parts of a bit, that the node's setting has."""
    sjw = _sjw(fault.node, stage)
    if sjw is None:
        sjw = _SJW_UNKNOWN
        stage.note(
            fault, f"`{fault.node}` has no bit timing in the catalogue: an sjw of a sixteenth of a bit is assumed"
        )
    stage.sources.append(Slipping(fault.node, fault.at_ns, stage.stop(fault), slow, point, sjw))
    return point, sjw


def _sjw(node: str, stage: Stage) -> Fraction | None:
    try:
        found = setting_of(stage.catalogue.nodes[node], stage.catalogue.bus)
    except OutOfReach:
        return None
    if found is None:
        return None
    segments = found.setting.segments
    return Fraction(segments.sjw, 1 + segments.prop_seg + segments.phase_seg1 + segments.phase_seg2)
