"""End-to-end promises in a run: what each took, beside its bound."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from busdesign.analysis.functions import FunctionBound
from busdesign.answers.figures import MS, in_ms
from busdesign.answers.names import track_of
from busdesign.findings import Finding, Severity
from busdesign.scenario.model import Fault
from busdesign.scenario.reactions import FrameTimes, Reactions, Span, reactions
from busdesign.scenario.tracks import Track
from busdesign.units import format_duration

if TYPE_CHECKING:
    from busdesign.virtual.run import Run


Apart = Mapping[tuple[str, ...], Mapping[int, Span]]


@dataclass(frozen=True, slots=True)
class FunctionRun:
    """What a run shows of one function, beside its bounds; times are milliseconds, None where nothing was measured.

    The rule is that of ``scenario.reactions``. ``reaction_ms``: the slowest over ``moments`` moments, each node taking
    its whole processing; ``age_ms``: the oldest that was acted on. ``effects`` of ``causes`` changes of the first label
    were seen at the last one, the slowest after ``effect_ms``; ``skew_ms``: the most that effects of one cause were
    apart. ``within_bound`` is None where nothing was measured, or no bound exists.
    """

    name: str
    within_ms: float
    bound_ms: float | None
    moments: int
    reaction_ms: float | None
    reaction_at_s: float | None
    age_bound_ms: float | None
    age_ms: float | None
    causes: int
    effects: int
    effect_ms: float | None
    skew_bound_ms: float | None
    skew_ms: float | None
    within_bound: bool | None


def function_runs(bounds: Sequence[FunctionBound], run: "Run", faults: Sequence[Fault]) -> tuple[FunctionRun, ...]:
    """What ``run`` shows of each function, its ``faults`` left out."""
    frames = _frames_of(run, {hop.message.name for bound in bounds for hop in bound.way.hops})
    silences = _silences(faults, run.run_for_ns)
    measured = {
        bound.function.name: reactions(bound.way, run.catalogue, frames, _tracks(bound, run), silences)
        for bound in bounds
    }
    apart = _apart(bounds, measured)
    return tuple(_function_run(bound, measured[bound.function.name], apart) for bound in bounds)


def _frames_of(run: "Run", names: Iterable[str]) -> dict[str, FrameTimes]:
    index = {message.name: position for position, message in enumerate(run.catalogue.messages)}
    found = {}
    for name in names:
        rows = run.message_index == index[name]
        found[name] = FrameTimes(run.release_ns[rows], run.ready_ns[rows], run.traffic.end_ns[rows])
    return found


def _silences(faults: Sequence[Fault], end_ns: int) -> dict[str, list[Span]]:
    found: dict[str, list[Span]] = {}
    for fault in faults:
        found.setdefault(fault.node, []).append((fault.at_ns, end_ns if fault.until_ns is None else fault.until_ns))
    return found


def _tracks(bound: FunctionBound, run: "Run") -> dict[str, Track]:
    labels = [label for label in (bound.way.begins, bound.way.ends) if label]
    found = {label: track_of(label, run) for label in labels}
    return {label: track for label, track in found.items() if track is not None}


def _function_run(bound: FunctionBound, found: Reactions, apart: Apart) -> FunctionRun:
    effect = max((effect.effect_ns - effect.cause_ns for effect in found.effects), default=None)
    skew = _skew(found, apart.get(_beginning(bound), {})) if bound.apart_from else None
    pairs = (
        (found.slowest_ns, bound.reaction_ns),
        (effect, bound.reaction_ns),
        (found.oldest_ns, bound.age_ns),
        (skew, bound.skew_ns),
    )
    held = [seen <= most for seen, most in pairs if seen is not None and most is not None]
    return FunctionRun(
        name=bound.function.name,
        within_ms=bound.function.within_ns / MS,
        bound_ms=in_ms(bound.reaction_ns),
        moments=found.moments,
        reaction_ms=in_ms(found.slowest_ns),
        reaction_at_s=None if found.slowest_at_ns is None else found.slowest_at_ns / 1e9,
        age_bound_ms=in_ms(bound.age_ns),
        age_ms=in_ms(found.oldest_ns),
        causes=found.causes,
        effects=len(found.effects),
        effect_ms=in_ms(effect),
        skew_bound_ms=in_ms(bound.skew_ns),
        skew_ms=in_ms(skew),
        within_bound=all(held) if held else None,
    )


def _beginning(bound: FunctionBound) -> tuple[str, ...]:
    """The steps of its path up to the first message: functions that share them tell of the same causes."""
    path = bound.function.path
    return path[: next((place for place, step in enumerate(path, 1) if "." not in step), len(path))]


def _apart(bounds: Sequence[FunctionBound], measured: Mapping[str, Reactions]) -> Apart:
    """By their beginning and the cause, when the first and the last effect of it came, if two ways or more had one."""
    effects: dict[tuple[str, ...], dict[int, dict[tuple[str, ...], int]]] = {}
    for bound in bounds:
        if bound.apart_from:
            of_cause = effects.setdefault(_beginning(bound), {})
            for effect in measured[bound.function.name].effects:
                of_cause.setdefault(effect.cause_ns, {})[bound.function.path] = effect.effect_ns
    return {
        beginning: {
            cause: (min(times.values()), max(times.values())) for cause, times in of_cause.items() if len(times) > 1
        }
        for beginning, of_cause in effects.items()
    }


def _skew(own: Reactions, ends: Mapping[int, Span]) -> int | None:
    """The furthest that effects of one and the same cause were apart."""
    pairs = [(effect.effect_ns, ends[effect.cause_ns]) for effect in own.effects if effect.cause_ns in ends]
    return max((max(time - first, last - time) for time, (first, last) in pairs), default=None)


def beyond_bounds(bounds: Sequence[FunctionBound], ran: Sequence[FunctionRun], why: str) -> list[Finding]:
    """What took longer in a run than its bound, or than it promises. ``why`` a bound may have been exceeded."""
    found = []
    for bound, measured in zip(bounds, ran, strict=True):
        function = bound.function
        for what, key, seen, most in (
            ("took", "within", measured.reaction_ms, measured.bound_ms),
            ("took", "within", measured.effect_ms, measured.bound_ms),
            ("acted on what was as old as", "age", measured.age_ms, measured.age_bound_ms),
            ("and those that begin alike were apart by", "skew", measured.skew_ms, measured.skew_bound_ms),
        ):
            if seen is not None and most is not None and seen > most:
                time, limit = (format_duration(round(value * MS)) for value in (seen, most))
                text = f"`{function.name}` {what} {time} in this run, more than its bound of {limit}"
                found.append(Finding("bound-exceeded", Severity.BROKEN, function.place_of(key), text, why))
                break
        slowest = max((time for time in (measured.reaction_ms, measured.effect_ms) if time is not None), default=0)
        if slowest > measured.within_ms:
            time, limit = (format_duration(round(value * MS)) for value in (slowest, measured.within_ms))
            text = f"`{function.name}` took {time} in this run, beyond what it promises, {limit}"
            found.append(Finding("function-too-slow", Severity.BROKEN, function.place_of("within"), text))
    return found
