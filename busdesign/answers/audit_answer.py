"""What an audit answers: findings with time, frame and count, what was measured, what no capture can show."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from busdesign.answers.audit_assumptions import MessageAudit, Suggestion
from busdesign.answers.audit_functions import FunctionSeen
from busdesign.answers.plain import without_facts
from busdesign.answers.simulate import ExpectationAnswer
from busdesign.bench.limits import Limits
from busdesign.bench.sightings import Sighting
from busdesign.catalogue.model import Catalogue
from busdesign.findings import Finding, Place, Severity

if TYPE_CHECKING:
    from busdesign.bench.audit import Audit

FOLLOWING = frozenset({"bound-exceeded", "function-too-slow", "function-too-old"})  # of frames missing or late


@dataclass(frozen=True, slots=True)
class AuditFinding:
    """A finding in a capture: how often, when first (s from the capture's zero), and which frame that was.

    ``first_frame`` counts from 1, and ``frame`` shows it; both are empty where it is about no one frame. ``subject``:
    the message, function or identifier that it is about.
    """

    rule: str
    severity: Severity
    count: int
    first_at_s: float | None
    first_frame: int | None
    frame: str
    subject: str
    where: Place | None
    text: str
    fix: str
    finding: Finding = field(repr=False, metadata={"json": False})


@dataclass(frozen=True, slots=True)
class WindowSeen:
    """The fullest window of ``window_ms`` beside the most that the design can put into it.

    ``bound`` is None without one, and where the capture is shorter: then ``load`` is that of all of it.
    """

    window_ms: float
    load: float
    at_s: float
    bound: float | None
    within_bound: bool | None


@dataclass(frozen=True, slots=True)
class RecorderAnswer:
    """How the capture was made, as far as anybody said; ``resolution_told``: whether the step of its times was told."""

    timestamp_at: str
    resolution_ns: int
    resolution_told: bool
    own_frames: str
    error_frames: str


@dataclass(frozen=True, slots=True)
class ErrorsBefore:
    """How many error frames came right before a frame of ``name``, which often is the one that was hit."""

    name: str
    count: int


@dataclass(frozen=True, slots=True)
class ErrorsSeen:
    """Error frames, and where they cluster: the second with the most of them begins at ``densest_at_s``.

    ``closest_ms``: the least distance of two of them; None for fewer.
    """

    count: int
    most_in_a_second: int
    densest_at_s: float | None
    closest_ms: float | None
    before: tuple[ErrorsBefore, ...]


@dataclass(frozen=True, slots=True)
class AuditAnswer:
    """One capture. Loads are fractions of 1. ``holds``: no promise is broken, no expectation is broken.

    ``zero_ns``: the moment on the recorder's clock from which all times count. ``not_seen``: what no capture, or not
    this one, can show.
    """

    capture: str
    catalogue: str
    scenario: str | None
    frames: int
    bad_lines: int
    duration_s: float
    zero_ns: int
    load_mean: float
    load_nominal: float  # asked for on average, and with every frame at its longest, as ``check`` has them
    load_worst: float
    recorder: RecorderAnswer
    messages: tuple[MessageAudit, ...]
    functions: tuple[FunctionSeen, ...]
    windows: tuple[WindowSeen, ...]
    expectations: tuple[ExpectationAnswer, ...]
    errors: ErrorsSeen
    suggestions: tuple[Suggestion, ...]
    patch: str
    notices: tuple[str, ...]  # of the reader, about the file as a whole
    not_seen: tuple[str, ...]
    findings: tuple[AuditFinding, ...]
    holds: bool
    definition: Catalogue = field(repr=False, metadata={"json": False})
    seen: "Audit" = field(repr=False, metadata={"json": False})
    limits: Limits = field(repr=False, metadata={"json": False})


def refused(findings: Sequence[Finding]) -> dict[str, Any]:
    """The shape of ``audit --json`` for what cannot be used."""
    said = [_answer_of(Sighting(found, 1, None), 0) for found in findings]
    return {**without_facts(AuditAnswer, ()), "frames": 0, "findings": said}


def in_order(sightings: Iterable[Sighting], zero_ns: int) -> tuple[AuditFinding, ...]:
    """As findings of an answer whose times count from ``zero_ns``: the gravest first, what follows
    from others after them, then by time.
    """
    order = list(Severity)

    def key(found: AuditFinding) -> tuple[int, bool, float, str, str]:
        return order.index(found.severity), found.rule in FOLLOWING, found.first_at_s or 0.0, found.rule, found.subject

    return tuple(sorted((_answer_of(one, zero_ns) for one in sightings), key=key))


def _answer_of(one: Sighting, zero_ns: int) -> AuditFinding:
    found = one.finding
    return AuditFinding(
        rule=found.rule,
        severity=found.severity,
        count=one.count,
        first_at_s=None if one.first_ns is None else (one.first_ns - zero_ns) / 1e9,
        first_frame=one.first_frame,
        frame=one.frame,
        subject=one.subject,
        where=found.where,
        text=found.text,
        fix=found.fix,
        finding=found,
    )
