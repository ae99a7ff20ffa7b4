"""The text log of SocketCAN again, for large files: a compiled loop for the common line, `text_log` for every other.

The loop takes a line only if it is a data frame written in the usual way; at any other line it stops, the plain reader
takes that line (and more, where common ones are few), and the loop goes on behind it. So `text_log` alone says what is
wrong with a line, and both readers give the same answer for any bytes. Importing this module loads numba.
"""

from collections.abc import Iterable
from functools import lru_cache
from itertools import islice
from typing import BinaryIO

import numpy as np
from numpy.typing import NDArray

from busdesign.catalogue.model import MAX_BASE_IDENTIFIER, MAX_CLASSICAL_BYTES, MAX_EXTENDED_IDENTIFIER
from busdesign.compiled import compiled
from busdesign.traffic.frames import MAX_CHANNEL_NAME_BYTES, MAX_CHANNELS
from busdesign.traffic.reading import Gathering, Reading
from busdesign.traffic.text_log import read_line
from busdesign.units import NS_PER_S
from busdesign.wire.flags import EXTENDED

_CHUNK_BYTES = 1 << 24
_CHUNK_ROWS = 1 << 16
_FEW_ROWS = 16  # fewer common lines than this in a row are few
_MAX_PLAIN_LINES = 255  # that the plain reader takes at a time

_MAX_SECONDS = (2**63 - 1) // NS_PER_S - 1  # the plain reader judges times near the last one that can be kept
_MAX_DECIMALS = 9
_OPEN, _CLOSE, _POINT, _HASH, _SPACE, _RETURN, _NEWLINE = b"().# \r\n"
_RECEIVED, _TRANSMITTED = b"RT"
_LOWER = 0x20  # the bit that makes an ASCII letter small
_NO_DIGIT = 255
_DIGITS = np.full(256, _NO_DIGIT, np.uint8)  # value of a hex digit; decimal ones are those below 10
for _value, _digit in enumerate("0123456789abcdef"):
    _DIGITS[[ord(_digit), ord(_digit.upper())]] = _value
_STEPS_NS = np.array([10 ** (9 - decimals) for decimals in range(10)], np.int64)  # of the last of so many decimals


def read(stream: BinaryIO) -> Reading:
    """All frames of a text log; ``stream`` must be seekable. The same answer as ``text_log.read``, sooner."""
    gathering = Gathering()
    lines = gathering.lines(stream)
    columns = tuple(np.empty(_CHUNK_ROWS, dtype) for dtype in ("i8", "u4", "u1", "u1", "u1", "u8"))
    while True:
        start = stream.tell()
        chunk = stream.read(_CHUNK_BYTES)
        if not chunk:
            return gathering.reading()
        data = np.frombuffer(chunk, np.uint8)[: chunk.rfind(b"\n") + 1]
        place = plain_lines = 0
        while place < data.size:
            rows, place = _common_lines(data, place, _DIGITS, _STEPS_NS, *_names(gathering.channels), *columns)
            gathering.extend([column[:rows] for column in columns])
            if rows < _CHUNK_ROWS and place < data.size:
                # Where common lines are few, as in a storm of error frames, changing over costs more than it brings.
                plain_lines = 1 if rows >= _FEW_ROWS else min(2 * plain_lines + 1, _MAX_PLAIN_LINES)
                stream.seek(start + place)
                _read_plainly(gathering, islice(lines, plain_lines))
                place = stream.tell() - start
        stream.seek(start + place)
        if data.size == 0:  # no line end in all of it: an overlong line, or the last one
            _read_plainly(gathering, islice(lines, 1))


def _read_plainly(gathering: Gathering, lines: Iterable[tuple[int, bytes]]) -> None:
    for number, line in lines:
        read_line(gathering, number, line)


