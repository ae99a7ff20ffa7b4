"""The nodes of a bus on which something goes wrong: their error counters, and who hears whom."""

from collections.abc import Iterable, Mapping, Sequence

from busdesign.virtual.clocks import TimeBase
from busdesign.virtual.senders import Sender
from busdesign.wire.confinement import (
    BUS_OFF,
    ERROR_PASSIVE,
    RECESSIVE_RUN_BITS,
    RECOVERY_RUNS,
    STATE_NAMES,
    Counters,
    state_of,
)


class Station:
    """One node's controller. Times are ticks."""

    __slots__ = (
        "changes",
        "hears_from",
        "name",
        "offs",
        "ready_from",
        "rec",
        "runs_left",
        "senders",
        "state",
        "stays_off",
        "tec",
        "was_sender",
    )

    def __init__(self, name: str, senders: Sequence[Sender], *, stays_off: bool) -> None:
        self.name = name
        self.senders = tuple(sender for sender in senders if sender.node == name)
        self.stays_off = stays_off  # once it is bus off, until it is asked to recover
        self.offs = 0  # reasons to be without power now
        self.tec, self.rec, self.state = 0, 0, state_of(0, 0)
        self.hears_from = 0  # before, its own error delimiter is not over
        self.was_sender = False  # of the frame to which that delimiter belongs
        self.ready_from = 0  # before, an error-passive node that has sent lets others go first
        self.runs_left: int | None = None  # of 11 recessive bits until it has recovered; None if it does not recover
        self.changes: list[tuple[int, int, int, str]] = [(0, 0, 0, STATE_NAMES[self.state])]

    @property
    def takes_part(self) -> bool:
        """Whether it hears, acknowledges and may send."""
        return not self.offs and self.state != BUS_OFF

    @property
    def is_passive(self) -> bool:
        return self.state == ERROR_PASSIVE

    def count(self, now: int, tec: int, rec: int) -> bool:
        """Take new counters; whether that has made it bus off."""
        if (tec, rec) == (self.tec, self.rec):
            return False
        before = self.state
        self.tec, self.rec, self.state = tec, rec, state_of(tec, rec)
        if self.changes[-1][0] == now:
            self.changes.pop()
        self.changes.append((now, tec, rec, STATE_NAMES[self.state]))
        return self.state == BUS_OFF != before

    def mute(self, more: int) -> None:
        """One reason more, or less, to send nothing."""
        for sender in self.senders:
            sender.mutes += more

    def begin_recovery(self) -> None:
        self.runs_left = RECOVERY_RUNS

    def reset(self, now: int) -> None:
        """Error active, as when it is switched on, or has recovered."""
        self.runs_left = None
        self.hears_from = self.ready_from = now
        self.count(now, 0, 0)


class Segment:
    """Nodes that hear each other: a bus of its own. Times are ticks."""

    __slots__ = ("free_from", "is_busy", "recessive_from", "serial", "stations")

    def __init__(self, stations: Iterable[Station], free_from: int) -> None:
        self.stations = {station.name: station for station in stations}
        self.free_from = free_from  # when the next frame may start
        self.recessive_from = free_from  # since when no dominant bit has been on it
        self.is_busy = False  # with a frame or an error frame, up to its intermission
        self.serial = 0  # of what was last on it

    def members(self) -> dict[str, Counters]:
        """The nodes that take part, and what they have counted."""
        return members_of(self.stations)

    def begin(self, start: int, base: TimeBase) -> None:
        """Something is on it from ``start`` on; nodes that recover have heard recessive bits until then."""
        self.is_busy = True
        self.serial += 1
        for name, station in self.stations.items():
            if station.runs_left is not None:
                run = RECESSIVE_RUN_BITS * base.bit_ticks[name]
                station.runs_left = max(station.runs_left - max(start - self.recessive_from, 0) // run, 1)

    def end(self, free_from: int, recessive_from: int) -> None:
        """Nothing is on it any more."""
        self.is_busy = False
        self.free_from = free_from
        self.recessive_from = recessive_from


def members_of(stations: Mapping[str, Station]) -> dict[str, Counters]:
    """Those of ``stations`` that take part, and what they have counted."""
    return {name: Counters(station.tec, station.rec) for name, station in stations.items() if station.takes_part}


def split(stations: Iterable[Station], partings: Iterable[Sequence[frozenset[str]]]) -> list[list[Station]]:
    """Who hears whom while all of ``partings`` last: two nodes do that are of one group in each of them."""
    partings = list(partings)
    together: dict[tuple[object, ...], list[Station]] = {}
    for station in stations:
        key = tuple(_group_of(station.name, groups) for groups in partings)
        together.setdefault(key, []).append(station)
    return list(together.values())


def _group_of(name: str, groups: Sequence[frozenset[str]]) -> object:
    return next((number for number, group in enumerate(groups) if name in group), name)
