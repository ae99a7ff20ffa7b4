"""Whether an expectation holds over the tracks of a run or a capture, since when not, and in words why.

The domain is every nanosecond from 0 to the end, both included. What cannot be said is not guessed: an expectation that
is never exercised, still undecided at the end, or speaks of what cannot be observed neither holds nor is broken.
"""

from bisect import bisect_left
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from busdesign.scenario.expression import Expression
from busdesign.scenario.model import Expectation
from busdesign.scenario.tracks import Track as Track
from busdesign.scenario.truth import timeline
from busdesign.units import format_duration

_MOST_SHOWN = 8
_WHERE_SEEN = (
    "a signal is seen in frames of its message, `node.silent` where a message of the node has `lost_after`, "
    "any other name in a simulation in which its node has a model"
)


@dataclass(frozen=True, slots=True)
class Outcome:
    """What became of an expectation: ``holds`` is None where that cannot be said; ``at_ns`` is when it was broken."""

    name: str
    holds: bool | None
    at_ns: int | None
    text: str


def evaluate(expectation: Expectation, tracks: Mapping[str, Track], end_ns: int) -> Outcome:
    """Judge ``expectation`` over ``tracks`` (name to track) from 0 to ``end_ns``, as ``Expectation`` defines it.

    never E is broken at the first moment at which E is true, always E at the first at which E is false; after A within
    D then B at t + D, for the first t at which A became true and B was false from t to t + D. A name without a track is
    undefined throughout: the expectation is broken if that can be shown without it, and otherwise not observable.
    """
    unseen = [name for name in expectation.names if name not in tracks]
    if expectation.kind == "after":
        holds, at_ns, text = _after(expectation, tracks, end_ns)
    else:
        holds, at_ns, text = _throughout(expectation, tracks, end_ns)
    if unseen and holds is not False:
        names = ", ".join(f"`{name}`" for name in unseen[:_MOST_SHOWN])
        return Outcome(expectation.name, None, None, f"not observable: nothing here records {names}; {_WHERE_SEEN}")
    return Outcome(expectation.name, holds, at_ns, text)


_Judged = tuple[bool | None, int | None, str]


def _throughout(expectation: Expectation, tracks: Mapping[str, Track], end_ns: int) -> _Judged:
    breaks = expectation.kind == "never"
    line = timeline(expectation.when, tracks, end_ns)
    for time_ns, truth in zip(line.times_ns, line.truths, strict=True):
        if truth is breaks:
            return False, time_ns, f"at {_moment(time_ns)}: {_values(expectation.when, tracks, time_ns)}"
    if not line.decided:
        return None, None, f"never exercised: {_no_value(expectation.when, tracks, end_ns)}"
    first_ns = line.times_ns[0] if line.truths[0] is not None else line.times_ns[1]
    said = "never true" if breaks else "always true"
    since = f" from {_moment(first_ns)} on" if first_ns else ""
    return True, None, f"{said}{since}, judged at {_count(line.decided, 'moment')} up to {_moment(end_ns)}"


def _after(expectation: Expectation, tracks: Mapping[str, Track], end_ns: int) -> _Judged:
    then, within_ns = expectation.then, expectation.within_ns
    assert then is not None
    assert within_ns is not None
    edges, decided = _rising(expectation.when, tracks, end_ns)
    if not edges:
        return None, None, f"never exercised: {_how_to_exercise(expectation.when, tracks, end_ns, decided)}"
    reactions = _reactions(then, tracks, edges, within_ns, end_ns)
    broken = [edge for edge, reaction in zip(edges, reactions, strict=True) if reaction is False]
    if broken:
        return False, broken[0] + within_ns, _broken_text(expectation, tracks, broken, len(edges))
    for edge, reaction in zip(edges, reactions, strict=True):
        if reaction is None:
            return None, None, _undecided_text(expectation, tracks, edge, end_ns)
    slowest = f"{_moment(max(reaction for reaction in reactions if reaction is not None))} of {_moment(within_ns)}"
    if len(edges) == 1:
        return True, None, f"held once, at {_moment(edges[0])}; took {slowest}"
    return True, None, f"held {len(edges)} times; slowest {slowest}"


def _rising(when: Expression, tracks: Mapping[str, Track], end_ns: int) -> tuple[list[int], bool]:
    """Each time at which ``when`` becomes true, having been false or never decided; and whether it ever is decided."""
    line = timeline(when, tracks, end_ns)
    edges: list[int] = []
    before = False
    for time_ns, truth in zip(line.times_ns, line.truths, strict=True):
        if truth and not before:
            edges.append(time_ns)
        before = before if truth is None else truth
    return edges, bool(line.decided)


