"""What a picture of an audit needs, ready to be drawn: load and distances over time in bins, and how they spread.

A capture of any length comes to a few thousand bins, so that whoever draws can go through all of it.
"""

from dataclasses import dataclass
from typing import TYPE_CHECKING

from busdesign.answers.audit_answer import AuditAnswer
from busdesign.bench.distances import Measured
from busdesign.catalogue.model import Message
from busdesign.findings import Severity

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

MOST_MARKS = 200


@dataclass(frozen=True, eq=False, slots=True)
class DistancesOverTime:
    """Of one message: the least and the greatest distance [ns] that ended in each bin that holds any.

    ``times_ns``: where the bins begin, from the picture's start; all columns have shape [k].
    """

    message: Message
    times_ns: "NDArray[np.int64]"
    least_ns: "NDArray[np.int64]"
    most_ns: "NDArray[np.int64]"


@dataclass(frozen=True, eq=False, slots=True)
class Spread:
    """How often the distances of one message were so far from its period: ``counts`` of equal bins, int64 [k], from
    ``-reach_ns`` to ``reach_ns``; whatever is beyond counts in the first or the last. ``allowed_ns``: what the design
    explains, both ends away from the period; None without a bound.
    """

    message: Message
    reach_ns: int
    counts: "NDArray[np.int64]"
    allowed_ns: tuple[int, int] | None


@dataclass(frozen=True, slots=True)
class Mark:
    """The first time of a finding, from the picture's start."""

    kind: str  # broken or step: a broken promise, or advice
    at_ns: int
    text: str


@dataclass(frozen=True, eq=False, slots=True)
class AuditPicture:
    """One capture over its time; ``start_ns`` is where it begins, counted as the answer's times are."""

    start_ns: int
    end_ns: int  # from its start
    load_bin_ns: int
    loads: "NDArray[np.float64]"
    busiest: tuple[int, int, float]  # from, until, load of the fullest 100 ms
    distance_bin_ns: int
    distances: tuple[DistancesOverTime, ...]
    spreads: tuple[Spread, ...]
    marks: tuple[Mark, ...]


def audit_picture(answer: AuditAnswer) -> AuditPicture:
    """``answer`` over its time."""
    seen = answer.seen
    origin = seen.origin_ns
    start = origin - answer.zero_ns
    over_time = seen.periods.over_time
    measured, distances, spreads = seen.periods.measured(), [], []
    for index, message in enumerate(answer.definition.messages):
        times, least, most = over_time.of(index)
        if len(times):
            distances.append(DistancesOverTime(message, times, least, most))
        if not message.irregular and measured[message.name].count > 1:
            spreads.append(_spread(answer, message, measured[message.name]))
    window = next(window for window in answer.windows if window.window_ms == 100)
    busiest_at = max(round(window.at_s * 1e9) - start, 0)
    return AuditPicture(
        start_ns=start,
        end_ns=max(seen.last_ns, seen.loads.end_ns) - origin,
        load_bin_ns=seen.loads.bin_ns,
        loads=seen.loads.over_time(),
        busiest=(busiest_at, busiest_at + 100_000_000, window.load),
        distance_bin_ns=over_time.bin_ns,
        distances=tuple(distances),
        spreads=tuple(spreads),
        marks=_marks(answer, start),
    )


def _spread(answer: AuditAnswer, message: Message, measured: Measured) -> Spread:
    limits, periods = answer.limits.messages[message.name], answer.seen.periods
    allowed = None
    if limits.shortest_ns is not None and limits.longest_ns is not None:
        allowed = (limits.shortest_ns - message.period_ns, limits.longest_ns - message.period_ns)
    return Spread(message, periods.histogram_reach_ns(message), measured.histogram, allowed)


def _marks(answer: AuditAnswer, start_ns: int) -> tuple[Mark, ...]:
    found = [
        Mark(
            "step" if one.severity is Severity.ADVICE else "broken",
            max(round(one.first_at_s * 1e9) - start_ns, 0),
            f"{one.rule}: {one.subject}" if one.subject else one.rule,
        )
        for one in answer.findings
        if one.first_at_s is not None
    ]
    broken = [
        Mark("broken", max(round(expected.at_s * 1e9) - start_ns, 0), expected.name)
        for expected in answer.expectations
        if expected.holds is False and expected.at_s is not None
    ]
    return tuple(sorted([*found, *broken], key=lambda mark: mark.at_ns)[:MOST_MARKS])
