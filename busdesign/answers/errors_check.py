"""What ``check`` answers where the catalogue says how often errors disturb the bus, and what it finds wrong with it."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from math import ceil

from busdesign.analysis.errors import NO_BOUND_AT_RANDOM, ErrorCase, cases_with_errors
from busdesign.analysis.streams import WorstCase
from busdesign.answers.figures import MS
from busdesign.catalogue.model import Catalogue, Message
from busdesign.catalogue.model_errors import ErrorModel
from busdesign.findings import Finding, Severity
from busdesign.units import format_duration


@dataclass(frozen=True, slots=True)
class ErrorsOfMessage:
    """One message under the declared errors; what has no bound is None, and ``why_not`` says why."""

    name: str
    response_worst_ms: float | None
    meets_deadline: bool | None
    margin: float | None  # the part of the deadline that is left, a fraction of 1; below 0 if missed
    late_at_most: float | None  # the probability that a frame is late, with errors at random
    why_not: str


@dataclass(frozen=True, slots=True)
class ErrorsAnswer:
    """The declared errors, and every message under them that has an identifier."""

    at_least_apart_ms: float | None
    burst: int
    lasting_ms: float
    rate_per_s: float | None
    late_at_most: float | None  # the limit that the catalogue sets
    messages: tuple[ErrorsOfMessage, ...]


def errors_of(
    definition: Catalogue, frame_bits: Mapping[str, int], without: Mapping[str, WorstCase]
) -> tuple[ErrorsAnswer | None, list[Finding]]:
    """The answer and its findings; None where no errors are declared. ``without``: the cases without any."""
    model = definition.bus.errors
    if model is None:
        return None, []
    cases = cases_with_errors(definition, frame_bits, model)
    messages = [definition.message(name) for name in cases]
    answer = ErrorsAnswer(
        at_least_apart_ms=None if model.at_least_apart_ns is None else model.at_least_apart_ns / MS,
        burst=model.burst,
        lasting_ms=model.lasting_ns / MS,
        rate_per_s=None if model.rate_per_s is None else float(model.rate_per_s),
        late_at_most=None if model.late_at_most is None else float(model.late_at_most),
        messages=tuple(_message(message, cases[message.name]) for message in messages),
    )
    # What fails without errors has been told; with errors it fails all the more.
    sound = [message for message in messages if without[message.name].meets_deadline]
    return answer, [found for message in sound for found in _findings(message, cases[message.name], model)]


def _message(message: Message, told: ErrorCase) -> ErrorsOfMessage:
    if told.late is not None:
        reason = told.late.reason or NO_BOUND_AT_RANDOM
        return ErrorsOfMessage(message.name, None, None, None, told.late.probability, reason)
    assert told.case is not None
    response_ns = told.case.response_ns
    if response_ns is None:
        return ErrorsOfMessage(message.name, None, None, None, None, told.case.why_not)
    margin = 1 - response_ns / message.deadline_ns
    return ErrorsOfMessage(message.name, response_ns / MS, told.case.meets_deadline, margin, None, "")


def _findings(message: Message, told: ErrorCase, model: ErrorModel) -> Iterator[Finding]:
    if told.late is not None:
        chance, limit = told.late.probability, model.late_at_most
        if chance is None:
            yield _no_bound(message, told.late.reason)
        elif limit is not None and chance > limit:
            text = (
                f"a frame of `{message.name}` may miss its deadline of {format_duration(message.deadline_ns)} with a "
                f"probability of {chance:.2g}, beyond the {float(limit):.2g} of `late_at_most`"
            )
            fix = "a lower identifier, a higher bit rate, or a later deadline"
            yield Finding("late-too-often", Severity.BROKEN, message.place_of("deadline"), text, fix)
        return
    assert told.case is not None
    response_ns = told.case.response_ns
    if response_ns is None:
        yield _no_bound(message, told.case.why_not)
    elif not told.case.meets_deadline:
        text = (
            f"with the errors declared, `{message.name}` can take {format_duration(response_ns)}, "
            f"{format_duration(response_ns - message.deadline_ns)} beyond its deadline of "
            f"{format_duration(message.deadline_ns)}"
        )
        enough = format_duration(ceil(response_ns / 100_000) * 100_000)  # a figure a person would write
        fix = f"a lower identifier, a higher bit rate, or `deadline: {enough}`"
        yield Finding("deadline-missed-with-errors", Severity.BROKEN, message.place_of("deadline"), text, fix)


def _no_bound(message: Message, reason: str) -> Finding:
    text = f"with the errors declared, `{message.name}` has no bound: {reason}"
    fix = (
        "raise the bit rate, lengthen periods or shorten payloads of what has priority over it, or declare fewer errors"
    )
    return Finding("no-bound-with-errors", Severity.BROKEN, message.place_of("id"), text, fix)
