"""Some of the frames of a capture, with what every check needs: whose they are, how long, when they began."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from busdesign.bench.limits import Recorder
from busdesign.catalogue.model import Catalogue, Message
from busdesign.traffic.decode import Columns
from busdesign.traffic.frames import Traffic
from busdesign.traffic.select import flags_of
from busdesign.wire.columns import frame_bits_of_columns
from busdesign.wire.flags import ERROR, EXTENDED, REMOTE
from busdesign.wire.frame import INTERMISSION_BITS

NOBODY, ERROR_FRAME = -1, -2
SCALE_BITS = 20  # a time of one bit is kept in parts of 2**-20 ns, so that whole columns stay whole numbers
_REMOTE_KEY = 1 << 11
_WIDE_KEY = 1 << 30


class Lookup:
    """Which message of a catalogue a frame is of."""

    def __init__(self, messages: Sequence[Message]) -> None:
        self._base = np.full(2 * _REMOTE_KEY, NOBODY, np.int16)
        wide: dict[int, int] = {}
        for index, message in enumerate(messages):
            if message.identifier is None:
                continue
            remote = bool(flags_of(message) & REMOTE)
            if message.extended:
                wide[message.identifier + _WIDE_KEY * remote] = index
            else:
                self._base[message.identifier + _REMOTE_KEY * remote] = index
        self._wide_keys = np.array(sorted(wide), np.uint32)
        self._wide = np.array([wide[key] for key in sorted(wide)], np.int16)

    def of(self, traffic: Traffic) -> NDArray[np.int16]:
        """For each frame the index of its message, NOBODY, or ERROR_FRAME; int16 [n]."""
        flags = traffic.flags
        remote = (flags & np.uint8(REMOTE)) != 0
        low = (traffic.identifier & np.uint32(_REMOTE_KEY - 1)).astype(np.int64)
        found: NDArray[np.int16] = self._base[low + _REMOTE_KEY * remote]
        special = np.flatnonzero(flags & np.uint8(EXTENDED | ERROR))
        if len(special):
            keys = traffic.identifier[special] + np.uint32(_WIDE_KEY) * remote[special].astype(np.uint32)
            found[special] = self._wide_of(keys)
            found[special[(flags[special] & np.uint8(ERROR)) != 0]] = ERROR_FRAME
        return found

    def _wide_of(self, keys: NDArray[np.uint32]) -> NDArray[np.int16]:
        if not len(self._wide):
            return np.full(len(keys), NOBODY, np.int16)
        at = np.searchsorted(self._wide_keys, keys).clip(0, len(self._wide) - 1)
        return np.where(self._wide_keys[at] == keys, self._wide[at], NOBODY).astype(np.int16)


@dataclass(frozen=True, slots=True)
class Group:
    """The frames of one message in a block: ``rows`` int64 [m], ascending."""

    index: int
    message: Message
    rows: NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class Block:
    """Consecutive frames; columns of shape [n].

    ``which`` int16: index of the message, or NOBODY, or ERROR_FRAME. ``bits`` int64: exact, with intermission, 0 for
    an error frame. ``start_ns``, ``idle_ns`` int64: start of frame, and end of intermission. ``first``: the number of
    the first frame in the capture, from 0.
    """

    traffic: Traffic
    which: NDArray[np.int16]
    bits: NDArray[np.int64]
    start_ns: NDArray[np.int64]
    idle_ns: NDArray[np.int64]
    first: int
    messages: Sequence[Message]

    def __len__(self) -> int:
        return len(self.which)

    @cached_property
    def groups(self) -> tuple[Group, ...]:
        """The frames of each message that is there, in the catalogue's order."""
        order = np.argsort(self.which, kind="stable")
        ordered = self.which[order]
        begins = np.flatnonzero(np.diff(ordered, prepend=np.int16(ERROR_FRAME - 1)))
        parts = zip(ordered[begins].tolist(), np.split(order, begins[1:]), strict=True)
        return tuple(Group(index, self.messages[index], rows) for index, rows in parts if index >= 0)

    def columns(self, group: Group) -> Columns:
        """The frames of ``group`` that carry all bytes of their message."""
        found = self._columns.get(group.index)
        if found is None:
            rows, is_whole = group.rows, self.traffic.length[group.rows] >= group.message.length_bytes
            rows = rows if is_whole.all() else rows[is_whole]
            found = Columns(group.message, rows, self.traffic.end_ns[rows], self.traffic.payload[rows])
            self._columns[group.index] = found
        return found

    @cached_property
    def _columns(self) -> dict[int, Columns]:
        return {}

    def shown(self, row: int) -> str:
        """One frame as people write it: ``0x110 [2] 02 00``."""
        traffic = self.traffic
        flags = int(traffic.flags[row])
        if flags & ERROR:
            return "error frame"
        identifier = f"0x{int(traffic.identifier[row]):0{8 if flags & EXTENDED else 3}X}"
        content = "remote" if flags & REMOTE else traffic.data(row).hex(" ").upper()
        return f"{identifier} [{int(traffic.length[row])}] {content}".rstrip()


class Blocks:
    """Makes blocks of a capture's columns as they come."""

    def __init__(self, catalogue: Catalogue, recorder: Recorder) -> None:
        self._messages, self._recorder = catalogue.messages, recorder
        self._lookup = Lookup(catalogue.messages)
        self._bit = int(catalogue.bus.bit_ns * (1 << SCALE_BITS))
        self._first = 0

    def of(self, traffics: Iterator[Traffic]) -> Iterator[Block]:
        """One block for each of ``traffics`` that holds frames."""
        for traffic in traffics:
            if len(traffic):
                yield self._block(traffic)
                self._first += len(traffic)

    def _block(self, traffic: Traffic) -> Block:
        bits = frame_bits_of_columns(traffic.identifier, traffic.flags, traffic.length, traffic.payload)
        wide = bits.astype(np.int64)
        tail_ns = (INTERMISSION_BITS * self._bit) >> SCALE_BITS
        on_wire_ns = np.maximum((wide - INTERMISSION_BITS) * self._bit >> SCALE_BITS, 0)
        if self._recorder.stamps == "start":
            start = traffic.end_ns
            idle = start + on_wire_ns + tail_ns
        else:
            start = traffic.end_ns - on_wire_ns
            idle = traffic.end_ns + tail_ns
        return Block(traffic, self._lookup.of(traffic), wide, start, idle, self._first, self._messages)
