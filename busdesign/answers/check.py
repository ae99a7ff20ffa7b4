"""Is the catalogue consistent, and does it fit the bus? Rules, load, worst-case response times, one verdict."""

import os
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

from busdesign.analysis.expected import nominal_load
from busdesign.analysis.streams import LENGTHS, WorstCase, longest_frames, worst_cases
from busdesign.answers.check_findings import load_findings, message_findings, not_judged, silence_findings
from busdesign.answers.plain import without_facts
from busdesign.catalogue.model import Catalogue, Message
from busdesign.catalogue.reader import read_catalogue
from busdesign.findings import Finding, Severity, sort_findings
from busdesign.wire.lengths import shortest_bits

MS = 1_000_000  # nanoseconds


@dataclass(frozen=True, slots=True)
class BusAnswer:
    """The bus as a whole; loads are fractions of 1."""

    bit_rate_bit_s: float
    load_nominal: float
    load_worst: float


@dataclass(frozen=True, slots=True)
class MessageAnswer:
    """One message. Times are milliseconds; what has no bound, or no identifier yet, is None."""

    name: str
    id: int | None
    extended: bool
    sender: str
    length_bytes: int
    period_ms: float
    deadline_ms: float
    frame_bits_min: int
    frame_bits_max: int
    blocking_ms: float | None
    queuing_ms: float | None
    response_worst_ms: float | None
    meets_deadline: bool | None
    margin: float | None  # the part of the deadline that is left in the worst case, a fraction of 1; below 0 if missed


@dataclass(frozen=True, slots=True)
class FunctionAnswer:
    """One end-to-end promise. Its bound is None: this version reads such promises and does not judge them."""

    name: str
    path: tuple[str, ...]
    within_ms: float
    bound_ms: float | None
    holds: bool | None


@dataclass(frozen=True, slots=True)
class CheckAnswer:
    """What ``check`` found out. ``holds`` is false if a promise is broken."""

    catalogue: str
    revision: int
    bus: BusAnswer
    messages: tuple[MessageAnswer, ...]
    functions: tuple[FunctionAnswer, ...]
    findings: tuple[Finding, ...]
    holds: bool
    lengths: str
    definition: Catalogue = field(repr=False, metadata={"json": False})


def check(catalogue: Catalogue | str | os.PathLike[str], *, lengths: str = "published") -> CheckAnswer:
    """Check a catalogue, or the YAML file of one. Raises CatalogueError if it is unusable, KeyError for ``lengths``."""
    definition = catalogue if isinstance(catalogue, Catalogue) else read_catalogue(catalogue)
    worst = worst_cases(definition, longest_frames(definition, lengths))
    load_worst = float(worst.load)
    findings = [
        *load_findings(definition, load_worst),
        *(found for message in definition.messages for found in message_findings(message, worst.cases)),
        *(found for message in definition.messages for found in silence_findings(message, definition, worst.cases)),
        *not_judged(definition),
    ]
    return CheckAnswer(
        catalogue=definition.name,
        revision=definition.revision,
        bus=BusAnswer(float(definition.bus.bit_rate_bit_s), float(nominal_load(definition)), load_worst),
        messages=tuple(_message(message, worst.cases.get(message.name), lengths) for message in definition.messages),
        functions=tuple(
            FunctionAnswer(function.name, function.path, function.within_ns / MS, None, None)
            for function in definition.functions
        ),
        findings=sort_findings(findings),
        holds=not any(found.severity is Severity.BROKEN for found in findings),
        lengths=lengths,
        definition=definition,
    )


def refused(findings: Sequence[Finding]) -> dict[str, Any]:
    """The shape of ``check --json`` for a catalogue that cannot be used."""
    return without_facts(CheckAnswer, findings)


def _message(message: Message, case: WorstCase | None, lengths: str) -> MessageAnswer:
    return MessageAnswer(
        name=message.name,
        id=message.identifier,
        extended=message.extended,
        sender=message.sender,
        length_bytes=message.length_bytes,
        period_ms=message.period_ns / MS,
        deadline_ms=message.deadline_ns / MS,
        frame_bits_min=shortest_bits(message.length_bytes, extended=message.extended),
        frame_bits_max=case.frame_bits_max if case else LENGTHS[lengths](message),
        blocking_ms=case.blocking_ns / MS if case else None,
        queuing_ms=_ms(case.queuing_ns if case else None),
        response_worst_ms=_ms(case.response_ns if case else None),
        meets_deadline=case.meets_deadline if case else None,
        margin=None if case is None or case.response_ns is None else 1 - case.response_ns / message.deadline_ns,
    )


def _ms(time_ns: int | None) -> float | None:
    return None if time_ns is None else time_ns / MS
