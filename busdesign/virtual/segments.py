"""The kernel for nodes that do not all hear each other, or not always: several segments, each a bus of its own.

It knows the same frames, queues and events as `Kernel`, and makes the same run where nothing goes wrong; but what is on
the pair is made of events, too, because several segments may be at work at the same time. What becomes of a frame
there is for a subclass to say.
"""

from collections.abc import Sequence
from heapq import heapify, heappush
from typing import Any

from busdesign.virtual.clocks import TimeBase
from busdesign.virtual.disturbances import Attempt, Conditions
from busdesign.virtual.kernel import FAULT, MISSED, NEVER, Frame, Kernel, drop, row_packer
from busdesign.virtual.node import Arrival, Clock
from busdesign.virtual.senders import Sender
from busdesign.virtual.stations import Segment, Station, split
from busdesign.virtual.wires import wire_of

# Ranks before all others: in one instant an arbitration is over, frames end, and only then is anything new.
DECIDE, END = -2, -1


class Contest:
    """An arbitration: the frames that were offered at the start of frame, best of each node."""

    __slots__ = ("is_off", "offered", "segment", "start")

    def __init__(self, segment: Segment, start: int, offered: dict[str, Frame]) -> None:
        self.segment, self.start, self.offered = segment, start, offered
        self.is_off = False


class Flight:
    """A frame on the pair. ``stations``: those of its segment as it was; ``rivals``: what others began to send."""

    __slots__ = (
        "attempt",
        "deaf",
        "frame",
        "is_done",
        "is_off",
        "is_wrong",
        "joined",
        "rivals",
        "segment",
        "stations",
        "waiting",
    )

    def __init__(
        self, segment: Segment, frame: Frame, attempt: Attempt, rivals: dict[str, Frame], waiting: int
    ) -> None:
        self.segment, self.frame, self.attempt, self.waiting = segment, frame, attempt, waiting
        self.rivals = rivals
        self.joined: frozenset[str] = frozenset()  # who of all did not send the start of frame
        self.stations = dict(segment.stations)
        self.deaf: list[Station] = []  # those that still wait for the end of an error delimiter of their own
        self.is_wrong = False  # it is known to fail
        self.is_done = False  # it has been sent
        self.is_off = False  # nothing of what was planned for it happens

    @property
    def sender(self) -> Sender:
        return self.frame[2]

    def at_bit(self, bit: int) -> int:
        """When its bit ``bit`` begins."""
        return self.attempt.start + bit * self.attempt.bit


