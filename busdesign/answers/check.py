"""Is the catalogue consistent, and does it fit the bus? Rules, load, worst-case response times, one verdict."""

import os
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

from busdesign.analysis.expected import nominal_load
from busdesign.analysis.frame_lengths import DEFAULT, LENGTHS, formula_bits, longest_frames, shortest_frame_bits
from busdesign.analysis.functions import function_bounds
from busdesign.analysis.streams import WorstCase, worst_cases
from busdesign.answers.check_findings import (
    compile_findings,
    load_findings,
    message_findings,
    request_findings,
    silence_findings,
)
from busdesign.answers.controllers import receive_findings
from busdesign.answers.errors_check import ErrorsAnswer, errors_of
from busdesign.answers.figures import MS, in_ms
from busdesign.answers.functions import FunctionAnswer, function_answer, function_findings
from busdesign.answers.plain import without_facts
from busdesign.answers.supply_check import GroundAnswer, SupplyAnswer, ground_answers, supply_answers
from busdesign.answers.wires_check import (
    HarnessAnswer,
    PairAnswer,
    TimingAnswer,
    harness_answer,
    pair_answer,
    timing_answers,
)
from busdesign.answers.wires_findings import wires_findings
from busdesign.answers.wires_judged import judged
from busdesign.catalogue.advice import advice_on
from busdesign.catalogue.model import Catalogue, Message
from busdesign.catalogue.reader import read_catalogue
from busdesign.export.dbc_refusals import refusals
from busdesign.findings import Finding, Severity, sort_findings


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
    frame_bits_formula: int  # the textbook's longest, for comparison
    blocking_ms: float | None
    queuing_ms: float | None
    response_worst_ms: float | None
    meets_deadline: bool | None
    margin: float | None  # the part of the deadline that is left in the worst case, a fraction of 1; below 0 if missed


@dataclass(frozen=True, slots=True)
class CheckAnswer:
    """What ``check`` found out. ``holds`` is false if a promise is broken."""

    catalogue: str
    revision: int
    bus: BusAnswer
    messages: tuple[MessageAnswer, ...]
    errors: ErrorsAnswer | None  # None where the catalogue declares none
    functions: tuple[FunctionAnswer, ...]
    timing: tuple[TimingAnswer, ...]  # of the nodes with a clock
    clocks_apart: PairAnswer | None
    harness: HarnessAnswer | None
    supply: tuple[SupplyAnswer, ...]
    grounds: tuple[GroundAnswer, ...]
    findings: tuple[Finding, ...]
    holds: bool
    lengths: str
    bits_won: int  # by which the longest frames, one of each message, are shorter than the textbook formula says
    bits_won_most: int  # the same of one frame, at most
    definition: Catalogue = field(repr=False, metadata={"json": False})


def check(catalogue: Catalogue | str | os.PathLike[str], *, lengths: str = DEFAULT) -> CheckAnswer:
    """Check a catalogue, or the YAML file of one. Raises CatalogueError if it is unusable, KeyError for ``lengths``."""
    definition = catalogue if isinstance(catalogue, Catalogue) else read_catalogue(catalogue)
    frame_bits = longest_frames(definition, lengths)
    worst = worst_cases(definition, frame_bits)
    errors, of_errors = errors_of(definition, frame_bits, worst.cases)
    load_worst = float(worst.load)
    functions = function_bounds(definition, worst.cases)
    physical = judged(definition)
    findings = [
        *load_findings(definition, worst.load),
        *advice_on(definition),
        *compile_findings(refusals(definition)),
        *(found for message in definition.messages for found in message_findings(message, definition, worst.cases)),
        *(found for message in definition.messages for found in silence_findings(message, definition, worst.cases)),
        *(found for message in definition.messages for found in request_findings(message, definition, worst.cases)),
        *receive_findings(definition, worst.cases),
        *of_errors,
        *wires_findings(definition, physical),
        *function_findings(functions),
    ]
    messages = tuple(_message(message, worst.cases.get(message.name), lengths) for message in definition.messages)
    won = [message.frame_bits_formula - message.frame_bits_max for message in messages]
    return CheckAnswer(
        catalogue=definition.name,
        revision=definition.revision,
        bus=BusAnswer(float(definition.bus.bit_rate_bit_s), float(nominal_load(definition)), load_worst),
        messages=messages,
        errors=errors,
        functions=tuple(function_answer(bound) for bound in functions),
        timing=timing_answers(physical),
        clocks_apart=pair_answer(physical.apart),
        harness=harness_answer(physical.harness),
        supply=supply_answers(physical.drops),
        grounds=ground_answers(physical.shifts),
        findings=sort_findings(findings),
        holds=not any(found.severity is Severity.BROKEN for found in findings),
        lengths=lengths,
        bits_won=sum(won),
        bits_won_most=max(won),
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
        frame_bits_min=shortest_frame_bits(message),
        frame_bits_max=case.frame_bits_max if case else LENGTHS[lengths](message),
        frame_bits_formula=formula_bits(message),
        blocking_ms=case.blocking_ns / MS if case else None,
        queuing_ms=in_ms(case.queuing_ns if case else None),
        response_worst_ms=in_ms(case.response_ns if case else None),
        meets_deadline=case.meets_deadline if case else None,
        margin=None if case is None or case.response_ns is None else 1 - case.response_ns / message.deadline_ns,
    )
