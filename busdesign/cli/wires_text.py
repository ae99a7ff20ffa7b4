"""The clocks and the wires in the text of ``check``: the tightest figure of each kind beside its limit."""

from typing import TYPE_CHECKING

from busdesign.cli.text import wrapped
from busdesign.units import percent

if TYPE_CHECKING:
    from busdesign.answers.check import CheckAnswer
    from busdesign.answers.wires_check import HarnessAnswer, TimingAnswer

_WIDTH = 110


def wires_text(found: "CheckAnswer") -> list[str]:
    """A line or two each for timing, wires and supply; none for what the catalogue says nothing of."""
    parts = []
    if found.timing:
        parts.append(f"timing: {_timing(found)}")
    if found.harness is not None:
        parts.append(f"wires: {_wires(found.harness)}")
        if found.harness.assumed:
            parts.append(f"assumed of the wires: {'; '.join(found.harness.assumed)}")
    if found.supply:
        parts.append(f"supply: {_supply(found)}")
    return [line for part in parts for line in wrapped(part, _WIDTH, later="  ")]


def _timing(found: "CheckAnswer") -> str:
    tight = min(found.timing, key=lambda timing: timing.margin)
    off = f" and its rate is off by {percent(abs(tight.rate_error))}" if tight.rate_error else ""
    borne = f"its setting ({_setting(tight)}) bears {percent(tight.oscillator_tolerance)} ({tight.weakest})"
    by = percent(tight.clock_tolerance)
    parts = [f"{tight.node} has least to spare: its clock may be off by {by}{off}, {borne}"]
    pair = found.clocks_apart
    if pair is not None:
        by = percent(abs(pair.margin))
        understood = (
            f"understand each other with {by} to spare" if pair.holds else f"do not understand each other by {by}"
        )
        parts.append(f"{pair.sender} and {pair.receiver} {understood} ({pair.condition})")
    clockless = [name for name in found.definition.nodes if name not in {timing.node for timing in found.timing}]
    if clockless:
        parts.append(f"no clock is given for {', '.join(clockless)}")
    return "; ".join(parts)


def _setting(timing: "TimingAnswer") -> str:
    segments = f"1 + {timing.prop_seg} + {timing.phase_seg1} + {timing.phase_seg2} quanta"
    origin = "as given" if timing.is_given else "the best"
    return f"{origin}: prescaler {timing.prescaler}, {segments}, sampled at {percent(timing.sample_point)}"


def _wires(harness: "HarnessAnswer") -> str:
    parts = []
    way = harness.propagation
    if way is not None:
        one, other = way.nodes
        parts.append(f"an edge takes {way.total_ns:.4g} of {way.limit_ns:.4g} ns from {one} to {other} and back")
    rule = harness.levels[0]
    parts.append(
        f"{harness.lowest_hearer} sees {harness.lowest_level_v:.3g} V while {harness.lowest_driver} drives, "
        f"{rule.required:.3g} V needed"
    )
    stub = next((stub for stub in harness.stubs if stub.kind == "rule"), None)
    if stub is not None:
        longest = f"longest stub {stub.longest_m:.3g} m, {stub.each_m:.3g} m allowed" if stub.longest else "no stubs"
        parts.append(longest)
    return "; ".join(parts)


def _supply(found: "CheckAnswer") -> str:
    tight = min(found.supply, key=lambda supply: supply.margin_v)
    parts = [f"{tight.node} gets {tight.node_v:.4g} V at its peak, {tight.at_least_v:.4g} V needed"]
    if found.grounds:
        ground = found.grounds[0]
        side = "below" if ground.shift_v < 0 else "above"
        left = f"{ground.margin_v:.3g} V to spare" if ground.holds else f"{-ground.margin_v:.3g} V too far"
        lies = f"lies up to {abs(ground.shift_v):.3g} V {side} that of {ground.hearer}, {left}"
        parts.append(f"the ground of {ground.driver} {lies}")
    return "; ".join(parts)
