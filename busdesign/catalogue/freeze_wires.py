"""``bus`` and ``nodes`` of a draft as the frozen catalogue has them. Raises Refused for what no controller can hold."""

from collections.abc import Iterator, Mapping
from fractions import Fraction
from typing import Any

from busdesign.catalogue.draft_controllers import TransmitWritten
from busdesign.catalogue.draft_errors import ErrorsWritten
from busdesign.catalogue.draft_wires import (
    BusWritten,
    CableWritten,
    GroundWritten,
    HarnessWritten,
    LimitsWritten,
    NodeWritten,
    SupplyWritten,
    TimingWritten,
    TransceiverWritten,
)
from busdesign.catalogue.model import Bus, Node
from busdesign.catalogue.model_controllers import Queue, Receive, Transmit
from busdesign.catalogue.model_errors import ErrorModel
from busdesign.catalogue.model_wires import Cable, Harness, Stub, Supply, Timing
from busdesign.catalogue.source import Source, Trail
from busdesign.findings import Place, Refused
from busdesign.wire.bit_timing import GENERIC_LIMITS, Limits, Segments
from busdesign.wire.cable import REFERENCE_C
from busdesign.wire.harness import Termination, Transceiver
from busdesign.wire.supply import Wire

OWN_LIMITS = "own"  # the name of limits that the catalogue itself states


def bus_of(written: BusWritten, source: Source) -> Bus:
    """``bus`` with its harness."""
    return Bus(
        bit_rate_bit_s=written.bit_rate,
        sample_point=written.sample_point,
        load_limit=written.load_limit,
        errors=None if written.errors is None else _errors(written.errors),
        harness=_harness(written.harness, source.of_key(("bus", "harness"))),
        supply_v=written.supply.voltage if written.supply else None,
        place=source.of_key(("bus",)),
    )


def node_of(name: str, written: NodeWritten, source: Source) -> Node:
    """One of ``nodes``. Raises Refused as `limits_of` and `timing_of` do."""
    transceiver = written.transceiver
    return Node(
        name=name,
        clock_hz=written.clock,
        tolerance=written.tolerance,
        processing_ns=written.processing,
        comment=written.comment,
        controller=None if written.controller is None else limits_of(written.controller),
        timing=None if written.timing is None else timing_of(written.timing),
        transceiver=None if transceiver is None else _transceiver(transceiver),
        common_mode_v=_pair(transceiver.common_mode) if transceiver and transceiver.common_mode else None,
        supply=None if written.supply is None else _supply(written.supply),
        transmit=None if written.transmit is None else _transmit(written.transmit),
        receive=None if written.receive is None else Receive(written.receive.depth, written.receive.read_every),
        place=source.of_key(("nodes", name)),
    )


def wired_nodes(nodes: Mapping[str, NodeWritten], source: Source) -> dict[str, Node]:
    """The nodes without their controllers and settings, so that none is refused."""
    bare = {"controller": None, "timing": None}
    return {name: node_of(name, node.model_copy(update=bare), source) for name, node in nodes.items()}


def limits_of(written: str | LimitsWritten) -> Limits:
    """The generic limits of that name, or those written. Raises Refused for ranges that no setting fits."""
    if isinstance(written, str):
        return GENERIC_LIMITS[written]
    prop_seg, phase_seg1 = _range(written.prop_seg), _range(written.phase_seg1)
    both = _range(written.time_segment1)
    if both is None:
        if prop_seg is None or phase_seg1 is None:
            raise Refused(
                "nothing says how long prop_seg and phase_seg1 may be",
                "add `time_segment1: [2, 16]`, or both `prop_seg` and `phase_seg1`",
            )
        both = (prop_seg[0] + phase_seg1[0], prop_seg[1] + phase_seg1[1])
    return Limits(
        OWN_LIMITS,
        prescaler=(written.prescaler[0], written.prescaler[1]),
        time_segment1=both,
        phase_seg2=(written.phase_seg2[0], written.phase_seg2[1]),
        sjw=written.sjw,
        quanta=(written.quanta[0], written.quanta[1]),
        prop_seg=prop_seg,
        phase_seg1=phase_seg1,
        prescaler_step=written.prescaler_step,
        information_processing=written.information_processing,
    )


def timing_of(written: TimingWritten) -> Timing:
    """The setting as written. Raises Refused for a jump width beyond phase_seg2."""
    segments = Segments(written.prop_seg, written.phase_seg1, written.phase_seg2, written.sjw)
    return Timing(written.prescaler, segments)


def places_of(source: Source) -> Iterator[tuple[tuple[str, ...], Place]]:
    """Where each value inside ``bus`` and ``nodes`` is written, by its keys; indices as texts."""
    data = source.data
    for part in ("bus", "nodes"):
        yield from _places((part,), data.get(part), source)


def _places(trail: Trail, data: Any, source: Source) -> Iterator[tuple[tuple[str, ...], Place]]:
    yield tuple(map(str, trail)), source.of_value(trail)
    inner = data.items() if isinstance(data, dict) else enumerate(data) if isinstance(data, list) else ()
    for step, value in inner:
        yield from _places((*trail, step), value, source)


def _errors(written: ErrorsWritten) -> ErrorModel:
    return ErrorModel(
        at_least_apart_ns=written.at_least_apart,
        burst=written.burst,
        lasting_ns=written.lasting,
        rate_per_s=written.rate,
        late_at_most=written.late_at_most,
    )


def _harness(written: HarnessWritten, place: Place) -> Harness:
    return Harness(
        trunk_m=written.trunk,
        longest_stub_m=written.longest_stub,
        termination_ohm=written.termination,
        cable=None if written.cable is None else _cable(written.cable),
        stubs=None if written.stubs is None else tuple(Stub(s.at, s.length, s.node) for s in written.stubs),
        terminations=None
        if written.terminations is None
        else tuple(Termination(each.at, each.ohm, each.tolerance) for each in written.terminations),
        place=place,
    )


def _cable(written: CableWritten) -> Cable:
    return Cable(written.delay, written.resistance, written.cross_section, written.temperature, written.impedance)


def _transceiver(written: TransceiverWritten) -> Transceiver:
    said: Mapping[str, Fraction | None] = {
        "loop_delay_ns": written.loop_delay,
        "isolator_ns": written.isolator,
        "input_ohm": written.input,
        "driven_v_min": written.dominant[0] if written.dominant else None,
        "driven_v_max": written.dominant[1] if written.dominant else None,
    }
    return Transceiver(**{name: value for name, value in said.items() if value is not None})


def _transmit(written: TransmitWritten) -> Transmit:
    return Transmit(Queue(written.queue), written.depth, written.buffers, written.abort)


def _supply(written: SupplyWritten) -> Supply:
    temperature_c = Fraction(REFERENCE_C) if written.temperature is None else written.temperature
    power = Wire(written.length, written.cross_section, temperature_c, written.joints or Fraction(0))
    ground = power if written.ground is None else _ground(written.ground, power)
    return Supply(power, ground, written.peak, written.at_least, written.idle)


def _ground(written: GroundWritten, power: Wire) -> Wire:
    return Wire(
        power.length_m if written.length is None else written.length,
        power.cross_section_mm2 if written.cross_section is None else written.cross_section,
        power.temperature_c,
        power.joints_ohm if written.joints is None else written.joints,
    )


def _range(written: list[int] | None) -> tuple[int, int] | None:
    return None if written is None else (written[0], written[1])


def _pair(written: list[Fraction]) -> tuple[Fraction, Fraction]:
    return written[0], written[1]
