"""End-to-end promises in a capture, from frame to frame: the rule is that of ``scenario.reactions``.

What a board knows or does is not on the wire. So of a path the messages are followed: each node takes its whole
``processing``, and starts of frame stand in for releases, which came earlier. The figures are therefore no greater than
those of a run in which the releases are known; they never exceed a bound that holds.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import ceil

from busdesign.analysis.functions import FunctionBound
from busdesign.answers.figures import MS, in_ms
from busdesign.bench.sightings import Sighting
from busdesign.catalogue.model import Catalogue
from busdesign.findings import Finding, Severity
from busdesign.scenario.reactions import FrameTimes, Reactions, Span, reactions
from busdesign.units import format_duration


@dataclass(frozen=True, slots=True)
class FunctionSeen:
    """What a capture shows of one function, beside its bounds; times are milliseconds, None where nothing was measured.

    ``reaction_ms``: the slowest over ``moments`` moments; ``age_ms``: the oldest that can have been acted on.
    """

    name: str
    within_ms: float
    bound_ms: float | None
    moments: int
    reaction_ms: float | None
    reaction_at_s: float | None
    age_bound_ms: float | None
    age_ms: float | None
    within_bound: bool | None


def functions_seen(
    bounds: Sequence[FunctionBound],
    catalogue: Catalogue,
    frames: Mapping[str, FrameTimes],
    silences: Mapping[str, Sequence[Span]],
    slack_ns: int,
    base_ns: int,
    zero_ns: int,
) -> tuple[tuple[FunctionSeen, ...], tuple[Sighting, ...]]:
    """Each function as the capture shows it, and what took longer than it can or may.

    ``slack_ns``: by how much the recorder's times may stretch a reaction. ``frames`` and ``silences`` count from
    ``base_ns`` on, and the answer from ``zero_ns``.
    """
    functions, sightings = [], []
    for bound in bounds:
        found = reactions(bound.way, catalogue, frames, {}, silences)
        functions.append(_seen(bound, found, slack_ns, base_ns - zero_ns))
        sightings += _sightings(bound, found, slack_ns, base_ns)
    return tuple(functions), tuple(sightings)


def _seen(bound: FunctionBound, found: Reactions, slack_ns: int, after_zero_ns: int) -> FunctionSeen:
    oldest = None if bound.function.age_ns is None else found.oldest_ns  # judged only where it is promised
    pairs = ((found.slowest_ns, bound.reaction_ns), (oldest, bound.age_ns))
    held = [seen <= most + slack_ns for seen, most in pairs if seen is not None and most is not None]
    return FunctionSeen(
        name=bound.function.name,
        within_ms=bound.function.within_ns / MS,
        bound_ms=in_ms(bound.reaction_ns),
        moments=found.moments,
        reaction_ms=in_ms(found.slowest_ns),
        reaction_at_s=None if found.slowest_at_ns is None else (found.slowest_at_ns + after_zero_ns) / 1e9,
        age_bound_ms=in_ms(bound.age_ns),
        age_ms=in_ms(found.oldest_ns),
        within_bound=all(held) if held else None,
    )


def _sightings(bound: FunctionBound, found: Reactions, slack_ns: int, base_ns: int) -> list[Sighting]:
    function, made = bound.function, []
    at_ns = base_ns if found.slowest_at_ns is None else base_ns + found.slowest_at_ns
    for what, rule, key, seen, bounded, promised in (
        ("took", "function-too-slow", "within", found.slowest_ns, bound.reaction_ns, function.within_ns),
        ("acted on what was as old as", "function-too-old", "age", found.oldest_ns, bound.age_ns, function.age_ns),
    ):
        if seen is None or promised is None:
            continue
        if seen > promised + slack_ns:
            text = f"`{function.name}` {what} {_told(seen)} from frame to frame, beyond what it promises, "
            made.append(_sighting(rule, bound, key, text + _told(promised), at_ns))
        elif bounded is not None and seen > bounded + slack_ns:
            text = f"`{function.name}` {what} {_told(seen)} from frame to frame, more than its bound of "
            made.append(_sighting("bound-exceeded", bound, key, text + _told(bounded), at_ns))
    return made


def _sighting(rule: str, bound: FunctionBound, key: str, text: str, at_ns: int) -> Sighting:
    why = "frames on its path were missing or late; the other findings say which"
    finding = Finding(rule, Severity.BROKEN, bound.function.place_of(key), text, why)
    return Sighting(finding, 1, at_ns, subject=bound.function.name)


def _told(time_ns: int) -> str:
    return format_duration(ceil(time_ns / 1000) * 1000)
