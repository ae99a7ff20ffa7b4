"""How long a frame takes from when its node offers it, or through its FIFO, given how late the others are offered.

A frame is *offered* from when on its node sends nothing less urgent before it: of a priority queue at once, of a FIFO
from when it is first, of buffers that cannot be aborted from when one of them holds it or a more urgent one. From then
on the revised analysis (``response``) holds for it word by word; what happens before is more release jitter. With f the
longest time from being queued to being offered, every equation of ``response`` is taken with J + f in place of J, but
with J alone of the nodes that have nothing less urgent than the message looked at: whatever is queued there is in the
way of it.

FIFO, after R.I. Davis, S. Kollmann, V. Pollex, F. Slomka, "Controller Area Network (CAN) schedulability analysis with
FIFO queues", ECRTS 2011 (from memory): the whole FIFO competes as urgently as its least urgent message L. What is there
of jitter and of deadlines beyond the period is our own derivation. A frame of m that is queued at a, counted from the
start of a busy period of priority L, is started by

    w(a) = B + floor(a / T_m) C_m + sum over its FIFO but m of (floor((a + J_j) / T_j) + 1) C_j
             + sum over the others above L of ceil((w + J_k + one bit) / T_k) C_k
    R_m  = max over a of J_m + w(a) - a + C_m          f_m = max over a of w(a) - a, where anything is before m

The candidates for a are those at which the sum over the FIFO grows. (The paper gives one bound for all of a FIFO.)
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import chain

from busdesign.analysis.response import MOST_STEPS as MOST_STEPS_OF_ONE
from busdesign.analysis.response import Bound, Disturbance, NoBound, Stream, Term, settle
from busdesign.units import format_ratio

MOST_STEPS = 3 * MOST_STEPS_OF_ONE  # for all rounds of fitting
_NOT_REACHED = f"{MOST_STEPS} steps did not reach the worst case"


@dataclass(frozen=True, slots=True)
class Group:
    """The messages of one node that has no plain priority queue, by their priorities.

    ``buffers``: how many there are that cannot be aborted, 0 for a FIFO. ``unknown``: why nothing can be said of the
    order in which they are offered, if so.
    """

    node: str
    members: frozenset[int]
    buffers: int = 0
    unknown: str = ""

    @property
    def least_urgent(self) -> int:
        """The greatest priority number of its members."""
        return max(self.members)


@dataclass(frozen=True, slots=True)
class Case:
    """The answer for one message; until when it may wait to be offered in a FIFO; how long after that it may last."""

    answer: Bound | NoBound
    unoffered: int = 0
    offered: int = 0


class Unknown(Exception):
    """No bound, for this reason."""


class Offers:
    """The equations over all messages of one bus. ``waits``: the f of each member of ``groups``; None for no limit."""

    def __init__(
        self,
        ranked: Sequence[Stream],
        groups: Sequence[Group],
        blocking: Mapping[int, int],
        bit: int,
        disturbances: Sequence[Disturbance],
    ) -> None:
        self.ranked, self.blocking, self.bit = ranked, blocking, bit
        self.disturbances = disturbances
        self.group_of = {priority: group for group in groups for priority in group.members}
        self.steps = iter(range(MOST_STEPS))
        self.waits: dict[int, int | None] = {
            priority: None if group.unknown else 0 for priority, group in self.group_of.items()
        }

    def case(self, stream: Stream) -> Case:
        """The answer for one message."""
        group = self.group_of.get(stream.priority)
        try:
            if group and group.unknown:
                raise Unknown(group.unknown)
            return self._in_fifo(stream, group) if group and not group.buffers else self._offered(stream)
        except Unknown as reason:
            return Case(NoBound(stream.name, self.blocking_of(stream), str(reason)))

    def blocking_of(self, stream: Stream) -> int:
        """What a message may be blocked for: all of a FIFO as its least urgent one."""
        group = self.group_of.get(stream.priority)
        return self.blocking[group.least_urgent if group and not group.buffers else stream.priority]

    def busy_down_to(self, level: int) -> int | None:
        """The busy period of ``level``, none of its frames later than its jitter; None if it may have no end."""
        streams = [stream for stream in self.ranked if stream.priority <= level]
        try:
            self._refuse_overload(streams, "")
        except Unknown:
            return None
        terms = [_term(stream, stream.jitter) for stream in streams]
        return self._busy_period(self.blocking[level], terms, max(stream.length for stream in streams))

    def _offered(self, stream: Stream) -> Case:
        """The revised analysis, from when on the frame is offered."""
        above = [other for other in self.ranked if other.priority < stream.priority]
        self._refuse_overload([*above, stream], "this message and those of higher priority")
        jitter = self._jitter(stream, stream.priority)
        terms = [_term(other, self._jitter(other, stream.priority)) for other in above]
        blocking, longest = self.blocking[stream.priority], max(each.length for each in [*above, stream])
        busy_period = self._busy_period(blocking, [*terms, _term(stream, jitter)], longest)
        if busy_period is None:
            raise Unknown(_NOT_REACHED)
        instances = -(-(busy_period + jitter) // stream.period)
        worst, worst_instance, lasts, waits = -1, 0, 0, blocking
        for instance in range(instances):
            waits = self._start(blocking + instance * stream.length, waits, terms, longest, stream.length)
            response = waits - instance * stream.period + jitter + stream.length
            if response > worst:
                worst, worst_instance = response, instance
            lasts = max(lasts, waits + stream.length - max(0, instance * stream.period - jitter))
        queuing = worst - stream.jitter - stream.length
        bound = Bound(stream.name, blocking, queuing, worst, instances, worst_instance, busy_period)
        return Case(bound, offered=lasts)

    def _in_fifo(self, stream: Stream, group: Group) -> Case:
        level = group.least_urgent
        mates = [other for other in self.ranked if other.priority in group.members and other is not stream]
        above = [other for other in self.ranked if other.priority < level and other.priority not in group.members]
        who = f"the FIFO of `{group.node}` and what has priority over its least urgent message"
        self._refuse_overload([*above, *mates, stream], who)
        terms = [_term(other, self._jitter(other, level)) for other in above]
        blocking, longest = self.blocking[level], max(each.length for each in [*above, *mates, stream])
        own_terms = [_term(each, each.jitter) for each in [*mates, stream]]
        busy_period = self._busy_period(blocking, [*terms, *own_terms], longest)
        if busy_period is None:
            raise Unknown(_NOT_REACHED)
        worst, worst_instance, unoffered, waits = -1, 0, 0, blocking
        for queued in _growing(stream, mates, busy_period + stream.jitter):
            before = queued // stream.period * stream.length
            before += sum(((queued + mate.jitter) // mate.period + 1) * mate.length for mate in mates)
            waits = self._start(blocking + before, waits, terms, longest, stream.length)
            if waits - queued > worst:
                worst, worst_instance = waits - queued, queued // stream.period
            if before:
                unoffered = max(unoffered, waits - queued)
        instances = -(-(busy_period + stream.jitter) // stream.period)
        response = stream.jitter + worst + stream.length
        bound = Bound(stream.name, blocking, worst, response, instances, worst_instance, busy_period)
        return Case(bound, unoffered=unoffered)

    def _jitter(self, stream: Stream, level: int) -> int:
        """The latest a frame may be offered after its release, as something of priority ``level`` sees it."""
        group = self.group_of.get(stream.priority)
        if group is None or (group.least_urgent <= level and not group.unknown):
            return stream.jitter
        wait = self.waits[stream.priority]
        if wait is None:
            raise Unknown(f"`{stream.name}` may wait in `{group.node}` without limit before it takes part")
        return stream.jitter + wait

    def _refuse_overload(self, streams: Sequence[Stream], who: str) -> None:
        used = sum((stream.utilisation for stream in streams), Fraction(0))
        longest = max(stream.length for stream in streams)
        errors = sum((Fraction(each.cost(longest), each.apart) for each in self.disturbances), Fraction(0))
        if used + errors >= 1:
            asked = f"{who} ask for {format_ratio(used)} of the bus"
            if errors:
                asked += f" and the errors for {format_ratio(errors)}"
            raise Unknown(f"{asked}, so the queue may grow for ever")

    def _burst(self, longest: int) -> int:
        return sum((each.burst - 1) * each.cost(longest) for each in self.disturbances)

    def _busy_period(self, blocking: int, terms: Sequence[Term], longest: int) -> int | None:
        errors = [(each.apart - 1, each.apart, each.cost(longest)) for each in self.disturbances]
        fixed = blocking + self._burst(longest)
        return settle(fixed, max(fixed, 1), [*terms, *errors], 0, self.steps)

    def _start(self, fixed: int, window: int, terms: Sequence[Term], longest: int, length: int) -> int:
        # E looks as far ahead as the end of the frame, the others one bit: hence what the two differ by.
        errors = [(each.apart - 1 + length - self.bit, each.apart, each.cost(longest)) for each in self.disturbances]
        waits = settle(fixed + self._burst(longest), window, [*terms, *errors], self.bit, self.steps)
        if waits is None:
            raise Unknown(_NOT_REACHED)
        return waits


def _term(stream: Stream, jitter: int) -> Term:
    return jitter + stream.period - 1, stream.period, stream.length


def _growing(stream: Stream, mates: Sequence[Stream], until: int) -> Iterator[int]:
    """The times from 0 to before ``until`` at which there is one frame more in the FIFO before one of ``stream``."""
    own = range(0, until, stream.period)
    others = (range(-mate.jitter % mate.period, until, mate.period) for mate in mates)
    yield from sorted({*chain(own, *others)})
