"""What ``check`` has to say of a consistent catalogue: load, deadlines, silence, and what it does not judge yet."""

from collections.abc import Iterable, Mapping
from dataclasses import replace
from fractions import Fraction
from math import ceil, floor

from busdesign.analysis.streams import WorstCase
from busdesign.answers.figures import rounded_up
from busdesign.catalogue.model import Catalogue, Message
from busdesign.findings import Finding, Severity
from busdesign.units import format_bit_rate, format_duration, format_ratio
from busdesign.wire.lengths import shortest_bits

USUAL_RATES_BIT_S = (10_000, 20_000, 50_000, 125_000, 250_000, 500_000, 800_000, 1_000_000)  # CiA 102, from memory
USUAL_LOAD = Fraction(70, 100)  # a planning note for instrumentation buses; others say 30 to 60 %, or with offsets more


def load_findings(definition: Catalogue, load_worst: Fraction) -> list[Finding]:
    """The bus is asked for more than it has, than the catalogue's own limit allows, or than is usual."""
    limit, where = definition.bus.load_limit, definition.bus.place
    asked = f"the messages ask for {format_ratio(load_worst)} of the bus in the worst case"
    if load_worst >= 1:
        text = f"{asked}: more than there is"
        return [Finding("bus-overloaded", Severity.BROKEN, where, text, _lighter(definition, load_worst, Fraction(1)))]
    if limit is not None and load_worst > limit:
        text = f"{asked}, beyond its `load_limit` of {format_ratio(limit)}"
        return [Finding("load-over-limit", Severity.BROKEN, where, text, _lighter(definition, load_worst, limit))]
    if limit is None and load_worst > USUAL_LOAD:
        stated = Fraction(ceil(load_worst * 20), 20)
        fix = (
            "leave room for what comes later, or state what you allow: "
            f"`load_limit: {format_ratio(stated).replace('.0', '')}` under `bus`"
        )
        text = f"{asked}; {format_ratio(USUAL_LOAD)} is a planning limit"
        return [Finding("load-high", Severity.ADVICE, where, text, fix)]
    return []


def _lighter(definition: Catalogue, load_worst: Fraction, limit: Fraction) -> str:
    """What would bring the load below ``limit``: the next usual bit rate that does, if there is one."""
    others = "lengthen periods or shorten payloads"
    rate = definition.bus.bit_rate_bit_s
    for usual in USUAL_RATES_BIT_S:
        load = load_worst * rate / usual
        if usual > rate and load <= limit and load < 1:
            return f"`bit_rate: {format_bit_rate(usual)}` would ask for {format_ratio(load)}; or {others}"
    return others


def compile_findings(refused: Iterable[Finding]) -> list[Finding]:
    """What will keep a database from being written, told before anybody asks for one."""
    return [
        replace(found, severity=Severity.ADVICE, text=f"no DBC can be made: {found.text}")
        for found in refused
        if found.rule != "dbc-no-identifier"  # a broken promise already
    ]


def message_findings(message: Message, definition: Catalogue, cases: Mapping[str, WorstCase]) -> list[Finding]:
    """No identifier, no bound, or a deadline missed in the worst case, or in every case."""
    if message.identifier is None:
        text = (
            f"`{message.name}` has no identifier, so it has no priority and no response time; "
            "the other bounds hold only if it comes below them"
        )
        return [Finding("no-identifier", Severity.BROKEN, message.place_of(), text, "give it an `id`")]
    case = cases[message.name]
    if case.response_ns is None:
        text = f"`{message.name}` has no bound: {case.why_not}"
        fix = case.fix or "raise the bit rate, or lengthen periods or shorten payloads of what has priority over it"
        return [Finding("no-bound", Severity.BROKEN, message.place_of("id"), text, fix)]
    if case.meets_deadline:
        return []
    where = message.place_of("deadline")
    least_ns = ceil(shortest_bits(message.data_bytes, extended=message.extended) * definition.bus.bit_ns)
    enough = f"`deadline: {format_duration(rounded_up(case.response_ns))}`"
    if message.deadline_ns < message.jitter_ns + least_ns:
        late = f", released {format_duration(message.jitter_ns)} late by its jitter," if message.jitter_ns else ""
        text = (
            f"a frame of `{message.name}` takes {format_duration(least_ns)} at least{late} and its deadline is "
            f"{format_duration(message.deadline_ns)}: no identifier meets it"
        )
        fix = f"{'less jitter, ' if late else ''}a higher bit rate, or {enough}"
        return [Finding("deadline-below-frame", Severity.BROKEN, where, text, fix)]
    late_ns = case.response_ns - message.deadline_ns
    text = (
        f"`{message.name}` can take {format_duration(case.response_ns)}, "
        f"{format_duration(late_ns)} beyond its deadline of {format_duration(message.deadline_ns)}"
    )
    fix = f"a lower identifier, a higher bit rate, or {enough}"
    return [Finding("deadline-missed", Severity.BROKEN, where, text, fix)]


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
    shortest_ns = shortest_bits(message.data_bytes, extended=message.extended) * shortest_bit_ns
    period_ns = message.period_ns / (1 - tolerance)
    gap_ns = ceil(period_ns + case.response_ns - shortest_ns)
    two_ns = ceil(gap_ns + period_ns)
    fix = f"`lost_after: {format_duration(rounded_up(two_ns))}` or more bears one lost frame"
    if message.lost_after_ns < gap_ns:
        text = f"`{message.name}` counts as silent after {said}, but a healthy bus can leave {format_duration(gap_ns)}"
        return [Finding("lost-after-too-short", Severity.BROKEN, where, f"{text} between two frames", fix)]
    if message.lost_after_ns < two_ns:
        text = f"`{message.name}` counts as silent after {said}, so that one lost frame may count as silence"
        return [Finding("lost-after-short", Severity.ADVICE, where, text, fix)]
    return []


def request_findings(message: Message, definition: Catalogue, cases: Mapping[str, WorstCase]) -> list[Finding]:
    """A request that can bring two answers closer together than the answer's ``at_least_apart``.

    A request ends between its shortest frame and its worst response after its release, so that two of them end no
    sooner than T / (1 + d) - (R - C_min) after each other; the answer is released there.
    """
    case = cases.get(message.name)
    if not message.requests or case is None or case.response_ns is None:
        return []
    tolerance, answer = definition.nodes[message.sender].tolerance, definition.message(message.requests)
    shortest_ns = shortest_bits(0, extended=message.extended) * definition.bus.bit_ns / (1 + tolerance)
    gap_ns = floor(message.period_ns / (1 + tolerance) - (case.response_ns - shortest_ns))
    if answer.period_ns <= gap_ns:
        return []
    text = (
        f"`{message.name}` can ask for `{answer.name}` again after {format_duration(max(gap_ns, 0))}, "
        f"sooner than its `at_least_apart` of {format_duration(answer.period_ns)}"
    )
    needed_ns = ceil((answer.period_ns + case.response_ns - shortest_ns) * (1 + tolerance))
    less_often = f"at_least_apart: {format_duration(rounded_up(needed_ns))}"
    if not message.irregular:
        less_often = f"every: {format_duration(rounded_up(needed_ns))}"
    fix = f"`{less_often}`, or state the true distance: no bound counts frames that come sooner"
    return [Finding("request-too-soon", Severity.BROKEN, message.place_of("requests"), text, fix)]
