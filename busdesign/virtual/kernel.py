"""The simulated bus, frame by frame: an event heap, arbitration by priority, exact frame lengths.

What is modelled and what is not stands in ``MODELLED`` and ``NOT_MODELLED``, which the report prints.

Simultaneous events happen in the order of the ranks below; a frame that ends in the same instant comes before all of
them, arbitration after all of them.
"""

from collections.abc import Callable, Iterator, Sequence
from heapq import heapify, heappop, heappush, heapreplace
from itertools import count
from struct import Struct
from typing import Any

from busdesign.catalogue.model import Catalogue
from busdesign.virtual.clocks import TimeBase
from busdesign.virtual.controllers import ReceiveFifo, TransmitQueue, transmit_queues
from busdesign.virtual.node import Arrival, Clock
from busdesign.virtual.senders import Sender
from busdesign.virtual.stations import Station
from busdesign.wire.disturbed import Detection
from busdesign.wire.frame import INTERMISSION_BITS

MODELLED = (
    "release times with jitter and drifted clocks, in every node queueing by priority or, where the catalogue says "
    "so, a FIFO or buffers that cannot be aborted, receive FIFOs that overrun, arbitration under the "
    "join rule (a frame that is ready before the sample point of a foreign start of frame takes part, one that "
    "comes later waits), the exact stuffed length of every payload at its sender's bit time, acknowledge (by "
    "any second node that hears it), intermission, silent transmitters; where the scenario disturbs the wire, bits "
    "that some or all nodes read wrong, what each of them makes of it, error and overload frames, retransmission, "
    "error counters, error passive with suspended transmission, bus off and recovery, nodes without power, and wires "
    "that part the bus into segments."
)
NOT_MODELLED = (
    "errors that the scenario does not name, what hits an idle bus or an error frame (but for a pair that is stuck "
    "and a burst that everybody sees), propagation delay, clock phase inside a bit, the time in which "
    "a node aborts or fills a buffer."
)

# Ranks of simultaneous events, lowest first. RELEASE_INTO: into a controller that is no priority queue.
FAULT, STEP, MISSED, DUTY, RELEASE, RELEASE_INTO, PROGRESS = range(7)

NEVER = 1 << 200  # ticks

# What is kept of a frame; times in ticks.
COLUMNS = ("sender", "nominal", "ready", "start", "payload", "bits", "waiting")
Frame = tuple[int, int, Sender, int, int, int]  # key, which of its message, sender, nominal, ready, payload
Event = tuple[int, int, int, Any, Any]  # time, rank, serial, action, its argument
# Of an error frame: first bit of its flag, end of its delimiter, sender, which of its message, tried before, what was
# found first, and by which node.
ErrorRow = tuple[int, int, int, int, int, Detection, str]


def drop(frame: Frame) -> None:
    """A frame that was offered is taken back for good."""
    frame[2].unfinished += 1
    if frame[2].queue is not None:
        frame[2].queue.inside -= 1


def row_packer(rows: bytearray | list[int]) -> Any:
    """What makes a row for ``rows`` out of ``COLUMNS``."""
    return Struct(f"{len(COLUMNS)}Q").pack if isinstance(rows, bytearray) else _unpacked


def _unpacked(*row: int) -> tuple[int, ...]:
    return row


