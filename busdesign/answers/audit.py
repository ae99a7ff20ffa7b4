"""A capture from the bench against its catalogue and its scenario: what it shows, what was not to be, one verdict.

Deadlines cannot be audited: they count from a release inside a board, and no capture shows that.
"""

import os
from collections.abc import Callable, Sequence
from itertools import chain
from typing import TYPE_CHECKING

from busdesign.analysis.expected import nominal_load
from busdesign.analysis.functions import FunctionBound, function_bounds
from busdesign.analysis.streams import WorstCases
from busdesign.answers import audit_story
from busdesign.answers.audit_answer import (
    AuditAnswer,
    ErrorsBefore,
    ErrorsSeen,
    RecorderAnswer,
    WindowSeen,
    in_order,
)
from busdesign.answers.audit_assumptions import message_audit, patch, suggestions
from busdesign.answers.audit_functions import functions_seen
from busdesign.answers.audit_limits import WINDOWS_NS, limits_and_bounds, seen_resolution_ns
from busdesign.answers.audit_story import ZeroAt
from busdesign.answers.audit_unseen import not_seen
from busdesign.answers.figures import MS
from busdesign.answers.one_bus import first_of, of_capture, one_channel
from busdesign.bench.limits import Limits, Recorder
from busdesign.bench.sightings import Sighting
from busdesign.catalogue.model import Catalogue
from busdesign.errors import CaptureError
from busdesign.findings import Finding, Severity, counted
from busdesign.scenario.model import Scenario
from busdesign.units import format_duration, format_ratio

if TYPE_CHECKING:
    from busdesign.bench.audit import Audit
    from busdesign.bench.error_frames import Errors
    from busdesign.traffic.capture import Capture
    from busdesign.traffic.facts import RecordingFacts


def audit(
    capture: str | os.PathLike[str],
    catalogue: Catalogue | str | os.PathLike[str] | None = None,
    *,
    scenario: Scenario | str | os.PathLike[str] | None = None,
    channel: str | None = None,
    facts: "RecordingFacts | None" = None,
    zero_at: ZeroAt | None = None,
    progress: Callable[[float], None] | None = None,
) -> AuditAnswer:
    """Hold the recording at ``capture`` against ``catalogue`` (the scenario's own if None), and against ``scenario``.

    ``channel``: which of several in the recording. ``facts`` of the recorder go before those in a file beside it.
    ``zero_at``: where the scenario's time zero lies in the recording. ``progress`` is told the part done, 0 to 1.
    Raises CaptureError, CatalogueError or ScenarioError if one of them cannot be used, and ValueError without both
    catalogue and scenario.
    """
    definition, story = audit_story.catalogue_and_story(catalogue, scenario)
    if story is not None:
        audit_story.require_names(story)
    from busdesign.traffic.capture import open_capture

    opened = open_capture(capture, channel=channel, facts=facts)
    return audit_opened(opened, definition, story, zero_at, progress)


def audit_opened(
    opened: "Capture",
    definition: Catalogue,
    story: Scenario | None,
    zero_at: ZeroAt | None,
    progress: Callable[[float], None] | None,
) -> AuditAnswer:
    """As ``audit``, of a recording that is open, or of a bus that is listened to (``bench.recording.Listening``)."""
    from busdesign.bench.audit import Audit

    first, blocks = first_of(opened)
    facts = opened.facts
    recorder = Recorder(facts.resolution_ns or seen_resolution_ns(first), facts.timestamp_at)
    limits, bounds = limits_and_bounds(definition, recorder)
    first_ns = int(first.end_ns[0])
    zero_ns = audit_story.zero_ns(first_ns, story, zero_at)
    promised = function_bounds(definition, bounds.cases)
    seen = Audit(
        definition,
        limits,
        names=audit_story.names(story),
        timed={hop.message.name for bound in promised for hop in bound.way.hops},
        silences=audit_story.silences(story, zero_ns),
        origin_ns=audit_story.origin_ns(first_ns, zero_ns),
    )
    seen.take(one_channel(blocks, opened, progress))
    if not seen.known:
        raise CaptureError([_foreign(opened.path, seen.frames, definition)])
    return _answer(opened, definition, story, seen, limits, bounds, promised, zero_ns, zero_at)


