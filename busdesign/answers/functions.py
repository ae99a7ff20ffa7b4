"""End-to-end promises: what each takes in the worst case."""

from collections.abc import Iterable
from dataclasses import dataclass

from busdesign.analysis.functions import FunctionBound
from busdesign.analysis.stages import Stage
from busdesign.answers.figures import MS, in_ms, rounded_up
from busdesign.catalogue.model import Function
from busdesign.findings import Finding, Severity
from busdesign.units import format_duration


@dataclass(frozen=True, slots=True)
class StageAnswer:
    """One part of a way: the ``processing`` of a node, the ``wait`` for a message's release, its ``response``, or the
    wait until a node is ``reading`` its receive FIFO.
    """

    what: str
    of: str
    worst_ms: float | None


@dataclass(frozen=True, slots=True)
class FunctionAnswer:
    """One end-to-end promise. Times are milliseconds; a bound is None where none exists, and ``why_not`` says why.

    ``bound_ms`` is of the first reaction, ``age_bound_ms`` of what the last step acts on, ``skew_bound_ms`` between its
    effect and that of one of ``apart_from`` (0 if there are none). ``holds`` is None only where no bound exists.
    """

    name: str
    path: tuple[str, ...]
    within_ms: float
    bound_ms: float | None
    margin: float | None  # the part of ``within_ms`` that is left, a fraction of 1; below 0 if broken
    age_ms: float | None  # as promised, as ``skew_ms`` is; None if nothing is
    age_bound_ms: float | None
    skew_ms: float | None
    skew_bound_ms: float | None
    apart_from: tuple[str, ...]
    stages: tuple[StageAnswer, ...]
    costliest: StageAnswer | None
    without_processing: tuple[str, ...]  # nodes on the way that declare none: it is counted as 0
    why_not: str
    holds: bool | None


def function_answer(bound: FunctionBound) -> FunctionAnswer:
    """``bound`` beside what is promised."""
    function, costliest = bound.function, bound.costliest
    return FunctionAnswer(
        name=function.name,
        path=function.path,
        within_ms=function.within_ns / MS,
        bound_ms=in_ms(bound.reaction_ns),
        margin=None if bound.reaction_ns is None else 1 - bound.reaction_ns / function.within_ns,
        age_ms=in_ms(function.age_ns),
        age_bound_ms=in_ms(bound.age_ns),
        skew_ms=in_ms(function.skew_ns),
        skew_bound_ms=in_ms(bound.skew_ns),
        apart_from=bound.apart_from,
        stages=tuple(_stage(stage) for stage in bound.stages),
        costliest=_stage(costliest) if costliest else None,
        without_processing=bound.uncounted,
        why_not=bound.why_not,
        holds=_holds(bound),
    )


def _stage(stage: Stage) -> StageAnswer:
    return StageAnswer(stage.what, stage.of, None if stage.most_ns is None else float(stage.most_ns / MS))


def _promises(function: Function, bound: FunctionBound) -> list[tuple[int, int | None]]:
    pairs = [
        (function.within_ns, bound.reaction_ns),
        (function.age_ns, bound.age_ns),
        (function.skew_ns, bound.skew_ns),
    ]
    return [(promised, found) for promised, found in pairs if promised is not None]


def _holds(bound: FunctionBound) -> bool | None:
    pairs = _promises(bound.function, bound)
    if any(found is not None and found > promised for promised, found in pairs):
        return False
    return None if any(found is None for _, found in pairs) else True


def stage_words(what: str, of: str) -> str:
    """What a stage is called."""
    return {
        "processing": f"processing in {of}",
        "wait": f"waiting for {of}",
        "response": f"{of} on the bus",
        "reading": f"lying in the receive FIFO of {of}",
    }[what]


def function_findings(bounds: Iterable[FunctionBound]) -> list[Finding]:
    """Promises that the worst case breaks, and those that nothing can be said of; a broken path has its own finding."""
    return [found for bound in bounds for found in _of_bound(bound)]


def _of_bound(bound: FunctionBound) -> Iterable[Finding]:
    function, name = bound.function, bound.function.name
    if bound.way.gap:
        return
    if bound.reaction_ns is None:
        text = f"`{name}` has no bound: {bound.why_not}"
        fix = "mend that first; every message of its `path` needs a response time, and every frame has to be read"
        yield Finding("function-unbounded", Severity.BROKEN, function.place_of("path"), text, fix)
        return
    if bound.reaction_ns > function.within_ns:
        text = (
            f"`{name}` can take {format_duration(bound.reaction_ns)}, {_beyond(bound.reaction_ns, function.within_ns)}"
        )
        yield _late("function-too-slow", bound, "within", bound.reaction_ns, text)
    if function.age_ns is not None and bound.age_ns is None:
        text = f"the age of what `{name}` acts on has no bound: {bound.why_no_age}"
        fix = "send it periodically, or leave `age` out"
        yield Finding("function-unbounded", Severity.BROKEN, function.place_of("age"), text, fix)
    elif function.age_ns is not None and bound.age_ns is not None and bound.age_ns > function.age_ns:
        text = (
            f"`{name}` can act on what is {format_duration(bound.age_ns)} old, {_beyond(bound.age_ns, function.age_ns)}"
        )
        yield _late("function-too-old", bound, "age", bound.age_ns, text)
    if function.skew_ns is not None and bound.skew_ns is None:
        text = f"how far `{name}` and the others that begin alike may be apart has no bound: one of them has none"
        fix = "mend that first, or leave `skew` out"
        yield Finding("function-unbounded", Severity.BROKEN, function.place_of("skew"), text, fix)
    elif function.skew_ns is not None and bound.skew_ns is not None and bound.skew_ns > function.skew_ns:
        others = ", ".join(f"`{other}`" for other in bound.apart_from)
        apart = f"{format_duration(bound.skew_ns)} apart, {_beyond(bound.skew_ns, function.skew_ns)}"
        fix = f"a shorter `processing` where they end, or `skew: {format_duration(rounded_up(bound.skew_ns))}`"
        text = f"the effects of `{name}` and of {others} can be {apart}"
        yield Finding("function-apart", Severity.BROKEN, function.place_of("skew"), text, fix)


def _late(rule: str, bound: FunctionBound, key: str, time_ns: int, text: str) -> Finding:
    costliest, advice = bound.costliest, ""
    if costliest is not None and costliest.most_ns is not None:
        takes = format_duration(int(costliest.most_ns))
        advice = f"{stage_words(costliest.what, f'`{costliest.of}`')} costs most of it, {takes}; "
    fix = f"{advice}shorten that, or state `{key}: {format_duration(rounded_up(time_ns))}`"
    return Finding(rule, Severity.BROKEN, bound.function.place_of(key), text, fix)


def _beyond(time_ns: int, promised_ns: int) -> str:
    return f"{format_duration(time_ns - promised_ns)} beyond what it promises, {format_duration(promised_ns)}"
