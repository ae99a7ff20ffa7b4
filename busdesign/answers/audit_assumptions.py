"""How good the design's assumptions were: measured periods and jitter beside the declared ones, and lines to copy.

A line is offered only where the capture contradicts the catalogue, or where so many frames were seen that a declared
jitter looks far too great. It is an offer: a capture shows what happened, not all that can.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from math import ceil

from busdesign.answers.figures import MS, in_ms, rounded_up
from busdesign.bench.distances import Measured
from busdesign.bench.limits import Limits, MessageLimits
from busdesign.bench.period_findings import MANY
from busdesign.catalogue.model import Catalogue, Message
from busdesign.units import format_duration

ENOUGH = 100  # distances, before a jitter that was never seen is called too great
MUCH_LESS = 2  # times that a declared jitter is greater than the one seen


@dataclass(frozen=True, slots=True)
class PeriodMs:
    """Distances between the time stamps of a message's frames, in milliseconds."""

    mean: float
    min: float
    max: float


@dataclass(frozen=True, slots=True)
class MessageAudit:
    """One message as the capture shows it; times are milliseconds, None where there was nothing to measure.

    ``spread_ms``: how far the distances of about one period were from their mean, start of frame to start of frame:
    release jitter and waiting for the bus together. ``wait_ms``: the most that the design allows for both;
    ``allowed_ms`` what distances it allows, widened by what the recorder leaves open; None without a bound.
    """

    name: str
    id: int | None
    extended: bool
    sender: str
    count: int
    period_ms: PeriodMs | None
    declared_ms: float
    irregular: bool
    spread_ms: float | None
    jitter_ms: float
    wait_ms: float | None
    allowed_ms: tuple[float, float | None] | None


@dataclass(frozen=True, slots=True)
class Suggestion:
    """``key`` of the message (or family) ``message`` as it would be written; ``why`` says what was seen."""

    message: str
    key: str
    declared: str
    suggested: str
    why: str


def message_audit(message: Message, found: Measured, limits: MessageLimits) -> MessageAudit:
    """``message`` as it was seen."""
    period = None
    if found.count > 1 and found.stamps_least_ns is not None and found.stamps_most_ns is not None:
        mean = (found.last_end_ns - found.first_end_ns) / (found.count - 1)
        period = PeriodMs(mean / MS, found.stamps_least_ns / MS, found.stamps_most_ns / MS)
    allowed = None
    if limits.shortest_ns is not None and limits.longest_ns is not None:
        longest = None if message.irregular else limits.longest_ns / MS
        allowed = (max(limits.shortest_ns, 0) / MS, longest)
    return MessageAudit(
        name=message.name,
        id=message.identifier,
        extended=message.extended,
        sender=message.sender,
        count=found.count,
        period_ms=period,
        declared_ms=message.period_ns / MS,
        irregular=message.irregular,
        spread_ms=in_ms(found.spread_ns),
        jitter_ms=message.jitter_ns / MS,
        wait_ms=in_ms(limits.wait_ns),
        allowed_ms=allowed,
    )


def suggestions(catalogue: Catalogue, measured: dict[str, Measured], limits: Limits) -> tuple[Suggestion, ...]:
    """What the capture would have the catalogue say, a family's members taken together."""
    families: dict[str, list[Message]] = {}
    for message in catalogue.messages:
        if not message.irregular:
            families.setdefault(message.family or message.name, []).append(message)
    return tuple(
        made
        for family, members in families.items()
        for made in (*_period(family, members, measured, limits), *_jitter(family, members, measured, limits))
    )


def _period(family: str, members: list[Message], measured: dict[str, Measured], limits: Limits) -> Iterator[Suggestion]:
    """Another period, if all members that were seen often enough agree on one that cannot be the declared one."""
    means = []
    for message in members:
        found, limit = measured[message.name], limits.messages[message.name]
        if found.count <= MANY or limit.wait_ns is None:
            continue
        mean = found.step_mean_ns or (found.last_end_ns - found.first_end_ns) / (found.count - 1)
        count = found.steps or found.count - 1
        # Steps may lie apart, each with a wait of its own at both ends.
        slack = (limit.wait_ns + limit.slack_ns) * max(found.good_runs, 1) / count
        if limit.least_ns - slack <= mean <= limit.most_ns + slack:
            return
        means.append(mean)
    if means and max(means) / min(means) < 1.01:
        mean = sum(means) / len(means)
        declared = format_duration(members[0].period_ns)
        why = f"{format_duration(round(mean))} in the mean"
        yield Suggestion(family, "every", declared, format_duration(_three_digits(mean)), why)


def _three_digits(time_ns: float) -> int:
    """To three digits, as a person would write a period."""
    scale = 10 ** max(len(str(int(time_ns))) - 3, 0)
    return int(round(time_ns / scale) * scale)


def _jitter(family: str, members: list[Message], measured: dict[str, Measured], limits: Limits) -> Iterator[Suggestion]:
    beyond, seen, steps = 0, 0, 0
    for message in members:
        found, limit = measured[message.name], limits.messages[message.name]
        if found.step_least_ns is None or found.step_most_ns is None or limit.wait_ns is None:
            continue
        shortest, longest = limit.shortest_ns or 0, limit.longest_ns or 0
        beyond = max(beyond, found.step_most_ns - longest, shortest - found.step_least_ns)
        seen, steps = max(seen, found.spread_ns or 0), steps + found.steps
    declared_ns = max(message.jitter_ns for message in members)
    declared = format_duration(declared_ns) if declared_ns else "none"
    if beyond > 0:
        why = f"distances went {format_duration(ceil(beyond / 1000) * 1000)} beyond what jitter and waiting allow"
        yield Suggestion(family, "jitter", declared, format_duration(rounded_up(declared_ns + beyond)), why)
    elif steps >= ENOUGH and declared_ns > MUCH_LESS * rounded_up(seen):
        why = (
            f"no more than {format_duration(ceil(seen / 1000) * 1000)} was seen in {steps} distances, waiting included"
        )
        yield Suggestion(family, "jitter", declared, format_duration(max(rounded_up(seen), 100_000)), why)


def patch(offered: Iterable[Suggestion]) -> str:
    """The suggestions as lines of a catalogue, each with what stands there now; "" for none."""
    lines: list[str] = []
    last = ""
    for one in offered:
        if one.message != last:
            lines += ["messages:"] if not lines else []
            lines.append(f"  {one.message}:")
            last = one.message
        said = f"    {one.key}: {one.suggested}"
        lines.append(f"{said:<28}# declared: {one.declared}; {one.why}")
    return "\n".join(lines)