def _answer(
    opened: "Capture",
    definition: Catalogue,
    story: Scenario | None,
    seen: "Audit",
    limits: Limits,
    bounds: WorstCases,
    promised: Sequence[FunctionBound],
    zero_ns: int,
    zero_at: ZeroAt | None,
) -> AuditAnswer:
    measured = seen.periods.measured()
    base_ns = min(zero_ns, seen.first_ns or 0)  # so that no time on the way of a function is below 0
    silences = {
        node: [(begin - base_ns, until - base_ns) for begin, until in spans]
        for node, spans in audit_story.silences(story, zero_ns).items()
    }
    slack_ns = 2 * max((limit.slack_ns for limit in limits.messages.values()), default=0)
    functions, slow = functions_seen(
        promised, definition, seen.followed.frames(base_ns), silences, slack_ns, base_ns, zero_ns
    )
    windows, full = _windows(seen, limits, zero_ns)
    expectations = audit_story.expectations(story, seen, zero_ns, zero_at)
    findings = in_order(chain(seen.sightings(), slow, full), zero_ns)
    offered = suggestions(definition, measured, limits)
    facts = opened.facts
    return AuditAnswer(
        capture=opened.path,
        catalogue=definition.name,
        scenario=None if story is None else story.name,
        frames=seen.frames,
        bad_lines=opened.bad_lines.total,
        duration_s=max(seen.last_ns - (seen.first_ns or 0), 0) / 1e9,
        zero_ns=zero_ns,
        load_mean=seen.loads.mean(),
        load_nominal=float(nominal_load(definition)),
        load_worst=float(bounds.load),
        recorder=RecorderAnswer(
            facts.timestamp_at,
            limits.recorder.resolution_ns,
            facts.resolution_ns is not None,
            facts.own_frames,
            facts.error_frames,
        ),
        messages=tuple(
            message_audit(message, measured[message.name], limits.messages[message.name])
            for message in definition.messages
        ),
        functions=functions,
        windows=windows,
        expectations=expectations,
        errors=_errors(seen.errors.found, zero_ns),
        suggestions=offered,
        patch=patch(offered),
        notices=tuple(opened.notices),
        not_seen=tuple(not_seen(definition, bounds, facts, limits.recorder, seen.errors.found.count)),
        findings=findings,
        holds=not any(found.severity is Severity.BROKEN for found in findings)
        and not any(found.holds is False for found in expectations),
        definition=definition,
        seen=seen,
        limits=limits,
    )


def _windows(seen: "Audit", limits: Limits, zero_ns: int) -> tuple[tuple[WindowSeen, ...], list[Sighting]]:
    windows, beyond = [], []
    for window_ns in WINDOWS_NS:
        load, at_ns = seen.loads.of_window(window_ns)
        bound = limits.loads[window_ns] if seen.loads.duration_ns >= window_ns else None
        within = None if bound is None else load <= bound
        windows.append(WindowSeen(window_ns / MS, load, (at_ns - zero_ns) / 1e9, bound, within))
        if within is False and bound is not None:
            text = (
                f"the bus carried {format_ratio(load)} in {format_duration(window_ns)}, more than the "
                f"{format_ratio(bound)} that all messages together can, each as late and as close as it can come"
            )
            fix = "a message comes more often than declared, or frames are on the bus that nobody declared"
            beyond.append(Sighting(Finding("load-beyond-bound", Severity.BROKEN, None, text, fix), 1, at_ns))
    return tuple(windows), beyond


def _foreign(path: str, frames: int, definition: Catalogue) -> Finding:
    text = f"none of the {counted(frames, 'frame')} in `{path}` is of a message of `{definition.name}`"
    return of_capture("capture-foreign", path, text, "is it the capture of another bus, or the wrong catalogue?")


def _errors(found: "Errors", zero_ns: int) -> ErrorsSeen:
    return ErrorsSeen(
        found.count,
        found.most_in_a_second,
        None if found.densest_ns is None else (found.densest_ns - zero_ns) / 1e9,
        None if found.closest_ns is None else found.closest_ns / MS,
        tuple(ErrorsBefore(name, count) for name, count in found.before),
    )
