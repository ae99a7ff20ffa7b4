"""How long a frame can wait where nodes do not always offer their most urgent one: FIFO queues, buffers that are kept.

The equations stand in ``offers``, with f the longest time from being queued to being offered. The f of one node depend
on those of the others, and are raised from 0 until none changes; as each bound looks at what happened before alone, no
first frame can exceed a set of f that yields itself.

Buffers that cannot be aborted, after D.A. Khan, R.I. Davis, N. Navet, "Schedulability analysis of CAN with
non-abortable transmission requests", ETFA 2011, and D.A. Khan, R.J. Bril, N. Navet, "Integrating hardware limitations
in CAN schedulability analysis", WFCS 2010 (both from memory): m waits while all n buffers hold less urgent frames, and
once only, since whatever is loaded next is m or more urgent. How long is our own derivation, safe rather than tight: as
long as the most urgent frame in the buffers, b, may yet take from being offered to its end,

    f_m = max over b of max over q of w_b(q) + C_b - max(0, q T_b - J_b - f_b)

over every b of the node below m for which b and those below it can have n frames waiting: sum of ceil(R / T) >= n.

Both f and R are at most the busy period (J, not f) down to the least urgent message of the node, of those that have
more urgent ones above that, and so on: while one of these nodes has a frame, none less urgent than all of them is sent.
"""

from collections.abc import Mapping, Sequence

from busdesign.analysis.offers import Case, Group, Offers
from busdesign.analysis.response import Bound, Disturbance, NoBound, Stream, blockings, by_priority

MOST_ROUNDS = 100  # in which the waits of several nodes are fitted to each other


def queued_bounds(
    streams: Sequence[Stream],
    groups: Sequence[Group],
    *,
    bit: int,
    blocking_at_least: int = 0,
    disturbances: Sequence[Disturbance] = (),
) -> tuple[Bound | NoBound, ...]:
    """As ``response.response_bounds``, where the messages of ``groups`` are not queued by priority (see the module).

    A FIFO is taken to have room for all. ``queuing`` of a bound is ``response - jitter - length``.
    """
    blocking_at_least = max(blocking_at_least, *(source.cost(0) for source in disturbances), 0)
    ranked = by_priority(streams, bit)
    blocking = {
        stream.priority: max(from_set, blocking_at_least)
        for stream, from_set in zip(ranked, blockings(ranked), strict=True)
    }
    answers = _Search(ranked, groups, Offers(ranked, groups, blocking, bit, disturbances)).fitted()
    return tuple(answers[stream.priority] for stream in streams)


class _Search:
    def __init__(self, ranked: Sequence[Stream], groups: Sequence[Group], offers: Offers) -> None:
        self.ranked, self.groups, self.offers = ranked, groups, offers
        self.most = {group.node: self._most(group) for group in groups}

    def fitted(self) -> dict[int, Bound | NoBound]:
        """The answers once the waits of all nodes agree with each other, or are the most that they can be."""
        for _ in range(MOST_ROUNDS):
            cases = self._cases()
            waits = self._waits(cases)
            if waits == self.offers.waits:
                break
            self.offers.waits = waits
        else:
            self.offers.waits = {
                priority: self._at_most(None, self.offers.group_of[priority]) for priority in self.offers.waits
            }
            cases = self._cases()
        return {priority: case.answer for priority, case in cases.items()}

    def _cases(self) -> dict[int, Case]:
        cases: dict[int, Case] = {}
        for stream in self.ranked:
            case, group = self.offers.case(stream), self.offers.group_of.get(stream.priority)
            cases[stream.priority] = self._capped(stream, case, group) if group else case
        return cases

    def _waits(self, cases: Mapping[int, Case]) -> dict[int, int | None]:
        waits: dict[int, int | None] = {}
        for group in self.groups:
            own = [stream for stream in self.ranked if stream.priority in group.members]
            for place, stream in enumerate(own):
                case = cases[stream.priority]
                wait: int | None = case.unoffered
                if group.buffers:
                    wait = _kept(own[:place:-1], cases, group.buffers)
                elif isinstance(case.answer, NoBound):
                    wait = None
                waits[stream.priority] = self._at_most(wait, group)
        return waits

    def _at_most(self, wait: int | None, group: Group) -> int | None:
        known = [time for time in (wait, self.most[group.node]) if time is not None]
        return None if group.unknown or not known else min(known)

    def _capped(self, stream: Stream, case: Case, group: Group) -> Case:
        most, answer = self.most[group.node], case.answer
        if most is None or group.unknown or (isinstance(answer, Bound) and answer.response <= stream.jitter + most):
            return case
        queuing, blocking = most - stream.length, self.offers.blocking_of(stream)
        bound = Bound(stream.name, blocking, queuing, stream.jitter + most, 1, 0, most)
        return Case(bound, min(case.unoffered or queuing, queuing), min(case.offered or most, most))

    def _most(self, group: Group) -> int | None:
        """The busy period down to the least urgent message of this node and of all that are entangled with it."""
        level = group.least_urgent
        while True:
            down_to = max(
                [level, *(other.least_urgent for other in self.groups if min(other.members) < level)],
            )
            if down_to == level:
                return self.offers.busy_down_to(level)
            level = down_to


def _kept(below: Sequence[Stream], cases: Mapping[int, Case], buffers: int) -> int | None:
    """The longest that ``buffers`` may all hold frames of ``below`` (the least urgent first); None for no limit."""
    waiting, longest = 0, 0
    for stream in below:
        case = cases[stream.priority]
        if isinstance(case.answer, NoBound):
            return None
        waiting += -(-case.answer.response // stream.period)
        if waiting >= buffers:
            longest = max(longest, case.offered)
    return longest
