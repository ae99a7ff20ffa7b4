"""The kernel for a run in which something goes wrong on the wire: errors, retransmission, error counters, bus off.

It is slower than `Kernel`, and taken only where it is needed (`kernel_for`).

Coarser than the wire, besides what `wire.disturbed` and `wire.held` say:

- Counters change, and a frame goes back into its queue, where the error flags end.
- What hits an error frame is ignored, and an idle bus is hit by nothing, except for what holds the bus: a `Burst` that
  everybody sees, and a `Stuck` pair.
- A node whose own error delimiter is not over when a frame starts misses it, counts once for that, and begins anew: it
  is back where the bus is idle for three bits, or where flags of others end.
- Of several nodes that send at once on a pair that is stuck recessive each counts, but they keep step with one of them.
- When wires open or close, or a sender loses power, its frame is broken off there for all of its segment.
- A node that is bus off drops what it has queued, and queues nothing until it has recovered.
"""

from collections.abc import Sequence
from heapq import heapify

from busdesign.virtual.clocks import TimeBase
from busdesign.virtual.counting import AFTER_FLAG_BITS, CountingKernel
from busdesign.virtual.disturbances import Conditions, first_hits, hears_it
from busdesign.virtual.kernel import NEVER, Kernel
from busdesign.virtual.node import Clock
from busdesign.virtual.segments import END, Flight
from busdesign.virtual.senders import Sender
from busdesign.virtual.stations import Station, members_of
from busdesign.virtual.wires import wire_of
from busdesign.wire.confinement import RECESSIVE_RUN_BITS, Counters
from busdesign.wire.disturbed import DELIMITER_BITS, FLAG_BITS, SUSPENSION_BITS, Outcome, Step, counted, outcome
from busdesign.wire.frame import INTERMISSION_BITS
from busdesign.wire.held import Hold, held_frame
from busdesign.wire.views import Kind, Reading

LONGEST_ARBITRATION_BITS = 33 + 32 // 4  # of an extended frame, with as many stuff bits as there can be


def kernel_for(
    base: TimeBase, clock: Clock, senders: Sequence[Sender], nodes: Sequence[str], conditions: Conditions
) -> Kernel:
    """The kernel that a bus of ``nodes`` needs under ``conditions``: the fast one, unless something can go wrong.

    A single node is acknowledged by nobody, so that goes wrong as well.
    """
    if conditions or len(nodes) < 2:
        return DisturbedKernel(base, clock, senders, nodes, conditions)
    return Kernel(base, clock, senders)


