"""How readers gather frames into blocks, and note what they could not read: a bad line costs that line only."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from typing import Any, BinaryIO, TypeAlias, overload

import numpy as np
from numpy.typing import NDArray

from busdesign.traffic.frames import DTYPES, MAX_CHANNELS, Traffic, concatenate, is_channel_name
from busdesign.units import NS_PER_S

BLOCK_FRAMES = 1 << 16  # in 1.5 MB of columns, memory that the allocator hands out again, warm
MAX_LINE_BYTES = 4096  # a line beyond it is no frame, and is skipped without being held
MAX_BAD_LINES_KEPT = 100
MAX_NOTICES = 20
_MAX_QUOTED = 120  # characters
_LAST_NS = 2**63 - 1
_UTF8_MARK = b"\xef\xbb\xbf"


@dataclass(frozen=True, slots=True)
class BadLine:
    """A line that is no frame: its number from 1, why, and how it begins (bytes that are no UTF-8 replaced).

    Of a file that has no lines, ``line`` counts its blocks or its frames.
    """

    line: int
    reason: str
    quoted: str


class BadLines(Sequence[BadLine]):
    """The first hundred bad lines of a recording; ``total`` says how many there were in all."""

    def __init__(self, kept: Sequence[BadLine] = (), total: int = 0) -> None:
        self._kept = list(kept)
        self.total = total

    def note(self, bad: BadLine) -> None:
        """Count one more."""
        self.total += 1
        if len(self._kept) < MAX_BAD_LINES_KEPT:
            self._kept.append(bad)

    def __len__(self) -> int:
        return len(self._kept)

    @overload
    def __getitem__(self, index: int) -> BadLine: ...
    @overload
    def __getitem__(self, index: slice) -> list[BadLine]: ...
    def __getitem__(self, index: int | slice) -> BadLine | list[BadLine]:
        return self._kept[index]


@dataclass(frozen=True, eq=False, slots=True)
class Reading:
    """A recording as far as it could be read. Of the bad lines all are counted and the first 100 kept.

    ``notices`` are sentences about the file as a whole, for the user to know.
    """

    traffic: Traffic
    bad_lines: tuple[BadLine, ...] = ()
    bad_line_count: int = 0
    notices: tuple[str, ...] = field(default=())


class Gathering:
    """The frames of one block, and the bad lines of the whole file, while it is being read.

    ``columns`` are those of ``Traffic`` in its order, ``rows`` of them filled. A reader that fills one itself sets
    ``rows``; it puts in nothing that ``Traffic`` would refuse.
    """

    def __init__(self, block_frames: int = BLOCK_FRAMES) -> None:
        self.block_frames = block_frames
        self.bad_lines = BadLines()
        self.notices: list[str] = []
        self.resolution_ns: int | None = None  # of the recorder's clock, where the file says it
        self.line_count = 0
        self._channels: dict[bytes, int] = {}
        self._renew()

    def _renew(self) -> None:
        self.rows = 0
        self.columns: tuple[NDArray[Any], ...] = tuple(np.empty(self.block_frames, dtype) for dtype in DTYPES.values())
        views = [memoryview(column) for column in self.columns]  # type: ignore[arg-type]
        self._end_ns, self._identifier, self._flags, self._length, self._channel, self._payload = views

    def lines(self, stream: BinaryIO) -> Iterator[tuple[int, bytes]]:
        """Number and content of each line that is not blank, without its line end; overlong ones are refused."""
        while raw := stream.readline(MAX_LINE_BYTES):
            if len(raw) == MAX_LINE_BYTES and not raw.endswith(b"\n"):
                _skip_rest_of_line(stream)
            content = self.content(raw)
            if content:
                yield self.line_count, content

    def content(self, raw: bytes) -> bytes:
        """Count one more line: the first ``MAX_LINE_BYTES`` of it. Empty if it is blank, or overlong and refused."""
        self.line_count += 1
        is_overlong = len(raw) == MAX_LINE_BYTES and not raw.endswith(b"\n")
        if self.line_count == 1:
            raw = raw.removeprefix(_UTF8_MARK)
        if is_overlong:
            self.refuse(self.line_count, raw, f"the line is longer than {MAX_LINE_BYTES} bytes")
            return b""
        return raw.strip()

    def add(self, end_ns: int, identifier: int, flags: int, length: int, channel: bytes, payload: int) -> None:
        """Keep one frame. Raises ValueError if its channel has no usable name, or is one too many.

        The block must not be full.
        """
        index = self._channels.get(channel)
        if index is None:
            index = self.new_channel(channel)
        row = self.rows
        self._end_ns[row] = end_ns
        self._identifier[row] = identifier
        self._flags[row] = flags
        self._length[row] = length
        self._channel[row] = index
        self._payload[row] = payload
        self.rows = row + 1

    @property
    def is_full(self) -> bool:
        """Whether the block must be taken before another frame is kept."""
        return self.rows == self.block_frames

    def take(self) -> Traffic:
        """The block as it is; a new one begins."""
        traffic = Traffic.of_valid([column[: self.rows] for column in self.columns], self.channel_names)
        self._renew()
        return traffic

    def rest(self) -> Iterator[Traffic]:
        """The last block, unless it is empty."""
        if self.rows:
            yield self.take()

    @property
    def channels(self) -> tuple[bytes, ...]:
        """The names seen so far, as written."""
        return tuple(self._channels)

    @property
    def channel_names(self) -> tuple[str, ...]:
        """The same as text."""
        return tuple(name.decode() for name in self._channels)

    def refuse(self, number: int, line: bytes, reason: str) -> None:
        """Count one bad line."""
        quoted = line[: 4 * _MAX_QUOTED].decode(errors="replace")[:_MAX_QUOTED]
        self.bad_lines.note(BadLine(number, reason, quoted))

    def notice(self, text: str) -> None:
        """Note something about the file as a whole, once."""
        if text not in self.notices and len(self.notices) < MAX_NOTICES:
            self.notices.append(text)

    def new_channel(self, written: bytes) -> int:
        """The index of one more channel. Raises ValueError as ``add``."""
        try:
            usable = is_channel_name(written.decode())
        except UnicodeDecodeError:
            usable = False
        if not usable:
            raise ValueError(f"channel `{written.decode(errors='replace')}` is not a printable name")
        if len(self._channels) == MAX_CHANNELS:
            raise ValueError(f"channel `{written.decode()}` is one more than the {MAX_CHANNELS} that can be kept")
        return self._channels.setdefault(written, len(self._channels))


BlockReader: TypeAlias = Callable[[BinaryIO, Gathering], Iterator[Traffic]]
"""Reads a stream to its end, a block at a time."""


def read_whole(reader: BlockReader, stream: BinaryIO, block_frames: int = BLOCK_FRAMES) -> Reading:
    """All that ``reader`` makes of ``stream``, in one piece."""
    gathering = Gathering(block_frames)
    blocks = list(reader(stream, gathering))
    return Reading(
        joined(blocks, gathering.channel_names),
        tuple(gathering.bad_lines),
        gathering.bad_lines.total,
        tuple(gathering.notices),
    )


def joined(blocks: Sequence[Traffic], channels: tuple[str, ...]) -> Traffic:
    """Blocks of one recording in one piece. Its channels begin with those of each block."""
    if not blocks:
        return Traffic.empty(channels)
    if len(blocks) == 1:
        return blocks[0]
    return concatenate(blocks)


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
