"""The text log of SocketCAN again, for large files: compiled loops for common lines, `text_log` for every other.

`common_lines` takes the lines it knows for certain; what it does not take, `text_log` reads, and it alone says what is
wrong with a line. So both give the same answer for any bytes. Importing this module loads numba.
"""

from collections.abc import Iterator
from functools import lru_cache
from typing import Any, BinaryIO

import numpy as np

from busdesign.traffic.common_lines import after_last_newline, after_newline, read_common_lines
from busdesign.traffic.frames import MAX_CHANNEL_NAME_BYTES, MAX_CHANNELS, Traffic
from busdesign.traffic.reading import MAX_LINE_BYTES, Gathering, Reading, read_whole
from busdesign.traffic.text_log import read_line

_CHUNK_BYTES = 1 << 19  # with a block's columns in a cache of 2 MB
_BEYOND = 64  # bytes behind a chunk that words may be loaded from
_FEW_ROWS = 16  # fewer compiled lines than this in a row are few
_MAX_PLAIN_LINES = 255  # that the plain reader takes at a time


def read(stream: BinaryIO) -> Reading:
    """All frames of a text log. The same answer as ``text_log.read``, sooner."""
    return read_whole(blocks, stream)


def blocks(stream: BinaryIO, gathering: Gathering) -> Iterator[Traffic]:
    """The same, a block at a time."""
    lines = _Lines(stream)
    plain_lines = 0
    while lines.more():
        if lines.is_unended:
            yield from _read_plainly(lines, gathering, 1)
        while lines.place < lines.end:
            rows = _read_compiled(lines, gathering)
            if gathering.is_full:
                yield gathering.take()
            elif lines.place < lines.end:
                # Where common lines are few, as among lines of FD frames, changing over costs more than it brings.
                plain_lines = 1 if rows >= _FEW_ROWS else min(2 * plain_lines + 1, _MAX_PLAIN_LINES)
                yield from _read_plainly(lines, gathering, plain_lines)
    yield from gathering.rest()


class _Lines:
    """A stream as whole lines, many at a time: those from ``place`` to ``end`` of ``data``, then ``more``."""

    def __init__(self, stream: Any) -> None:
        self._stream = stream
        self._size = max(_CHUNK_BYTES, 2 * MAX_LINE_BYTES)
        self.data = np.zeros(self._size + _BEYOND, np.uint8)
        self._bytes = memoryview(self.data)  # type: ignore[arg-type]
        self._filled = self.place = self.end = 0
        self.is_unended = False  # between place and end is the last line, or the beginning of one that fills the chunk

    def more(self) -> bool:
        """Read on; False at the end of the stream, when nothing is left."""
        if self.is_unended:
            self._skip_line()
        left = self._filled - self.end
        self.data[:left] = self.data[self.end : self._filled].copy()
        count = self._stream.readinto(self._bytes[left : self._size])
        self.place, self._filled = 0, left + count
        self.end = after_last_newline(self.data, self._filled)
        if self.end == 0 and (count == 0 or self._filled == self._size):
            self.is_unended, self.end = self._filled > 0, self._filled
        return count > 0 or self.is_unended

    def next(self) -> bytes:
        """The line at ``place``, no more than ``MAX_LINE_BYTES`` of it; ``place`` goes behind its end."""
        start, self.place = self.place, after_newline(self.data, self.place, self.end)
        return bytes(self._bytes[start : min(self.place, start + MAX_LINE_BYTES)])

    def _skip_line(self) -> None:
        self.is_unended = False
        while True:
            self._filled = self._stream.readinto(self._bytes[: self._size])
            self.end = after_newline(self.data, 0, self._filled)
            if self._filled == 0 or self.data[self.end - 1] == ord("\n"):
                return


def _read_plainly(lines: _Lines, gathering: Gathering, count: int) -> Iterator[Traffic]:
    for _ in range(count):
        if lines.place == lines.end:
            return
        if line := gathering.content(lines.next()):
            read_line(gathering, gathering.line_count, line)
        if gathering.is_full:
            yield gathering.take()


def _read_compiled(lines: _Lines, gathering: Gathering) -> int:
    """Take lines while they are common ones and the block has room; return how many."""
    start = gathering.rows
    names, columns = _names(gathering.channels), gathering.columns
    gathering.rows, lines.place = read_common_lines(lines.data, lines.place, lines.end, names, start, columns)
    gathering.line_count += gathering.rows - start
    return gathering.rows - start


@lru_cache(maxsize=1)  # they change with a new channel only
def _names(channels: tuple[bytes, ...]) -> tuple[Any, ...]:
    """Names as rows of bytes, each with the space behind it; their lengths with it; their first words and masks."""
    names = np.zeros((MAX_CHANNELS, MAX_CHANNEL_NAME_BYTES + 8), np.uint8)
    for row, name in enumerate(channels):
        names[row, : len(name) + 1] = np.frombuffer(name + b" ", np.uint8)
    lengths = np.array([len(name) + 1 for name in channels], np.int64)
    words = np.ascontiguousarray(names[: len(channels), :8]).view("<u8").astype(np.uint64).reshape(-1)
    masks = np.array([2 ** (8 * min(int(length), 8)) - 1 for length in lengths], np.uint64)
    return names, lengths, words, masks
