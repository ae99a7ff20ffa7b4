"""Clocks and settings: whether each node makes the bus's rate and sample point, and its controller can hold that."""

from collections.abc import Iterator
from fractions import Fraction

from busdesign.catalogue.draft_wires import BusWritten, NodeWritten
from busdesign.catalogue.freeze_wires import bus_of, limits_of, timing_of, wired_nodes
from busdesign.catalogue.parts import Draft
from busdesign.catalogue.wires import harness_from
from busdesign.findings import Finding, Place, Refused, error
from busdesign.units import format_bit_rate, percent
from busdesign.wire.bit_rates import nearest_common_rate_bit_s
from busdesign.wire.bit_timing import LARGE, SMALL, Limits, Setting
from busdesign.wire.bit_timing_solver import OutOfReach, settings_for
from busdesign.wire.delays import propagation_budget
from busdesign.wire.harness import harness_problems
from busdesign.wire.oscillator import Assessment

FASTEST_BIT_S = 10**6  # ISO 11898-2, flexible data rate aside
_AROUND = Fraction(1, 100)  # so far from the declared sample point a setting may be: own choice, as in the solver


def controller(draft: Draft) -> Iterator[Finding]:
    """Own limits of a controller that no setting fits."""
    for name, node in draft.nodes.items():
        try:
            _limits(node, SMALL)
        except Refused as refused:
            yield error("controller", draft.source.of_value(("nodes", name, "controller")), refused.text, refused.fix)


def bit_rate_out_of_reach(draft: Draft) -> Iterator[Finding]:
    """A clock from which no setting makes the bus's rate; the hint is a rate that all clocks make exactly."""
    if draft.bus is None:
        return
    for name, node in _clocked(draft):
        if node.timing is not None:
            continue
        try:
            _settings(node, draft.bus, _limits(node, SMALL))
        except OutOfReach as refused:
            text = f"`{name}` cannot take part: {refused.text}"
            yield error("bit-rate-out-of-reach", _at(draft, name, "clock"), text, _common_rate(draft, refused))


def timing(draft: Draft) -> Iterator[Finding]:
    """A given setting without a clock, beyond its controller, or that makes another rate or sample point."""
    for name, node in draft.nodes.items():
        if node.timing is None:
            continue
        where = draft.source.of_value(("nodes", name, "timing"))
        if node.clock is None:
            text = f"`timing` of `{name}` counts cycles of a clock that is not given"
            yield error("timing", where, text, f"add `clock: 16 MHz` to `{name}`")
            continue
        try:
            written = timing_of(node.timing)
        except Refused as refused:
            yield error("timing", _at(draft, name, "timing", "sjw"), f"`{name}`: {refused.text}", refused.fix)
            continue
        if draft.bus is not None and _is_readable(node):
            yield from _of_setting(
                draft, name, node, draft.bus, Setting(node.clock, written.prescaler, written.segments)
            )


def _of_setting(draft: Draft, name: str, node: NodeWritten, bus: BusWritten, setting: Setting) -> Iterator[Finding]:
    limits = _limits(node, LARGE)
    for key, found, allowed in _beyond(setting, limits) if node.controller is not None else ():
        text = f"`{name}`: {found} of `{key}` does not fit the controller `{limits.name}`, which holds {allowed}"
        yield error("timing", _at(draft, name, "timing", key), text, _best(draft, node, bus))
        return
    where = draft.source.of_value(("nodes", name, "timing"))
    made, wanted = setting.bit_rate_bit_s, bus.bit_rate
    try:
        possible = _settings(node, bus, limits)
    except OutOfReach as refused:
        yield error("bit-rate-out-of-reach", _at(draft, name, "clock"), refused.text, _common_rate(draft, refused))
        return
    if abs(made / wanted - 1) > min(abs(one.rate_error) for one in possible):
        text = f"`timing` of `{name}` makes {format_bit_rate(made)}, the bus runs at {format_bit_rate(wanted)}"
        yield error("timing", where, text, _best(draft, node, bus))
    elif "sample_point" in bus.model_fields_set:
        off = abs(setting.sample_point - bus.sample_point)
        if off > max(_AROUND, min(abs(one.setting.sample_point - bus.sample_point) for one in possible)):
            text = (
                f"`timing` of `{name}` samples at {percent(setting.sample_point)} of the bit, "
                f"the bus's `sample_point` is {percent(bus.sample_point)}"
            )
            yield error("timing", where, text, _best(draft, node, bus))