class Kernel:
    """One run in the making. Times are ticks of ``base``."""

    def __init__(self, base: TimeBase, clock: Clock, senders: Sequence[Sender]) -> None:
        self.base = base
        self.clock = clock
        self.senders = senders
        # One number after the other, ``COLUMNS`` of them a frame: machine words unless ticks may outgrow them.
        self.rows: bytearray | list[int] = bytearray() if base.ticks_per_ns == 1 else []
        self._events: list[Event] = [(NEVER, PROGRESS, 0, None, None)]  # so that it is never empty
        self._pending: list[Frame] = []
        self._serials = count()  # first come, first served among equals
        self._behind = [0]  # frames that their controllers do not offer yet
        self.transmit: dict[str, TransmitQueue] = {}  # of the nodes that have no plain priority queue
        self.receive: dict[str, ReceiveFifo] = {}  # of the nodes that do not read in time
        self._happen_before = self._events_before()
        self.stations: dict[str, Station] = {}  # every node's error counters, where anything can go wrong
        self.error_rows: list[ErrorRow] = []

    def at(self, time: int, rank: int, action: Callable[[Any], None], argument: Any = None) -> None:
        """Call ``action(argument)`` at ``time``."""
        heappush(self._events, (time, rank, next(self._serials), action, argument))

    def release_from(self, sender: Sender, releases: Iterator[tuple[int, int]]) -> None:
        """Let ``sender`` be released at every time of ``releases`` (nominal, actual)."""
        nominal, actual = next(releases)
        event: Event = (actual, RELEASE, sender.index, (sender, releases), nominal)
        if sender.queue is not None:
            event = (actual, RELEASE_INTO, sender.index, self._release_into, (sender, releases, nominal))
        heappush(self._events, event)

    def _release_into(self, released: tuple[Sender, Iterator[tuple[int, int]], int]) -> None:
        sender, releases, nominal = released
        if not sender.mutes:
            self.queue(sender, nominal, self.clock.now)
        self.release_from(sender, releases)

    def fit_controllers(self, catalogue: Catalogue) -> None:
        """Give their own transmit queues to the nodes of ``catalogue`` that declare them."""
        self.transmit = transmit_queues(catalogue, self._pending, self._behind)
        for sender in self.senders:
            sender.queue = self.transmit.get(sender.node)

    def each(self, step: int, duty: Callable[[], None]) -> None:
        """Call ``duty()`` every ``step`` ticks, the first time one step from now."""
        heappush(self._events, (self.clock.now + step, DUTY, next(self._serials), duty, step))

    def queue(self, sender: Sender, nominal: int, ready: int) -> None:
        """Put one frame of ``sender`` into its node's transmit queue."""
        before = sender.count
        sender.count = before + 1
        frame = (sender.key, before, sender, nominal, ready, sender.make(sender.raws, before))
        if sender.queue is None:
            heappush(self._pending, frame)
        else:
            sender.queue.take(frame)

    def say(self, sender: Sender) -> None:
        """Queue one frame of an irregular message now, unless its node's transmitter is silent."""
        now = self.clock.now
        if sender.last_said is not None and now - sender.last_said < sender.apart:
            sender.said_too_soon += 1
        sender.last_said = now
        if not sender.mutes:
            self.queue(sender, now, now)

    def drop_muted(self) -> None:
        """Take the queued frames of silent senders out; they count as unfinished."""
        for frame in self._pending:
            if frame[2].mutes:
                drop(frame)
        for queue in self.transmit.values():
            if queue.is_muted():
                queue.drop_behind()
        self._pending[:] = sorted(frame for frame in self._pending if not frame[2].mutes)

    def run(self, until: int) -> None:
        """Go on until ``until`` ticks; frames that would end later are left unfinished."""
        idle_from = 0
        clock, join_ticks, events, pending = self.clock, self.base.join_ticks, self._events, self._pending
        happen_before, ticks_per_ns, rows, behind = self._happen_before, self.base.ticks_per_ns, self.rows, self._behind
        row_of = row_packer(rows)
        while True:
            due = events[0][0]
            if not pending:
                if due > until:
                    break
                happen_before(due + 1)
                continue
            start = idle_from if idle_from > clock.now else clock.now
            sampled = start + join_ticks
            if sampled > until:  # no frame is that short
                happen_before(until + 1)
                break
            if due <= start:  # during intermission, and in the instant of the start
                happen_before(start + 1)
                if not pending:
                    continue
                due = events[0][0]
            _, _, sender, nominal, ready, payload = heappop(pending) if due >= sampled else self._joined(sampled)
            waiting = len(pending) + behind[0]
            bit = sender.bit_ticks
            bits = sender.bits_of(payload)
            idle_from = start + bits * bit
            end = idle_from - INTERMISSION_BITS * bit
            if end > until:
                sender.unfinished += 1
                happen_before(until + 1)
                break
            if events[0][0] < end:
                happen_before(end)
            clock.now = end
            rows += row_of(sender.index, nominal, ready, start, payload, bits, waiting)
            sender.heard_at = end
            if sender.absence_listeners and not sender.watched:
                self.watch(sender)
            if sender.listeners:
                arrival = Arrival()
                arrival.codec = sender.codec
                arrival.payload = payload
                arrival.at_ns = end if ticks_per_ns == 1 else clock.ns(end)
                for listener in sender.listeners:
                    listener(arrival)
        self._end(until)

    def run_alone(self, until: int) -> None:
        """The same on a bus where nobody acknowledges: the applications run, and no frame is ever completed."""
        self._happen_before(until + 1)
        self._end(until)

    def _end(self, until: int) -> None:
        self.clock.now = until
        for frame in self._pending:
            frame[2].unfinished += 1
        for queue in self.transmit.values():
            queue.drop_behind()

    def _joined(self, limit: int) -> Frame:
        """The winner of an arbitration that frames may join until just before ``limit``, taken out of the queue.

        A node that was ready at the start of frame has sent it, and is committed to the frame it offered then; any
        other node offers the best it has at ``limit``.
        """
        pending = self._pending
        offered: dict[str, Frame] = {}
        for frame in pending:
            node = frame[2].node
            offered[node] = min(offered.get(node, frame), frame)
        for frame in offered.values():
            pending.remove(frame)
        self._happen_before(limit)
        joining = [frame for frame in pending if frame[2].node not in offered]
        winner = min((*offered.values(), *joining))
        if winner[2].node not in offered:
            pending.remove(winner)
        for frame in offered.values():
            if frame is not winner and frame[2].mutes:
                drop(frame)
            elif frame is not winner:
                pending.append(frame)
        heapify(pending)
        return winner

    def _events_before(self) -> Callable[[int], None]:
        """The function that lets all events earlier than its argument happen, in order."""
        events, pending, clock, serials = self._events, self._pending, self.clock, self._serials

        def happen_before(limit: int) -> None:
            while events[0][0] < limit:
                time, rank, serial, action, argument = events[0]
                clock.now = time
                if rank == RELEASE:
                    sender, releases = action
                    if not sender.mutes:  # as `queue` does, without the call
                        before = sender.count
                        sender.count = before + 1
                        heappush(
                            pending, (sender.key, before, sender, argument, time, sender.make(sender.raws, before))
                        )
                    nominal, actual = next(releases)
                    heapreplace(events, (actual, RELEASE, serial, action, nominal))
                elif rank == DUTY:
                    heapreplace(events, (time + argument, DUTY, next(serials), action, argument))
                    action()
                else:
                    heappop(events)
                    action(argument)

        return happen_before

    def watch(self, sender: Sender) -> None:
        """Tell ``sender.absence_listeners`` once it has not been heard for its ``lost_after``."""
        sender.watched = True
        self.at(sender.heard_at + sender.lost_after, MISSED, self._look_for, sender)

    def _look_for(self, sender: Sender) -> None:
        due = sender.heard_at + sender.lost_after
        if due > self.clock.now:
            self.at(due, MISSED, self._look_for, sender)
            return
        sender.watched = False
        for listener in sender.absence_listeners:
            listener(sender.message)
