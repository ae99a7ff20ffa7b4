"""Error counters while a run goes on: counting, bus off and recovery, power, and what holds the pair for longer.

See `wire.confinement` for the rules, and `wire.held` for a pair on which nobody can be read.
"""

from collections.abc import Sequence

from busdesign.virtual.clocks import TimeBase
from busdesign.virtual.disturbances import Burst, Conditions, Level, Stuck, Who
from busdesign.virtual.kernel import FAULT, NEVER
from busdesign.virtual.node import Clock
from busdesign.virtual.segments import END, Flight, SegmentedKernel
from busdesign.virtual.senders import Sender
from busdesign.virtual.stations import Segment, Station
from busdesign.wire.confinement import RECESSIVE_RUN_BITS
from busdesign.wire.disturbed import DELIMITER_BITS, FLAG_BITS, Step, counted
from busdesign.wire.frame import INTERMISSION_BITS
from busdesign.wire.held import Hold, held_counts

AFTER_FLAG_BITS = DELIMITER_BITS + INTERMISSION_BITS

_LONGEST_HELD_BITS = 4096  # a receiver's counter would rise without end: it is not followed any further


class CountingKernel(SegmentedKernel):
    """One run in the making, whose nodes count errors."""

    def __init__(
        self, base: TimeBase, clock: Clock, senders: Sequence[Sender], nodes: Sequence[str], conditions: Conditions
    ) -> None:
        super().__init__(base, clock, senders, nodes, conditions)
        self._holds = sorted(_holds_of(conditions, base.ticks_per_ns), key=lambda hold: hold[0])
        for start, _, _ in self._holds:
            self.at(start, FAULT, self._hold_idle)
        for off in conditions.off:
            self.at(off.from_ns * base.ticks_per_ns, FAULT, self.switch_off, off.node)
            if off.until_ns is not None:
                self.at(off.until_ns * base.ticks_per_ns, FAULT, self.switch_on, off.node)

    def switch_off(self, node: str) -> None:
        """``node`` loses its power; so many times, so many reasons."""
        station = self.stations[node]
        station.offs += 1
        station.mute(1)
        self.drop_muted()
        for each in list(self._under_way):
            if isinstance(each, Flight) and each.sender.node == node:
                self._break_off(each)

    def switch_on(self, node: str) -> None:
        """One reason less for ``node`` to be without power; with the last one gone it begins anew."""
        station = self.stations[node]
        station.offs -= 1
        station.mute(-1)
        if not station.offs:
            if not station.takes_part:  # it was bus off when it lost its power
                station.mute(-1)
            station.reset(self.clock.now)

    def request_recovery(self, node: str) -> None:
        """Let ``node`` begin to recover, if it is bus off and stays so by itself."""
        station = self.stations[node]
        if not station.takes_part and not station.offs and station.runs_left is None:
            station.begin_recovery()
            segment = next(segment for segment in self._segments if node in segment.stations)
            segment.recessive_from = max(segment.recessive_from, self.clock.now)
            self._await_recovery(segment)

    def _count(self, station: Station, tec: int, rec: int) -> None:
        if station.count(self.clock.now, tec, rec):
            station.mute(1)
            self.drop_muted()
            if not station.stays_off:
                station.begin_recovery()

    def _await_recovery(self, segment: Segment) -> None:
        for name, station in segment.stations.items():
            if station.runs_left is not None:
                due = segment.recessive_from + station.runs_left * RECESSIVE_RUN_BITS * self.base.bit_ticks[name]
                self.at(max(due, self.clock.now), END, self._recover, (segment, segment.serial, station))

    def _recover(self, told: tuple[Segment, int, Station]) -> None:
        segment, serial, station = told
        is_stale = segment.serial != serial or segment.is_busy or segment not in self._segments
        if is_stale or station.runs_left is None or station.offs:
            return
        station.mute(-1)
        station.reset(self.clock.now)

    # What holds the bus.

    def _hold_at(self, at: int) -> tuple[int, Hold] | None:
        """What holds the pair at that time, and since when."""
        return next(((start, hold) for start, until, hold in self._holds if start <= at < until), None)

    def _held_until(self, at: int) -> int:
        """Until when the pair is held, from ``at`` on, whatever by."""
        for start, until, _ in self._holds:
            if start <= at < until:
                at = until
        return at

    def _hold_idle(self, _: object) -> None:
        """Something holds the bus; to nodes without a frame a dominant pair is a start of frame and a stuff error."""
        held = self._hold_at(self.clock.now)
        if held is None or held[1] is Hold.RECESSIVE:
            return
        for segment in self._segments:
            if segment.is_busy or not segment.stations:
                continue
            segment.begin(self.clock.now, self.base)
            bit = self.base.bit_ticks[next(iter(segment.stations))]
            flag = self.clock.now + FLAG_BITS * bit
            stations = [station for station in segment.stations.values() if station.takes_part]
            self._go_on_held(segment, [(station, flag, Step.RECEIVE_ERROR) for station in stations], held[1], bit)

    def _go_on_held(
        self, segment: Segment, told: Sequence[tuple[Station, int, Step | None]], hold: Hold, bit: int
    ) -> int:
        """Plan how counters go on from each one's flag on; when the segment is free again."""
        until = self._held_until(self.clock.now if not told else max(self.clock.now, min(flag for _, flag, _ in told)))
        last_flag = max((flag for _, flag, _ in told), default=self.clock.now)
        for station, flag, step in told:
            before = station.tec, station.rec
            after = counted(*before, () if step is None else (step,))
            self.at(flag, END, self._count_held, (station, before, after))
            for bits, tec, rec in held_counts(*after, hold, transmits=step is not Step.RECEIVE_ERROR):
                at = flag + bits * bit
                if at > until or bits > _LONGEST_HELD_BITS:
                    break
                before, after = after, (tec, rec)
                self.at(at, END, self._count_held, (station, before, after))
                if hold is Hold.RECESSIVE:
                    last_flag = max(last_flag, at)
        flags_end = last_flag + FLAG_BITS * bit
        if hold is not Hold.RECESSIVE:
            flags_end = max(until, flags_end)
        segment.free_from = flags_end + AFTER_FLAG_BITS * bit
        if flags_end < NEVER:
            self.at(flags_end, END, self._released, (segment, segment.serial, segment.free_from, flags_end))
        return segment.free_from

    def _released(self, told: tuple[Segment, int, int, int]) -> None:
        segment, serial, free, flags_end = told
        if segment.serial == serial:
            segment.end(free, flags_end)
            self._await_recovery(segment)

    def _count_held(self, told: tuple[Station, tuple[int, int], tuple[int, int]]) -> None:
        """Count as planned, unless the node has begun anew in between."""
        station, before, after = told
        if station.takes_part and (station.tec, station.rec) == before:
            self._count(station, *after)


def _holds_of(conditions: Conditions, ticks_per_ns: int) -> list[tuple[int, int, Hold]]:
    """What everybody reads whatever is sent, from when, and until when."""
    holds = []
    for source in conditions.sources:
        if isinstance(source, Burst | Stuck) and source.seen_by is Who.ALL:
            until = NEVER if source.until_ns is None else source.until_ns * ticks_per_ns
            holds.append((source.from_ns * ticks_per_ns, until, _hold_of(source)))
    return holds


def _hold_of(source: Burst | Stuck) -> Hold:
    if isinstance(source, Burst):
        return Hold.TURNED_OVER
    return Hold.DOMINANT if source.level is Level.DOMINANT else Hold.RECESSIVE
