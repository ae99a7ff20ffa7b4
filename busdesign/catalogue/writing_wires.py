"""``bus`` and the ``nodes`` of a frozen catalogue back into YAML, with their wires, settings and supply."""

from collections.abc import Iterable
from fractions import Fraction

from busdesign.catalogue.model import Bus, Node
from busdesign.catalogue.model_controllers import Receive, Transmit
from busdesign.catalogue.model_errors import ErrorModel
from busdesign.catalogue.model_wires import Cable, Harness, Supply, Timing
from busdesign.catalogue.yaml_text import Parts, block, decimal, duration, flow, given, text
from busdesign.wire.bit_timing import GENERIC_LIMITS, Limits
from busdesign.wire.harness import Transceiver
from busdesign.wire.problems import Exact
from busdesign.wire.supply import Wire


def bus_lines(bus: Bus) -> list[str]:
    """The lines below ``bus:``. Raises ValueError for a quantity that no decimal number says."""
    parts = {
        "bit_rate": _of(bus.bit_rate_bit_s, "bit/s"),
        "sample_point": _percent(bus.sample_point),
        "load_limit": _percent(bus.load_limit),
        "errors": None if bus.errors is None else _errors(bus.errors),
        "supply": None if bus.supply_v is None else flow({"voltage": f"{decimal(bus.supply_v)} V"}),
    }
    return [*block(given(parts), 2), *_harness(bus.harness)]


def node_parts(node: Node) -> Parts:
    """The keys of one of ``nodes``. Raises ValueError for a quantity that no decimal number says."""
    return given(
        {
            "clock": _of(node.clock_hz, "Hz"),
            "tolerance": _percent(node.tolerance) if node.tolerance else None,
            "controller": None if node.controller is None else _limits(node.controller),
            "timing": None if node.timing is None else _timing(node.timing),
            "transceiver": _transceiver(node.transceiver, node.common_mode_v),
            "supply": None if node.supply is None else _supply(node.supply),
            "transmit": None if node.transmit is None else _sending(node.transmit),
            "receive": None if node.receive is None else _reading(node.receive),
            "processing": duration(node.processing_ns) if node.processing_ns else None,
            "comment": text(node.comment) if node.comment else None,
        }
    )


def _sending(transmit: Transmit) -> str:
    return flow(
        given(
            {
                "queue": transmit.queue.value,
                "depth": None if transmit.depth is None else str(transmit.depth),
                "buffers": None if transmit.buffers is None else str(transmit.buffers),
                "abort": "true" if transmit.abort else None,
            }
        )
    )


def _reading(receive: Receive) -> str:
    return flow({"depth": str(receive.depth), "read_every": duration(receive.read_every_ns)})


def _errors(model: ErrorModel) -> str:
    apart_ns, per_s = model.at_least_apart_ns, model.rate_per_s
    return flow(
        given(
            {
                "at_least_apart": None if apart_ns is None else duration(apart_ns),
                "burst": None if model.burst == 1 else str(model.burst),
                "lasting": duration(model.lasting_ns) if model.lasting_ns else None,
                "rate": None if per_s is None else _rate(per_s),
                "late_at_most": _percent(model.late_at_most),
            }
        )
    )


def _rate(per_s: Fraction) -> str:
    for unit, scale in (("s", 1), ("min", 60)):
        try:
            return f"{decimal(per_s * scale)} per {unit}"
        except ValueError:
            pass  # perhaps it has an end in a longer unit
    return f"{decimal(per_s * 3600)} per h"


def _harness(wires: Harness) -> list[str]:
    short = given(
        {
            "trunk": _of(wires.trunk_m, "m"),
            "longest_stub": _of(wires.longest_stub_m, "m"),
            "termination": _of(wires.termination_ohm, "ohm"),
            "cable": None if wires.cable is None else _cable(wires.cable),
        }
    )
    stubs = [
        flow({"at": _must(stub.at_m, "m"), "length": _must(stub.length_m, "m"), "node": text(stub.node)})
        for stub in wires.stubs or ()
    ]
    terminations = [
        flow({"at": _must(each.at_m, "m"), "ohm": _must(each.ohm, "ohm"), "tolerance": _ratio(each.tolerance)})
        for each in wires.terminations or ()
    ]
    if wires.stubs is None and wires.terminations is None:
        return [f"  harness: {flow(short)}"] if short else []
    listed = [("stubs", wires.stubs, stubs), ("terminations", wires.terminations, terminations)]
    lists = [line for key, said, entries in listed if said is not None for line in _list(key, entries)]
    return ["  harness:", *block(short, 4), *lists]