def _reactions(
    then: Expression, tracks: Mapping[str, Track], edges: Sequence[int], within_ns: int, end_ns: int
) -> list[int | bool | None]:
    """For each edge the time to the first moment of ``then``; False if none came in time, None if that is not known."""
    line = timeline(then, tracks, end_ns)
    true_spans, open_spans = line.spans(True, end_ns), line.spans(None, end_ns)
    found: list[int | bool | None] = []
    for edge in edges:
        limit_ns = edge + within_ns
        first_ns = _first_in(true_spans, edge, limit_ns)
        if first_ns is not None:
            found.append(first_ns - edge)
        elif limit_ns > end_ns or _first_in(open_spans, edge, limit_ns) is not None:
            found.append(None)
        else:
            found.append(False)
    return found


def _first_in(spans: tuple[list[int], list[int]], start_ns: int, limit_ns: int) -> int | None:
    """The first moment in ``spans`` from ``start_ns`` to ``limit_ns`` inclusive, or None."""
    starts, ends = spans
    position = bisect_left(ends, start_ns)
    if position == len(starts) or starts[position] > limit_ns:
        return None
    return max(starts[position], start_ns)


def _broken_text(expectation: Expectation, tracks: Mapping[str, Track], broken: Sequence[int], edges: int) -> str:
    assert expectation.then is not None
    assert expectation.within_ns is not None
    edge = broken[0]
    limit_ns = edge + expectation.within_ns
    share = f"; the first of {len(broken)} such out of {edges}" if edges > 1 else ""
    return (
        f"at {_moment(limit_ns)}: {_values(expectation.then, tracks, limit_ns)}; {_since(expectation.when, edge)}, "
        f"and not {_quoted(expectation.then)} within {_moment(expectation.within_ns)}{share}"
    )


def _undecided_text(expectation: Expectation, tracks: Mapping[str, Track], edge: int, end_ns: int) -> str:
    assert expectation.then is not None
    assert expectation.within_ns is not None
    limit_ns = edge + expectation.within_ns
    since = _since(expectation.when, edge)
    if limit_ns > end_ns:
        return (
            f"undecided: {since}, and the end at {_moment(end_ns)} comes before {_moment(expectation.within_ns)} are "
            f"over; run for at least {_moment(limit_ns)}"
        )
    return f"undecided: {since}, and until {_moment(limit_ns)} {_no_value(expectation.then, tracks, limit_ns)}"


def _how_to_exercise(when: Expression, tracks: Mapping[str, Track], end_ns: int, decided: bool) -> str:
    if not decided:
        return _no_value(when, tracks, end_ns)
    silent = next((name.partition(".")[0] for name in when.names if name.endswith(".silent")), None)
    way = f"a fault such as `{{kind: silent, node: {silent}}}`" if silent else "add a step or a fault that"
    return f"{_quoted(when)} was not true at any moment up to {_moment(end_ns)}; {way} makes it true"


def _no_value(expression: Expression, tracks: Mapping[str, Track], end_ns: int) -> str:
    empty = [name for name in expression.names if name in tracks and not _has_value(tracks[name], end_ns)]
    if not empty:
        return f"{_quoted(expression)} could not be decided: its names were not known, or not numbers, at one time"
    names = ", ".join(f"`{name}`" for name in empty[:_MOST_SHOWN])
    return f"{names} had no value up to {_moment(end_ns)}; see that its node sends, or publishes it, earlier"


def _has_value(track: Track, end_ns: int) -> bool:
    return any(time <= end_ns and value is not None for time, value in zip(track.times_ns, track.values, strict=True))


def _values(expression: Expression, tracks: Mapping[str, Track], time_ns: int) -> str:
    names = expression.names
    shown = [f"{name} = {_shown(tracks[name].at(time_ns) if name in tracks else None)}" for name in names[:_MOST_SHOWN]]
    return ", ".join(shown) + (", ..." if len(names) > _MOST_SHOWN else "")


def _shown(value: object) -> str:
    if value is None:
        return "unknown"
    if isinstance(value, bool):
        return "true" if value else "false"
    return f"{value:.9g}" if isinstance(value, float) else str(value)


def _quoted(expression: Expression) -> str:
    return f"`{' '.join(expression.text.split())}`"


def _since(when: Expression, edge_ns: int) -> str:
    return f"{_quoted(when)} became true at {_moment(edge_ns)}" if edge_ns else f"{_quoted(when)} from the start"


def _moment(time_ns: int) -> str:
    return format_duration(time_ns) if time_ns else "0 s"


def _count(number: int, what: str) -> str:
    return f"{number} {what}" if number == 1 else f"{number} {what}s"
