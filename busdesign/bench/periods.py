"""How far apart the frames of each message are: against its period, against its `lost_after`, and as pictures.

The distance judged is from start of frame to start of frame, which does not depend on the data. Within the limits of
``limits.MessageLimits`` a distance tells nothing: jitter and waiting for the bus can make it. Beyond them something is
not as declared. A clock that is a little wrong shows only in many distances together: n of them in a row take between n
of the shortest and n of the longest periods, once more the wait either way.
"""

from collections.abc import Iterator, Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from busdesign.bench.blocks import Block, Group
from busdesign.bench.distances import Measured, OverTime, measured_of
from busdesign.bench.excuses import Excuses, Span
from busdesign.bench.limits import Limits
from busdesign.bench.period_findings import Odd, PeriodFindings
from busdesign.bench.sightings import Sighting
from busdesign.bench.walk import (
    COUNT,
    LONGEST,
    NEVER_LESS,
    NEVER_MORE,
    PERIOD,
    REACH,
    RULE_COLUMNS,
    SHORTEST,
    new_state,
    walk,
)
from busdesign.catalogue.model import Catalogue, Message

HISTOGRAM_BINS = 81  # an odd number: the middle one holds the declared period


class Periods:
    """Collects distances block by block."""

    def __init__(
        self, catalogue: Catalogue, limits: Limits, silences: Mapping[str, Sequence[Span]], origin_ns: int = 0
    ) -> None:
        self._catalogue, self._limits = catalogue, limits
        self._excuses = Excuses(catalogue, limits, silences)
        self._state = new_state(len(catalogue.messages))
        self._rules = np.array([self._rule(message) for message in catalogue.messages], np.int64)
        self._histogram = np.zeros((len(catalogue.messages), HISTOGRAM_BINS), np.int64)
        self.over_time = OverTime(len(catalogue.messages), origin_ns)
        self._odd = Odd()
        self._first_ns: int | None = None
        self._end_ns = 0

    def _rule(self, message: Message) -> list[int]:
        limits, lost = self._limits.messages[message.name], message.lost_after_ns
        rule = [0] * RULE_COLUMNS
        rule[PERIOD] = 0 if message.irregular else message.period_ns
        rule[SHORTEST] = NEVER_LESS if limits.shortest_ns is None else limits.shortest_ns
        longest = NEVER_MORE if limits.longest_ns is None else limits.longest_ns
        silent = NEVER_MORE if lost is None else lost + limits.slack_ns
        rule[LONGEST] = NEVER_MORE if message.irregular else min(longest, silent)
        rule[REACH] = self.histogram_reach_ns(message)
        return rule

    def take(self, block: Block) -> None:
        """Measure the frames of ``block``."""
        if self._first_ns is None:
            self._first_ns = int(block.start_ns[0])
        self._end_ns = max(self._end_ns, int(block.traffic.end_ns.max()))
        self.over_time.make_room(self._end_ns)
        for group in block.groups:
            if not self._state[group.index, COUNT]:
                self._begin(block, group, int(block.start_ns[group.rows[0]]))
        odd_rows, odd_distances = np.empty(len(block), np.int64), np.empty(len(block), np.int64)
        over_time = self.over_time
        odd = walk(
            block.which,
            block.start_ns,
            block.traffic.end_ns,
            self._state,
            self._rules,
            self._histogram,
            over_time.origin_ns,
            over_time.bin_ns,
            over_time.least_ns,
            over_time.most_ns,
            odd_rows,
            odd_distances,
        )
        if odd:
            self._judge(block, odd_rows[:odd], odd_distances[:odd])

    def measured(self) -> dict[str, Measured]:
        """What was measured of each message, by its name."""
        messages = enumerate(self._catalogue.messages)
        return {message.name: measured_of(self._state[at], self._histogram[at]) for at, message in messages}

    def histogram_reach_ns(self, message: Message) -> int:
        """How far from the period the histogram reaches, either way."""
        limits = self._limits.messages[message.name]
        wait = limits.wait_ns or 0
        return max((wait + limits.slack_ns) * 5 // 4, message.period_ns // 50, HISTOGRAM_BINS)

    def _begin(self, block: Block, group: Group, start_ns: int) -> None:
        """The first frame of a message is late if nothing declared lets it come so long after the capture began."""
        message = group.message
        assert self._first_ns is not None
        allowed = self._excuses.first_allowed_ns(message)
        if allowed is None or start_ns - self._first_ns <= allowed:
            return
        if not self._excuses.explain(message, self._first_ns, start_ns):
            self._odd.late.note(message.name, block, group.rows[:1], np.array([start_ns - self._first_ns]))

    def _judge(self, block: Block, rows: NDArray[np.int64], distances: NDArray[np.int64]) -> None:
        """Tell of each distance beyond its limits which it is, but for silences that somebody made."""
        which = block.which[rows]
        for index in np.unique(which).tolist():
            message, own = self._catalogue.messages[index], which == index
            name, lost = message.name, message.lost_after_ns
            rows_own, distances_own = rows[own], distances[own]
            is_short = distances_own < self._rules[index, SHORTEST]
            self._odd.short.note(name, block, rows_own[is_short], distances_own[is_short])
            is_long = ~is_short
            starts = block.start_ns[rows_own]
            is_long &= ~self._excuses.explained(message, starts - distances_own, starts)
            slack = self._limits.messages[name].slack_ns
            is_silent = is_long & (distances_own > (NEVER_MORE if lost is None else lost + slack))
            is_long &= ~is_silent
            self._odd.long.note(name, block, rows_own[is_long], distances_own[is_long])
            self._odd.silent.note(name, block, rows_own[is_silent], distances_own[is_silent])

    def sightings(self) -> Iterator[Sighting]:
        """What was seen, message by message."""
        told = PeriodFindings(self._catalogue, self._limits, self._excuses, self._odd, self._first_ns, self._end_ns)
        yield from told.sightings(self.measured())