def _list(key: str, entries: Iterable[str]) -> list[str]:
    lines = [f"      - {entry}" for entry in entries]
    return [f"    {key}:", *lines] if lines else [f"    {key}: []"]


def _cable(cable: Cable) -> str:
    return flow(
        given(
            {
                "delay": _of(cable.delay_ns_per_m, "ns/m"),
                "resistance": _of(cable.ohm_per_m, "ohm/m"),
                "cross_section": _of(cable.cross_section_mm2, "mm2"),
                "temperature": _of(cable.temperature_c, "degC"),
                "impedance": _of(cable.impedance_ohm, "ohm"),
            }
        )
    )


def _limits(limits: Limits) -> str:
    generic = next((name for name, known in GENERIC_LIMITS.items() if known == limits), None)
    if generic is not None:
        return generic
    return flow(
        given(
            {
                "prescaler": _range(limits.prescaler),
                "time_segment1": _range(limits.time_segment1),
                "prop_seg": _range(limits.prop_seg),
                "phase_seg1": _range(limits.phase_seg1),
                "phase_seg2": _range(limits.phase_seg2),
                "sjw": str(limits.sjw),
                "quanta": _range(limits.quanta),
                "prescaler_step": str(limits.prescaler_step),
                "information_processing": str(limits.information_processing),
            }
        )
    )


def _timing(timing: Timing) -> str:
    segments = timing.segments
    parts = {key: str(getattr(segments, key)) for key in ("prop_seg", "phase_seg1", "phase_seg2", "sjw")}
    return flow({"prescaler": str(timing.prescaler), **parts})


def _transceiver(circuit: Transceiver | None, common_mode_v: tuple[Fraction, Fraction] | None) -> str | None:
    if circuit is None and common_mode_v is None:
        return None
    said = circuit or Transceiver()
    return flow(
        given(
            {
                "loop_delay": _of(said.loop_delay_ns, "ns"),
                "isolator": _of(said.isolator_ns, "ns"),
                "input": _of(said.input_ohm, "ohm"),
                "dominant": _volts((said.driven_v_min, said.driven_v_max)),
                "common_mode": None if common_mode_v is None else _volts(common_mode_v),
            }
        )
    )


def _supply(supply: Supply) -> str:
    return flow(
        given(
            {
                **_wire(supply.power),
                "temperature": _of(supply.power.temperature_c, "degC"),
                "ground": None if supply.ground == supply.power else flow(_wire(supply.ground)),
                "peak": _of(supply.peak_a, "A"),
                "idle": _of(supply.idle_a, "A"),
                "at_least": _of(supply.at_least_v, "V"),
            }
        )
    )


def _wire(wire: Wire) -> Parts:
    return {
        "length": _must(wire.length_m, "m"),
        "cross_section": _must(wire.cross_section_mm2, "mm2"),
        "joints": _must(wire.joints_ohm, "ohm"),
    }


def _range(pair: tuple[int, int] | None) -> str | None:
    return None if pair is None else f"[{pair[0]}, {pair[1]}]"


def _volts(pair: tuple[Exact, Exact]) -> str:
    return f"[{_must(pair[0], 'V')}, {_must(pair[1], 'V')}]"


def _percent(ratio: Fraction | None) -> str | None:
    return None if ratio is None else _ratio(ratio)


def _ratio(ratio: Exact) -> str:
    return f"{decimal(Fraction(ratio) * 100)} %"


def _of(value: Exact | None, unit: str) -> str | None:
    return None if value is None else _must(value, unit)


def _must(value: Exact, unit: str) -> str:
    return f"{decimal(Fraction(value))} {unit}"