class DisturbedKernel(CountingKernel):
    """One run in the making, with whatever ``conditions`` say."""

    def __init__(
        self, base: TimeBase, clock: Clock, senders: Sequence[Sender], nodes: Sequence[str], conditions: Conditions
    ) -> None:
        super().__init__(base, clock, senders, nodes, conditions)
        self._sources = conditions.sources

    def _fly(self, flight: Flight) -> None:
        attempt, members = flight.attempt, flight.segment.members()
        for station in self._deaf(flight):
            del members[station.name]
        flight.segment.free_from = flight.at_bit(attempt.bits)
        hits = first_hits(self._sources, attempt)
        if not hits and len(members) > 1:
            self.at(flight.at_bit(attempt.end_bit), END, self._sent, flight)
            return
        wrong: dict[int, frozenset[str]] = {}
        late = flight.joined if hits and hits[0].bit == 0 else ()
        rivals = {
            node: wire_of(frame[2].message, frame[5])
            for node, frame in flight.rivals.items()
            if node in members
            and hits
            and node not in late
            and hits[0].bit < LONGEST_ARBITRATION_BITS
            and frame[0] != flight.frame[0]  # a second sender of one identifier: `faults.sources.Collision`
        }
        found = outcome(attempt.wire_of(), attempt.node, members, wrong, rivals)
        while hits and (found.flag_bit is None or hits[0].bit < found.flag_bit):
            bit = hits[0].bit
            seers = (name for hit in hits for name in members if hears_it(hit.seen_by, name, attempt.node))
            wrong[bit] = frozenset(seers)
            found = outcome(attempt.wire_of(), attempt.node, members, wrong, rivals)
            hits = first_hits(self._sources, attempt, bit + 1)
        self._end_as(flight, found)

    def _deaf(self, flight: Flight) -> list[Station]:
        """The start of frame is a form error to nodes whose error delimiter is not over: they begin it anew."""
        start = flight.attempt.start
        flight.deaf = [one for one in flight.stations.values() if one.takes_part and one.hears_from > start]
        for station in flight.deaf:
            step = Step.TRANSMIT_ERROR if station.was_sender else Step.RECEIVE_ERROR
            self._count(station, *counted(station.tec, station.rec, (step,)))
        return flight.deaf

    def _end_as(self, flight: Flight, found: Outcome) -> None:
        """Plan the end of a frame."""
        if found.is_sent and found.sender != flight.sender.node:
            self._give_way(flight, found.sender)
        flight.is_wrong = not found.is_sent
        if found.flag_bit is not None and flight.is_wrong:
            hold = self._hold_at(flight.at_bit(found.flag_bit))
            if hold is not None:
                self._end_held(flight, found, *hold)
                return
        flight.segment.free_from = flight.at_bit(found.free_bit)
        if found.is_sent or found.accepted_by:
            self.at(flight.at_bit(flight.attempt.end_bit), END, self._accepted, (flight, found))
        if found.flag_bit is not None:
            self.at(flight.at_bit(found.free_bit - AFTER_FLAG_BITS), END, self._flagged, (flight, found))

    def _give_way(self, flight: Flight, node: str) -> None:
        """The most urgent frame has lost the arbitration to one of ``node``, which goes on."""
        frame = flight.rivals.pop(node)
        flight.rivals[flight.sender.node] = flight.frame
        self._pending.remove(frame)
        heapify(self._pending)
        self._put_back(flight.frame)
        flight.frame = frame
        flight.attempt = self._attempt_of(frame, flight.attempt.start)

    def _sent(self, flight: Flight) -> None:
        """A frame has ended, and everybody has it."""
        if flight.is_off:
            return
        members = {
            name: station
            for name, station in flight.stations.items()
            if station.takes_part and station not in flight.deaf
        }
        for name, station in members.items():
            if station.tec or station.rec:
                step = Step.TRANSMITTED if name == flight.sender.node else Step.RECEIVED
                self._count(station, *counted(station.tec, station.rec, (step,)))
        self._complete(flight, set(members))
        self._suspend(flight.stations[flight.sender.node], flight.at_bit(flight.attempt.bits))
        self._free(flight, flight.attempt.bits)

    def _accepted(self, told: tuple[Flight, Outcome]) -> None:
        """A frame has ended for those who hold it for valid; flags may still be to come."""
        flight, found = told
        if flight.is_off:
            return
        if not found.is_sent:
            self._deliver(flight, set(found.accepted_by))
            return
        self._complete(flight, {*found.accepted_by, flight.sender.node})
        if found.flag_bit is None:
            self._count_steps(flight, found)
            self._free(flight, found.free_bit)
            self._come_back(flight, found)

    def _flagged(self, told: tuple[Flight, Outcome]) -> None:
        """The flags of an error frame, or of an overload frame, have ended."""
        flight, found = told
        if flight.is_off:
            return
        if flight.is_wrong:
            self._note_error(flight, found, flight.at_bit(found.free_bit - INTERMISSION_BITS))
            self._again(flight)
        self._count_steps(flight, found)
        self._free(flight, found.free_bit)
        self._come_back(flight, found)
        if self._hold_at(self.clock.now) is not None:
            self._hold_idle(None)

    def _complete(self, flight: Flight, nodes: set[str]) -> None:
        """A frame counts as sent."""
        _, number, sender, nominal, ready, payload = flight.frame
        attempt = flight.attempt
        flight.is_done = True
        self.rows += self._row_of(sender.index, nominal, ready, attempt.start, payload, attempt.bits, flight.waiting)
        self._tries.pop((sender.index, number), None)
        self._deliver(flight, nodes)

    def _again(self, flight: Flight) -> None:
        """A frame was broken off, and waits to be sent again."""
        key = flight.sender.index, flight.frame[1]
        self._tries[key] = self._tries.get(key, 0) + 1
        self._put_back(flight.frame)

    def _free(self, flight: Flight, free_bit: int) -> None:
        """The segment is free from ``free_bit`` on."""
        self._under_way.remove(flight)
        for station in flight.deaf:  # six recessive bits from the acknowledge delimiter on end its flag
            is_whole = flight.is_done and free_bit == flight.attempt.bits
            over = free_bit - RECESSIVE_RUN_BITS + (FLAG_BITS if is_whole else 0) + DELIMITER_BITS
            station.hears_from = flight.at_bit(over)
            station.ready_from = max(station.ready_from, flight.at_bit(over + INTERMISSION_BITS))
        flight.segment.end(flight.at_bit(free_bit), flight.at_bit(free_bit - RECESSIVE_RUN_BITS))
        self._await_recovery(flight.segment)

    def _come_back(self, flight: Flight, found: Outcome) -> None:
        """Nodes that sent a passive flag, or more than one the frame, may send again at a time of their own."""
        for name, bit in found.free_bits.items():
            station = flight.stations[name]
            station.hears_from = max(station.hears_from, flight.at_bit(bit - INTERMISSION_BITS))
            station.was_sender = name in found.transmitters
            station.ready_from = max(station.ready_from, flight.at_bit(bit))
        for name in found.transmitters:
            self._suspend(flight.stations[name], flight.at_bit(found.free_bits.get(name, found.free_bit)))

    def _suspend(self, station: Station, free: int) -> None:
        if station.is_passive:
            station.ready_from = free + SUSPENSION_BITS * self.base.bit_ticks[station.name]

    def _break_off(self, flight: Flight) -> None:
        attempt = flight.attempt
        bit = max((self.clock.now - attempt.start) // attempt.bit, 0)
        if flight.is_wrong or bit >= attempt.end_bit:
            return
        members = {attempt.node: Counters()} | members_of(flight.stations)  # its sender may have lost its power
        found = outcome(attempt.wire_of(), attempt.node, members, {bit: frozenset(members)})
        anew = Flight(flight.segment, flight.frame, attempt, flight.rivals, flight.waiting)
        anew.stations = flight.stations
        flight.is_off = True
        self._under_way[self._under_way.index(flight)] = anew
        self._end_as(anew, found)

    def _note_error(self, flight: Flight, found: Outcome, end: int) -> None:
        assert found.flag_bit is not None
        first = (name for name, seen in sorted(found.detected.items()) if seen.flag_bit == found.flag_bit)
        by = next(first, flight.sender.node)
        seen, attempt = found.detected[by], flight.attempt
        self.error_rows.append(
            (flight.at_bit(found.flag_bit), end, flight.sender.index, flight.frame[1], attempt.tried, seen, by)
        )

    def _count_steps(self, flight: Flight, found: Outcome) -> None:
        for name, steps in found.steps.items():
            station = flight.stations[name]
            if station.takes_part:
                self._count(station, *counted(station.tec, station.rec, steps))

    def _end_held(self, flight: Flight, found: Outcome, since: int, hold: Hold) -> None:
        """Plan the end of a frame on a pair that is held from within it, or before, until after its error flag."""
        attempt = flight.attempt
        from_bit = max((since - attempt.start) // attempt.bit, 0)
        held = held_frame(attempt.wire_of(), from_bit, hold)
        told: list[tuple[Station, int, Step | None]] = []
        for name, station in flight.stations.items():
            sends = name == attempt.node or (name in flight.rivals and from_bit == 0 and hold is not Hold.DOMINANT)
            reading = held.transmitter if sends else held.receivers
            if not station.takes_part or reading.flag_bit is None:
                continue
            told.append(
                (
                    station,
                    flight.at_bit(reading.flag_bit),
                    _step_of(reading, station, transmits=sends and not held.lost_arbitration),
                )
            )
        free = self._go_on_held(flight.segment, told, hold, attempt.bit)
        for station, _, step in told:
            if step is not Step.RECEIVE_ERROR and free < NEVER:
                station.ready_from = max(station.ready_from, free + SUSPENSION_BITS * attempt.bit)
        flags_end = min(free, max(flag for _, flag, _ in told) + FLAG_BITS * attempt.bit)
        self.at(flags_end, END, self._broken_off, (flight, found, free))

    def _broken_off(self, told: tuple[Flight, Outcome, int]) -> None:
        flight, found, free = told
        if not flight.is_off:
            self._under_way.remove(flight)
            self._note_error(flight, found, free - INTERMISSION_BITS * flight.attempt.bit)
            self._again(flight)


def _step_of(reading: Reading, station: Station, *, transmits: bool) -> Step | None:
    """Why the counters of a node change that finds this wrong on a held pair; None if the standard excuses it."""
    if not transmits:
        return Step.RECEIVE_ERROR
    is_excused = reading.kind is Kind.STUFF or (reading.kind is Kind.ACKNOWLEDGE and station.is_passive)
    return None if is_excused else Step.TRANSMIT_ERROR