class SegmentedKernel(Kernel):
    """One run in the making, on as many segments as the wires leave."""

    def __init__(
        self, base: TimeBase, clock: Clock, senders: Sequence[Sender], nodes: Sequence[str], conditions: Conditions
    ) -> None:
        super().__init__(base, clock, senders)
        self.stations = {name: Station(name, senders, stays_off=name in conditions.stay_off) for name in nodes}
        self._tries: dict[tuple[int, int], int] = {}  # of a frame, by its sender and number, where there were any
        self._partings: list[Sequence[frozenset[str]]] = []
        self._segments = [Segment(self.stations.values(), 0)]
        self._under_way: list[Contest | Flight] = []
        self._heard: dict[tuple[int, str], int] = {}  # by message and node: the end of the last one
        self._watched: set[tuple[int, str]] = set()
        self._row_of = row_packer(self.rows)
        per_ns = base.ticks_per_ns
        for parted in conditions.parted:
            self.at(parted.from_ns * per_ns, FAULT, self._open, parted.groups)
            if parted.until_ns is not None:
                self.at(parted.until_ns * per_ns, FAULT, self._close, parted.groups)

    def _fly(self, flight: Flight) -> None:
        """Plan what becomes of a frame that has won."""
        raise NotImplementedError

    def _break_off(self, flight: Flight) -> None:
        """Nobody can read what is on the pair from now on."""
        raise NotImplementedError

    def _await_recovery(self, segment: Segment) -> None:
        """Let the nodes recover that will have heard enough recessive bits, if nothing is on ``segment`` before."""
        raise NotImplementedError

    def _open(self, groups: Sequence[frozenset[str]]) -> None:
        self._partings.append(groups)
        self._part()

    def _close(self, groups: Sequence[frozenset[str]]) -> None:
        self._partings.remove(groups)
        self._part()

    def _part(self) -> None:
        """Other nodes hear each other from now on."""
        now = self.clock.now
        for each in list(self._under_way):
            if isinstance(each, Contest):
                self._call_off(each)
            else:
                self._break_off(each)
        free_from = {name: segment.free_from for segment in self._segments for name in segment.stations}
        self._segments = []
        for together in split(self.stations.values(), self._partings):
            segment = Segment(together, max(now, *(free_from[station.name] for station in together)))
            self._segments.append(segment)
            self._await_recovery(segment)

    def run(self, until: int) -> None:
        clock, events, happen_before = self.clock, self._events, self._happen_before
        while True:
            start, segment = self._next_start()
            due = events[0][0]
            if due <= start:
                if due > until:
                    break
                happen_before(due + 1)
            elif start > until or segment is None:
                break
            else:
                clock.now = start
                self._start(segment, start)
        for each in self._under_way:
            if isinstance(each, Contest):
                self._pending.extend(each.offered.values())
            elif not each.is_done:
                self._pending.append(each.frame)
        self._end(until)

    def run_alone(self, until: int) -> None:
        self.run(until)

    def _next_start(self) -> tuple[int, Segment | None]:
        """When a frame starts next, and where, if nothing happens before."""
        earliest, found = NEVER, None
        for segment in self._segments if self._pending else ():
            if segment.is_busy:
                continue
            free_from = max(segment.free_from, self.clock.now)
            for frame in self._pending:
                station = segment.stations.get(frame[2].node)
                if station is not None:
                    start = max(station.ready_from, free_from)
                    if start < earliest:
                        earliest, found = start, segment
                    if start == free_from:
                        break
        return earliest, found

    def _start(self, segment: Segment, start: int) -> None:
        """The start of a frame: every node that is ready sends it, with the best that it has."""
        offered: dict[str, Frame] = {}
        for frame in self._pending:
            node = frame[2].node
            if node in segment.stations and segment.stations[node].ready_from <= start:
                offered[node] = min(offered.get(node, frame), frame)
        for frame in offered.values():
            self._pending.remove(frame)
        heapify(self._pending)
        segment.begin(start, self.base)
        contest = Contest(segment, start, offered)
        self._under_way.append(contest)
        self.at(start + self.base.join_ticks, DECIDE, self._decide, contest)

    def _decide(self, contest: Contest) -> None:
        """The arbitration is over; whoever became ready in time has joined it."""
        if contest.is_off:
            return
        self._under_way.remove(contest)
        segment, offered, pending = contest.segment, contest.offered, self._pending
        joined: dict[str, Frame] = {}
        for frame in pending:
            node = frame[2].node
            if node in segment.stations and node not in offered and segment.stations[node].ready_from < self.clock.now:
                joined[node] = min(joined.get(node, frame), frame)
        able = [frame for node, frame in offered.items() if segment.stations[node].takes_part]
        winner = min((*able, *joined.values()), default=None)
        for frame in offered.values():
            if frame is not winner:
                self._put_back(frame)
        if winner is None:  # all that were sending have lost their power
            segment.end(self.clock.now, self.clock.now)
            self._await_recovery(segment)
            return
        if winner[2].node in joined:
            pending.remove(winner)
            heapify(pending)
        attempt = self._attempt_of(winner, contest.start)
        rivals = {node: frame for node, frame in (offered | joined).items() if frame is not winner}
        flight = Flight(segment, winner, attempt, rivals, len(pending) + self._behind[0])
        flight.joined = frozenset(joined)
        self._under_way.append(flight)
        self._fly(flight)

    def _attempt_of(self, frame: Frame, start: int) -> Attempt:
        _, number, sender, _, _, payload = frame
        return Attempt(
            sender.message.name,
            sender.node,
            number,
            self._tries.get((sender.index, number), 0),
            start,
            sender.bit_ticks,
            sender.bits_of(payload),
            self.base.ticks_per_ns,
            lambda: wire_of(sender.message, payload),
        )

    def _call_off(self, contest: Contest) -> None:
        """A start of frame that is nobody's."""
        contest.is_off = True
        self._under_way.remove(contest)
        for frame in contest.offered.values():
            self._put_back(frame)
        contest.segment.free_from = self.clock.now

    def _put_back(self, frame: Frame) -> None:
        if frame[2].mutes:
            drop(frame)
        else:
            heappush(self._pending, frame)

    def _deliver(self, flight: Flight, nodes: set[str]) -> None:
        """Let ``nodes`` hear a frame; its sender among them learns that it is sent."""
        sender, now = flight.sender, self.clock.now
        nodes = {name for name in nodes if flight.stations[name].takes_part}
        sender.heard_at = now
        for name, listener in zip(sender.absence_nodes, sender.absence_listeners, strict=True):
            if name in nodes:
                self._heard[sender.index, name] = now
                self._watch_for(sender, name, listener)
        arrival = Arrival()
        arrival.codec, arrival.payload, arrival.at_ns = sender.codec, flight.frame[5], self.clock.ns(now)
        for name, hear in zip(sender.listener_nodes, sender.listeners, strict=True):
            if name in nodes:
                hear(arrival)

    def watch(self, sender: Sender) -> None:
        for name, listener in zip(sender.absence_nodes, sender.absence_listeners, strict=True):
            self._watch_for(sender, name, listener)

    def _watch_for(self, sender: Sender, name: str, listener: Any) -> None:
        if (sender.index, name) not in self._watched:
            self._watched.add((sender.index, name))
            due = self._heard.get((sender.index, name), 0) + sender.lost_after
            self.at(due, MISSED, self._look_for_one, (sender, name, listener))

    def _look_for_one(self, told: tuple[Sender, str, Any]) -> None:
        sender, name, listener = told
        due = self._heard.get((sender.index, name), 0) + sender.lost_after
        if due > self.clock.now:
            self.at(due, MISSED, self._look_for_one, told)
            return
        self._watched.discard((sender.index, name))
        if not self.stations[name].offs:
            listener(sender.message)
