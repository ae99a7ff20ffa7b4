"""What a comparison of two recordings answers."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

from busdesign.answers.compare_values import ValueDifference
from busdesign.answers.plain import without_facts
from busdesign.catalogue.model import Catalogue
from busdesign.findings import Finding


@dataclass(frozen=True, slots=True)
class Difference:
    """One way in which the two differ: how often, when first (s on the clock of the first), and in which frames.

    ``kind``: only-in-old, only-in-new, missing (a frame that only the first has), extra, content, time, period, clocks,
    error-frames. Frames count from 1.
    """

    kind: str
    subject: str
    count: int
    first_at_s: float | None
    old_frame: int | None
    new_frame: int | None
    text: str


@dataclass(frozen=True, slots=True)
class MessageCompared:
    """One message, or identifier, in both; times are milliseconds. ``usual``: the median distance of its frames.

    Frames are counted in the time in which both listened, but for those at its edges that have no partner.
    """

    name: str
    id: int
    extended: bool
    old_count: int
    new_count: int
    paired: int
    old_usual_ms: float | None
    new_usual_ms: float | None
    changed: int
    most_apart_ms: float | None


@dataclass(frozen=True, slots=True)
class CompareAnswer:
    """``same``: nothing differs. A moment t of the first recording is t plus ``offset_s`` in the second one, at the
    beginning; its clock gains ``drift_ppm``. ``compared_s``: from when to when both listened, on the first clock.
    """

    old: str
    new: str
    catalogue: str | None
    old_frames: int
    new_frames: int
    paired: int
    offset_s: float
    drift_ppm: float | None
    compared_s: tuple[float, float]
    messages: tuple[MessageCompared, ...]
    values: tuple[ValueDifference, ...]
    differences: tuple[Difference, ...]
    notices: tuple[str, ...]
    findings: tuple[Finding, ...]
    same: bool
    holds: bool
    definition: Catalogue | None = field(repr=False, metadata={"json": False})


def refused(findings: Sequence[Finding]) -> dict[str, Any]:
    """The shape of ``compare --json`` for what cannot be used."""
    return {**without_facts(CompareAnswer, findings), "same": False}