def _beyond(setting: Setting, limits: Limits) -> Iterator[tuple[str, str, str]]:
    """The keys whose value the registers of ``limits`` cannot hold: (key, what was found, what is allowed)."""
    segments = setting.segments
    both = segments.prop_seg + segments.phase_seg1
    if setting.prescaler not in limits.prescalers:
        steps = f" in steps of {limits.prescaler_step}" if limits.prescaler_step > 1 else ""
        yield "prescaler", str(setting.prescaler), f"{limits.prescaler[0]} to {limits.prescaler[1]}{steps}"
    for key, found, (least, most), said in (
        ("prop_seg", segments.prop_seg, limits.prop_range, ""),
        ("phase_seg1", segments.phase_seg1, limits.phase1_range, ""),
        ("phase_seg1", both, limits.time_segment1, " together with `prop_seg`"),
        ("phase_seg2", segments.phase_seg2, (limits.shortest_phase_seg2, limits.phase_seg2[1]), ""),
        ("sjw", segments.sjw, (1, limits.sjw), ""),
        ("phase_seg2", segments.quanta, limits.quanta, " with all quanta of the bit"),
    ):
        if not least <= found <= most:
            yield key, f"{found}", f"{least} to {most}{said}"


def _clocked(draft: Draft) -> Iterator[tuple[str, NodeWritten]]:
    return ((name, node) for name, node in draft.nodes.items() if node.clock is not None and _is_readable(node))


def _is_readable(node: NodeWritten) -> bool:
    """Whether a rule has not complained of its controller already."""
    try:
        _limits(node, SMALL)
    except Refused:
        return False
    return True


def _limits(node: NodeWritten, otherwise: Limits) -> Limits:
    return otherwise if node.controller is None else limits_of(node.controller)


def _settings(node: NodeWritten, bus: BusWritten, limits: Limits) -> tuple[Assessment, ...]:
    assert node.clock is not None
    return settings_for(node.clock, bus.bit_rate, limits, sample_point=bus.sample_point)


def _best(draft: Draft, node: NodeWritten, bus: BusWritten) -> str:
    assert node.clock is not None
    delay_ns = _delay_ns(draft, bus)
    try:
        found = settings_for(
            node.clock, bus.bit_rate, _limits(node, SMALL), sample_point=bus.sample_point, delay_ns=delay_ns
        )
    except OutOfReach as refused:
        return refused.fix
    best = found[0].setting
    parts = ", ".join(f"{key}: {getattr(best, key)}" for key in ("prop_seg", "phase_seg1", "phase_seg2", "sjw"))
    return f"`{{prescaler: {best.prescaler}, {parts}}}` would do; left out, the best one for the harness is taken"


def _delay_ns(draft: Draft, bus: BusWritten) -> Fraction:
    """The longest way one way, 0 where the harness says nothing that can be."""
    try:
        wired = harness_from(bus_of(bus, draft.source), wired_nodes(draft.nodes, draft.source))
    except Refused:  # copper that cannot be, which has a rule of its own
        return Fraction(0)
    if wired is None or harness_problems(wired[0]):
        return Fraction(0)
    return propagation_budget(wired[0], 1).total_ns / 2


def _common_rate(draft: Draft, refused: OutOfReach) -> str:
    boards = [(node.clock, _limits(node, SMALL)) for _, node in _clocked(draft) if node.clock is not None]
    assert draft.bus is not None
    rate = nearest_common_rate_bit_s(boards, draft.bus.bit_rate, FASTEST_BIT_S)
    if rate is None:
        return f"{refused.fix}; no rate suits all clocks exactly"
    return f"the nearest rate that all nodes with a clock make exactly is {format_bit_rate(rate)}"


def _at(draft: Draft, name: str, *keys: str) -> Place:
    return draft.source.of_value(("nodes", name, *keys))
