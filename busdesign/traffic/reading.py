"""What a reader of recordings hands back, and how it gathers frames line by line: a bad line costs that line only."""

from array import array
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any, BinaryIO

import numpy as np
from numpy.typing import NDArray

from busdesign.traffic.frames import MAX_CHANNELS, Traffic, is_channel_name
from busdesign.units import NS_PER_S

MAX_LINE_BYTES = 4096  # a line beyond it is no frame, and is skipped without being held
MAX_BAD_LINES_KEPT = 100
_MAX_QUOTED = 120  # characters
_LAST_NS = 2**63 - 1
_UTF8_MARK = b"\xef\xbb\xbf"


@dataclass(frozen=True, slots=True)
class BadLine:
    """A line that is no frame: its number from 1, why, and how it begins (bytes that are no UTF-8 replaced)."""

    line: int
    reason: str
    quoted: str


@dataclass(frozen=True, eq=False, slots=True)
class Reading:
    """A recording as far as it could be read. Of the bad lines all are counted and the first 100 kept."""

    traffic: Traffic
    bad_lines: tuple[BadLine, ...] = ()
    bad_line_count: int = 0


class Gathering:
    """Frames and bad lines of one file while it is being read."""

    def __init__(self) -> None:
        self._end_ns, self._identifier, self._flags = array("q"), array("I"), array("B")
        self._length, self._channel, self._payload = array("B"), array("B"), array("Q")
        self._channels: dict[bytes, int] = {}
        self._line_count = 0
        self._bad_lines: list[BadLine] = []
        self._bad_line_count = 0

    def lines(self, stream: BinaryIO) -> Iterator[tuple[int, bytes]]:
        """Number and content of each line that is not blank, without its line end; overlong ones are refused."""
        while line := stream.readline(MAX_LINE_BYTES):
            self._line_count += 1
            if self._line_count == 1:
                line = line.removeprefix(_UTF8_MARK)
            if len(line) == MAX_LINE_BYTES and not line.endswith(b"\n"):
                self.refuse(self._line_count, line, f"the line is longer than {MAX_LINE_BYTES} bytes")
                _skip_rest_of_line(stream)
                continue
            line = line.strip()
            if line:
                yield self._line_count, line

    def add(self, end_ns: int, identifier: int, flags: int, length: int, channel: bytes, payload: int) -> None:
        """Keep one frame. Raises ValueError if its channel has no usable name, or is one too many."""
        index = self._channels.get(channel)
        if index is None:
            index = self._new_channel(channel)
        self._end_ns.append(end_ns)
        self._identifier.append(identifier)
        self._flags.append(flags)
        self._length.append(length)
        self._channel.append(index)
        self._payload.append(payload)

    def extend(self, columns: Sequence[NDArray[Any]]) -> None:
        """Keep the frames of as many lines: valid columns, in the order of ``add``, each channel as its index."""
        kept = (self._end_ns, self._identifier, self._flags, self._length, self._channel, self._payload)
        for column, more in zip(kept, columns, strict=True):
            column.frombytes(more.tobytes())
        self._line_count += len(columns[0])

    @property
    def channels(self) -> tuple[bytes, ...]:
        """The names seen so far, as written."""
        return tuple(self._channels)

    def refuse(self, number: int, line: bytes, reason: str) -> None:
        """Count one bad line."""
        self._bad_line_count += 1
        if len(self._bad_lines) < MAX_BAD_LINES_KEPT:
            quoted = line[: 4 * _MAX_QUOTED].decode(errors="replace")[:_MAX_QUOTED]
            self._bad_lines.append(BadLine(number, reason, quoted))

    def reading(self) -> Reading:
        """All that was gathered."""
        traffic = Traffic(
            np.array(self._end_ns, np.int64),
            np.array(self._identifier, np.uint32),
            np.array(self._flags, np.uint8),
            np.array(self._length, np.uint8),
            np.array(self._channel, np.uint8),
            np.array(self._payload, np.uint64),
            tuple(name.decode() for name in self._channels),
        )
        return Reading(traffic, tuple(self._bad_lines), self._bad_line_count)

    def _new_channel(self, written: bytes) -> int:
        try:
            usable = is_channel_name(written.decode())
        except UnicodeDecodeError:
            usable = False
        if not usable:
            raise ValueError(f"channel `{written.decode(errors='replace')}` is not a printable name")
        if len(self._channels) == MAX_CHANNELS:
            raise ValueError(f"channel `{written.decode()}` is one more than the {MAX_CHANNELS} that can be kept")
        return self._channels.setdefault(written, len(self._channels))


def time_ns(seconds: bytes, fraction: bytes) -> int:
    """Decimal seconds with up to nine decimals as whole ns, exactly. Raises ValueError beyond the year 2262."""
    time = int(seconds) * NS_PER_S + int(fraction.ljust(9, b"0"))
    if time > _LAST_NS:
        raise ValueError(f"time `{seconds.decode()}` s is beyond the last one that can be kept, 9223372036 s")
    return time


def _skip_rest_of_line(stream: BinaryIO) -> None:
    while rest := stream.readline(MAX_LINE_BYTES):
        if rest.endswith(b"\n"):
            return