@lru_cache(maxsize=1)  # they change with a new channel only
def _names(channels: tuple[bytes, ...]) -> tuple[NDArray[np.uint8], NDArray[np.int64]]:
    """Names as rows of bytes, each with the space behind it, and their lengths with it."""
    names = np.zeros((MAX_CHANNELS, MAX_CHANNEL_NAME_BYTES + 1), np.uint8)
    for row, name in enumerate(channels):
        names[row, : len(name) + 1] = np.frombuffer(name + b" ", np.uint8)
    return names, np.array([len(name) + 1 for name in channels], np.int64)


@compiled
def _common_lines(
    data: NDArray[np.uint8],
    place: int,
    digits: NDArray[np.uint8],
    steps_ns: NDArray[np.int64],
    names: NDArray[np.uint8],
    name_lengths: NDArray[np.int64],
    end_ns: NDArray[np.int64],
    identifiers: NDArray[np.uint32],
    flags: NDArray[np.uint8],
    lengths: NDArray[np.uint8],
    channels: NDArray[np.uint8],
    payloads: NDArray[np.uint64],
) -> tuple[int, int]:
    """Fill the columns from the lines at ``place`` on; return how many rows, and where the first line not taken begins.

    ``data`` ends with a line end, and no step below goes beyond one: that is why only the loop checks for the end.
    """
    channel = 0
    for row in range(end_ns.size):
        if place == data.size or data[place] != _OPEN:
            return row, place
        at = place + 1
        seconds = 0
        while digits[data[at]] < 10 and seconds <= _MAX_SECONDS:
            seconds = 10 * seconds + digits[data[at]]
            at += 1
        if at == place + 1 or at > place + 11 or seconds > _MAX_SECONDS or data[at] != _POINT:
            return row, place
        at += 1
        fraction, decimals = 0, 0
        while digits[data[at]] < 10 and decimals < _MAX_DECIMALS:
            fraction = 10 * fraction + digits[data[at]]
            decimals += 1
            at += 1
        if decimals == 0 or data[at] != _CLOSE or data[at + 1] != _SPACE:
            return row, place
        at += 2

        channel, at = _after_channel(data, at, channel, names, name_lengths)
        if channel < 0:
            return row, place

        identifier, first = 0, at
        while digits[data[at]] < 16 and at < first + 8:
            identifier = identifier << 4 | digits[data[at]]
            at += 1
        wide = at == first + 8
        if not wide and at != first + 3:
            return row, place
        if identifier > (MAX_EXTENDED_IDENTIFIER if wide else MAX_BASE_IDENTIFIER) or data[at] != _HASH:
            return row, place
        at += 1

        payload, length = np.uint64(0), 0
        while digits[data[at]] < 16 and length < MAX_CLASSICAL_BYTES:
            low = digits[data[at + 1]]
            if low > 15:
                return row, place
            payload |= np.uint64(digits[data[at]] << 4 | low) << np.uint64(8 * length)
            length += 1
            at += 2
        if data[at] == _SPACE and (data[at + 1] & ~_LOWER == _RECEIVED or data[at + 1] & ~_LOWER == _TRANSMITTED):
            at += 2
        if data[at] == _RETURN:
            at += 1
        if data[at] != _NEWLINE:
            return row, place
        place = at + 1

        end_ns[row] = seconds * NS_PER_S + fraction * steps_ns[decimals]
        identifiers[row], flags[row] = identifier, EXTENDED if wide else 0
        lengths[row], channels[row], payloads[row] = length, channel, payload
    return end_ns.size, place


@compiled
def _after_channel(
    data: NDArray[np.uint8], at: int, likely: int, names: NDArray[np.uint8], name_lengths: NDArray[np.int64]
) -> tuple[int, int]:
    """Which known channel is written at ``at``, tried from ``likely`` on, and the place behind it; -1 if none is."""
    for turn in range(-1, name_lengths.size):
        channel = likely if turn < 0 else turn
        if channel >= name_lengths.size:
            break
        same = 0
        while same < name_lengths[channel] and data[at + same] == names[channel, same]:
            same += 1
        if same == name_lengths[channel]:
            return channel, at + same
    return -1, at
