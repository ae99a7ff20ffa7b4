"""What the distances of messages tell: too short, too long, silent, off in the mean, or all of them off alike."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field

from busdesign.bench.distances import Measured
from busdesign.bench.excuses import Excuses
from busdesign.bench.limits import Limits, MessageLimits
from busdesign.bench.sightings import Notes, Seen, Sighting, sighting
from busdesign.catalogue.model import Catalogue, Message
from busdesign.findings import Finding, Severity, counted
from busdesign.units import format_duration

MANY = 10  # distances, for a mean that says something
SAME_FACTOR, OTHER_FACTOR = 0.01, 0.02  # periods that are off alike, within the first and by more than the second


@dataclass(frozen=True, slots=True)
class Odd:
    """Distances beyond their limits, by the names of their messages; ``late``: of first frames, from the beginning."""

    short: Notes = field(default_factory=Notes)
    long: Notes = field(default_factory=Notes)
    silent: Notes = field(default_factory=Notes)
    late: Notes = field(default_factory=Notes)


class PeriodFindings:
    """Puts into words what was collected between ``first_ns`` and ``end_ns``."""

    def __init__(
        self, catalogue: Catalogue, limits: Limits, excuses: Excuses, odd: Odd, first_ns: int | None, end_ns: int
    ) -> None:
        self._catalogue, self._limits, self._excuses, self._odd = catalogue, limits, excuses, odd
        self._first_ns, self._end_ns = first_ns, end_ns

    def sightings(self, measured: Mapping[str, Measured]) -> Iterator[Sighting]:
        """What was seen, message by message."""
        for message in self._catalogue.messages:
            yield from self._of_message(message, self._limits.messages[message.name], measured[message.name])
        yield from self._alike(measured)

    def _of_message(self, message: Message, limits: MessageLimits, found: Measured) -> Iterator[Sighting]:
        name, period = message.name, format_duration(message.period_ns)
        odd = self._odd
        if short := odd.short.seen.get(name):
            least = format_duration(max(short.least, 0))
            if message.irregular:
                text = f"`{name}` came {least} after the last one, though declared {period} apart"
            else:
                text = f"`{name}` came {least} after the last one; {_reach(message, limits, 'shortest')}"
            yield self._sighting(
                "period-short", short, message, text, "a frame is sent or recorded twice, or too often"
            )
        if long := odd.long.seen.get(name):
            text = (
                f"`{name}` came {format_duration(long.most)} after the last one; {_reach(message, limits, 'longest')}"
            )
            fix = "a frame is missing, or was released or held back later than `jitter` and the bus explain"
            yield self._sighting("period-long", long, message, text, fix)
        if silent := odd.silent.seen.get(name):
            yield self._silence(message, silent, f"was silent for {format_duration(silent.most)}")
        if late := odd.late.seen.get(name):
            yield self._silence(message, late, f"first came {format_duration(late.most)} after the capture began")
        yield from self._at_the_end(message, limits, found)
        yield from self._mean(message, limits, found)

    def _sighting(self, rule: str, seen: Seen, message: Message, text: str, fix: str) -> Sighting:
        more = f" ({counted(seen.count, 'time')})" if seen.count > 1 else ""
        place = message.place_of("irregular" if message.irregular else "every")
        return sighting(rule, Severity.BROKEN, seen, message.name, text + more, fix, place)

    def _silence(self, message: Message, seen: Seen, what: str) -> Sighting:
        lost = format_duration(message.lost_after_ns or 0)
        text = f"`{message.name}` {what}, more than its `lost_after` of {lost}: its receivers called it lost"
        place = message.place_of("lost_after")
        fix = "see whether its board was off, or off the bus"
        return sighting("gone-silent", Severity.BROKEN, seen, message.name, text, fix, place)

    def _at_the_end(self, message: Message, limits: MessageLimits, found: Measured) -> Iterator[Sighting]:
        if message.irregular or message.identifier is None or self._first_ns is None:
            return
        if not found.count:
            allowed = self._excuses.first_allowed_ns(message) or 3 * message.period_ns
            if self._end_ns - self._first_ns > allowed and not self._excuses.explain(
                message, self._first_ns, self._end_ns
            ):
                text = f"`{message.name}` never came, though it is due every {format_duration(message.period_ns)}"
                place, fix = message.place_of("every"), f"see whether `{message.sender}` is on this bus, and has power"
                finding = Finding("never-seen", Severity.BROKEN, place, text, fix)
                yield Sighting(finding, 1, self._first_ns, None, "", message.name)
            return
        gap = self._end_ns - found.last_end_ns
        if message.lost_after_ns is None or gap <= message.lost_after_ns + limits.slack_ns:
            return
        if not self._excuses.explain(message, found.last_end_ns, self._end_ns):
            what = f"stopped {format_duration(gap)} before the end of the capture"
            made = self._silence(message, Seen(found.last_end_ns, 0, "", 1), what)
            yield Sighting(made.finding, 1, found.last_end_ns, None, "", message.name)

    def _mean(self, message: Message, limits: MessageLimits, found: Measured) -> Iterator[Sighting]:
        """Whether many distances together are longer or shorter than the sender's clock and the wait allow."""
        if message.irregular or found.good < MANY or limits.wait_ns is None:
            return
        slack = found.good_runs * (limits.wait_ns + limits.slack_ns)
        least, most = found.good * limits.least_ns - slack, found.good * limits.most_ns + slack
        if least <= found.good_sum_ns <= most:
            return
        mean = found.good_sum_ns / found.good
        text = (
            f"`{message.name}` comes every {format_duration(round(mean))} in the mean of {found.good} distances, not "
            f"every {format_duration(message.period_ns)}; the clock of `{message.sender}` may be wrong by "
            f"{float(self._catalogue.nodes[message.sender].tolerance):.2%}"
        )
        finding = Finding(
            "period-off", Severity.BROKEN, message.place_of("every"), text, "mend `every`, the clock, or the recorder's"
        )
        yield Sighting(finding, found.good, found.first_end_ns, None, "", message.name)

    @staticmethod
    def _can_be(found: Measured, limits: MessageLimits) -> bool:
        """Whether jitter, waiting and the sender's tolerance explain the time from the first frame to the last."""
        wait, distances = limits.wait_ns, found.count - 1
        if wait is None:
            return False
        away = wait + limits.slack_ns
        took = found.last_end_ns - found.first_end_ns
        return distances * limits.least_ns - away <= took <= distances * limits.most_ns + away

    def _alike(self, measured: Mapping[str, Measured]) -> Iterator[Sighting]:
        """All periods wrong by one and the same factor: then it is the clock of the recorder, or not this bus."""
        factors = []
        for message in self._catalogue.messages:
            found = measured[message.name]
            if not message.irregular and found.count > MANY:
                if self._can_be(found, self._limits.messages[message.name]):
                    return
                factors.append((found.last_end_ns - found.first_end_ns) / (found.count - 1) / message.period_ns)
        if len(factors) < 2 or self._first_ns is None:
            return
        low, high = min(factors), max(factors)
        if low <= 0 or high / low > 1 + SAME_FACTOR or abs(low - 1) < OTHER_FACTOR or abs(high - 1) < OTHER_FACTOR:
            return
        factor = sum(factors) / len(factors)
        text = f"the periods of all {len(factors)} messages are {factor:.3g} times those declared"
        fix = "the recorder's clock or its unit of time is wrong, or the catalogue is another bus's"
        yield Sighting(Finding("time-scale", Severity.BROKEN, None, text, fix), len(factors), self._first_ns)


def _reach(message: Message, limits: MessageLimits, which: str) -> str:
    limit = limits.shortest_ns if which == "shortest" else limits.longest_ns
    assert limit is not None
    period, wait = format_duration(message.period_ns), format_duration(limits.wait_ns or 0)
    allowed = format_duration(max(limit, 0))
    return f"the {which} that a period of {period} with {wait} of jitter and waiting allows is {allowed}"
