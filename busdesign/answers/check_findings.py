"""What ``check`` has to say of a consistent catalogue: load, deadlines, silence, and what it does not judge yet."""

from collections.abc import Mapping
from math import ceil

from busdesign.analysis.streams import WorstCase
from busdesign.catalogue.model import Catalogue, Message
from busdesign.findings import Finding, Severity
from busdesign.units import format_duration, format_ratio
from busdesign.wire.lengths import shortest_bits


def load_findings(definition: Catalogue, load_worst: float) -> list[Finding]:
    """The bus is asked for more than it has."""
    if load_worst < 1:
        return []
    text = f"the messages ask for {format_ratio(load_worst)} of the bus in the worst case: more than there is"
    fix = "raise the bit rate, lengthen periods or shorten payloads"
    return [Finding("bus-overloaded", Severity.BROKEN, definition.bus.place, text, fix)]


def message_findings(message: Message, cases: Mapping[str, WorstCase]) -> list[Finding]:
    """No identifier, no bound, or a deadline missed in the worst case."""
    if message.identifier is None:
        text = (
            f"`{message.name}` has no identifier, so it has no priority and no response time; "
            "the other bounds hold only if it comes below them"
        )
        return [Finding("no-identifier", Severity.BROKEN, message.place_of(), text, "give it an `id`")]
    case = cases[message.name]
    if case.response_ns is None:
        text = f"`{message.name}` has no bound: {case.why_not}"
        fix = "raise the bit rate, or lengthen periods or shorten payloads of what has priority over it"
        return [Finding("no-bound", Severity.BROKEN, message.place_of("id"), text, fix)]
    if case.meets_deadline:
        return []
    late_ns = case.response_ns - message.deadline_ns
    text = (
        f"`{message.name}` can take {format_duration(case.response_ns)}, "
        f"{format_duration(late_ns)} beyond its deadline of {format_duration(message.deadline_ns)}"
    )
    fix = f"a lower identifier, a higher bit rate, or `deadline: {format_duration(_rounded_up(case.response_ns))}`"
    return [Finding("deadline-missed", Severity.BROKEN, message.place_of("deadline"), text, fix)]


def _rounded_up(time_ns: int) -> int:
    """To the next tenth of a millisecond: a figure a person would write."""
    return -(-time_ns // 100_000) * 100_000


def silence_findings(message: Message, definition: Catalogue, cases: Mapping[str, WorstCase]) -> list[Finding]:
    """A ``lost_after`` that a healthy bus can exceed, or that one lost frame exceeds.

    Between the ends of two frames lie at most the longest period and the worst response of the second, less the
    shortest frame for the first: T / (1 - d) + R - C_min. To bear one lost frame: common practice, no source.
    """
    case = cases.get(message.name)
    if message.lost_after_ns is None or case is None or case.response_ns is None:
        return []
    where = message.place_of("lost_after")
    said = format_duration(message.lost_after_ns)
    if message.irregular:
        text = f"`{message.name}` is irregular: it may rightly not come for longer than its `lost_after` of {said}"
        return [Finding("lost-after-of-irregular", Severity.ADVICE, where, text, "send it periodically, or remove it")]
    tolerance = definition.nodes[message.sender].tolerance
    shortest_bit_ns = definition.bus.bit_ns / (1 + tolerance)
    shortest_ns = shortest_bits(message.length_bytes, extended=message.extended) * shortest_bit_ns
    period_ns = message.period_ns / (1 - tolerance)
    gap_ns = ceil(period_ns + case.response_ns - shortest_ns)
    two_ns = ceil(gap_ns + period_ns)
    fix = f"`lost_after: {format_duration(_rounded_up(two_ns))}` or more bears one lost frame"
    if message.lost_after_ns < gap_ns:
        text = f"`{message.name}` counts as silent after {said}, but a healthy bus can leave {format_duration(gap_ns)}"
        return [Finding("lost-after-too-short", Severity.BROKEN, where, f"{text} between two frames", fix)]
    if message.lost_after_ns < two_ns:
        text = f"`{message.name}` counts as silent after {said}, so that one lost frame may count as silence"
        return [Finding("lost-after-short", Severity.ADVICE, where, text, fix)]
    return []


def not_judged(definition: Catalogue) -> list[Finding]:
    """Parts of the catalogue that are read but say nothing yet to this version, so that no promise seems kept."""
    found = []
    if definition.functions:
        where = definition.functions[0].place
        found.append((where, "`functions` are read, but their end-to-end promises are not judged yet"))
    harness = definition.bus.harness
    if any((harness.trunk_m, harness.longest_stub_m, harness.termination_ohm)):
        found.append((harness.place or definition.bus.place, "`harness` is read, but the wires are not judged yet"))
    accepting = next((message for message in definition.messages if message.accept), None)
    if accepting:
        found.append((accepting.place_of("accept"), "`accept` is read, but acceptance is not judged yet"))
    return [Finding("not-judged-yet", Severity.ADVICE, where, text) for where, text in found]
