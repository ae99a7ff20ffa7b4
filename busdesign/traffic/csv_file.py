"""Frames as comma-separated values, one a row, exact to the nanosecond, for spreadsheets and scripts.

    time_s,channel,identifier,format,length_bytes,data
    0.000540000,can0,0x110,base,2,02 00
    0.001210000,can0,0x18FF0010,extended remote,4,

``time_s`` is the end of end-of-frame. ``format`` is base (11-bit identifier) or extended (29-bit), with ``remote`` for
a remote frame, whose ``length_bytes`` is its length code; or error, with the error class as identifier. A row whose
length contradicts its data is no frame, so that a line cut short does not pass for a shorter frame. Lines that begin
with ``#`` are comments.
"""

import csv
import re
from collections.abc import Iterator
from typing import BinaryIO

import numpy as np

from busdesign.catalogue.model import MAX_BASE_IDENTIFIER, MAX_EXTENDED_IDENTIFIER
from busdesign.findings import did_you_mean
from busdesign.traffic.frames import Traffic
from busdesign.traffic.reading import Gathering, Reading, read_whole, time_ns
from busdesign.units import NS_PER_S
from busdesign.wire.flags import ERROR, EXTENDED, REMOTE
from busdesign.wire.frame import LARGEST_LENGTH_CODE

HEADER = "time_s,channel,identifier,format,length_bytes,data"
_FLAGS = {"base": 0, "extended": EXTENDED, "base remote": REMOTE, "extended remote": EXTENDED | REMOTE, "error": ERROR}
_FORMATS = {flags: name for name, flags in _FLAGS.items()}

_ROW = re.compile(
    rb'(\d{1,10})(?:\.(\d{1,9}))?,((?:"(?:[^"]|"")+")|[^",\s]+),0x([0-9A-Fa-f]{1,8}),([a-z ]+),(\d{1,2}),'
    rb"((?:[0-9A-Fa-f]{2} ?){0,8})\Z"
)
_COLUMNS = {  # name: the shape of its values once unquoted, and an example
    "time_s": (re.compile(r"\d{1,10}(\.\d{1,9})?", re.ASCII), "12.000540000"),
    "channel": (re.compile(r"\S+"), "can0"),
    "identifier": (re.compile(r"0x[0-9A-Fa-f]{1,8}"), "0x110"),
    "format": (re.compile(r"[a-z ]+"), "base"),
    "length_bytes": (re.compile(r"\d{1,2}", re.ASCII), "2"),
    "data": (re.compile(r"([0-9A-Fa-f]{2} ?){0,8}"), "02 00"),
}


def read(stream: BinaryIO) -> Reading:
    """All frames of the file; every row that is none is counted, with the reason."""
    return read_whole(blocks, stream)


def blocks(stream: BinaryIO, gathering: Gathering) -> Iterator[Traffic]:
    """The same, a block at a time."""
    header = HEADER.encode()
    is_first = True
    for number, line in gathering.lines(stream):
        match = _ROW.match(line)
        if match is not None:
            _add_row(gathering, number, line, match)
        elif line.startswith(b"#"):
            continue
        elif line != header:
            gathering.refuse(number, line, f"expected the header `{HEADER}`" if is_first else _why_not(line))
        is_first = False
        if gathering.is_full:
            yield gathering.take()
    yield from gathering.rest()


def _add_row(gathering: Gathering, number: int, line: bytes, match: re.Match[bytes]) -> None:
    seconds, decimals, channel, identifier, frame_format, length, data = match.groups()
    if channel.startswith(b'"'):
        channel = channel[1:-1].replace(b'""', b'"')
    try:
        _add(
            gathering,
            time_ns(seconds, decimals or b""),
            channel,
            int(identifier, 16),
            frame_format.decode(),
            int(length),
            bytes.fromhex(data.decode()),
        )
    except ValueError as reason:
        gathering.refuse(number, line, str(reason))


def _add(
    gathering: Gathering, end_ns: int, channel: bytes, identifier: int, name: str, length: int, data: bytes
) -> None:
    flags = _FLAGS.get(name)
    if flags is None:
        raise ValueError(f"`{name}` is no frame format; {did_you_mean(name, _FLAGS)}")
    last = MAX_EXTENDED_IDENTIFIER if flags & (EXTENDED | ERROR) else MAX_BASE_IDENTIFIER
    if identifier > last:
        raise ValueError(f"identifier {identifier:#x} is beyond {last:#x}, the last one of format `{name}`")
    if flags & REMOTE:
        if data:
            raise ValueError(f"a remote frame carries no data, found {len(data)} bytes")
        if length > LARGEST_LENGTH_CODE:
            raise ValueError(f"length code {length} is not within 0..{LARGEST_LENGTH_CODE}")
    elif length != len(data):
        raise ValueError(f"length_bytes is {length}, but there are {len(data)} data bytes")
    gathering.add(end_ns, identifier, flags, length, channel, int.from_bytes(data, "little"))


def _why_not(line: bytes) -> str:
    """What is wrong with a line that has not the shape of a row."""
    try:
        values = next(csv.reader([line.decode(errors="replace")]))
    except csv.Error as reason:
        return f"the row cannot be split into values: {reason}"
    if len(values) != len(_COLUMNS):
        return f"expected {len(_COLUMNS)} values, found {len(values)}"
    for (name, (shape, example)), value in zip(_COLUMNS.items(), values, strict=True):
        if not shape.fullmatch(value):
            return f"expected {name} such as `{example}`, found `{value[:40]}`"
    return "the row has not the shape of the header"


def write(traffic: Traffic) -> bytes:
    """The file's content for ``traffic``; the same traffic gives the same bytes."""
    return Encoder().encode(traffic)


class Encoder:
    """Traffic as the rows of the file, a part after the other, below one header."""

    def __init__(self) -> None:
        self._is_begun = False

    def encode(self, traffic: Traffic) -> bytes:
        """The rows of ``traffic``; the first time the header goes before them."""
        head = b"" if self._is_begun else f"{HEADER}\n".encode()
        self._is_begun = True
        return head + _rows(traffic)


def _rows(traffic: Traffic) -> bytes:
    seconds, within_second = np.divmod(traffic.end_ns, NS_PER_S)
    digits = traffic.payload.astype("<u8").tobytes().hex(" ").upper() + " "
    columns = zip(
        seconds.tolist(),
        within_second.tolist(),
        traffic.identifier.tolist(),
        traffic.flags.tolist(),
        traffic.length.tolist(),
        traffic.channel.tolist(),
        range(0, 24 * len(traffic), 24),
        strict=True,
    )
    channels = [_quoted(name) for name in traffic.channels]
    rows = (
        f"{second}.{rest:09d},{channels[channel]},{_identifier(identifier, flags)},{_FORMATS[flags]},{length},"
        f"{'' if flags & REMOTE else digits[place : place + 3 * length].rstrip()}\n"
        for second, rest, identifier, flags, length, channel, place in columns
    )
    return "".join(rows).encode()


def _identifier(identifier: int, flags: int) -> str:
    return f"0x{identifier:03X}" if not flags & EXTENDED else f"0x{identifier:08X}"


def _quoted(name: str) -> str:
    if '"' in name or "," in name:
        return '"' + name.replace('"', '""') + '"'
    return name
