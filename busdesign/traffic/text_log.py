"""The text log of SocketCAN, one frame a line: ``(12.000540) can0 110#0200``.

    (seconds.decimals) channel IDENTIFIER#DATA     a data frame: 3 hex digits are 11 bits, 8 are 29 bits
    (seconds.decimals) channel IDENTIFIER#R4       a remote frame and its length code; none is 0, `R8_F` is 15
    (seconds.decimals) channel 20000080#DATA       an error frame: bit 29 is set, below it the error class

An ``R`` or ``T`` after the frame (received, transmitted) is accepted and not kept. A last line that was cut within its
data, between two bytes, cannot be told from a shorter frame: the format carries no length.
"""

import re
from collections.abc import Iterator
from functools import lru_cache
from typing import BinaryIO

import numpy as np

from busdesign.catalogue.model import MAX_BASE_IDENTIFIER, MAX_EXTENDED_IDENTIFIER
from busdesign.traffic.frames import MAX_CHANNEL_NAME_BYTES, Traffic
from busdesign.traffic.reading import Gathering, Reading, read_whole, time_ns
from busdesign.units import NS_PER_S
from busdesign.wire.flags import ERROR, EXTENDED, REMOTE
from busdesign.wire.frame import LARGEST_LENGTH_BYTES

ERROR_BIT = 0x2000_0000  # CAN_ERR_FLAG, Linux kernel, include/uapi/linux/can.h

_LINE = re.compile(
    rb"\((\d{1,10})(?:\.(\d{1,9}))?\)[ \t]+(\S{1,64})[ \t]+([0-9A-Fa-f]{8}|[0-9A-Fa-f]{3})"
    rb"#(?:((?:[0-9A-Fa-f]{2}){0,8})|[Rr]([0-8]|8_[9A-Fa-f])?)(?:[ \t]+[RTrt])?\Z"
)
_PARTS = re.compile(rb"(\S+)[ \t]+(\S+)[ \t]+(\S+)(?:[ \t]+[RTrt])?\Z")
_TIME = re.compile(rb"\(\d{1,10}(?:\.\d{1,9})?\)\Z")
_IDENTIFIER = re.compile(rb"(?:[0-9A-Fa-f]{3}|[0-9A-Fa-f]{8})\Z")
_PAIRS = re.compile(rb"(?:[0-9A-Fa-f]{2})*\Z")
_RAW_LENGTH_CODE = re.compile(rb"[0-9A-Fa-f]{16}_[9A-Fa-f]\Z")


def read(stream: BinaryIO) -> Reading:
    """All frames of a text log; every line that is none is counted, with the reason."""
    return read_whole(blocks, stream)


def blocks(stream: BinaryIO, gathering: Gathering) -> Iterator[Traffic]:
    """The same, a block at a time."""
    for number, line in gathering.lines(stream):
        read_line(gathering, number, line)
        if gathering.is_full:
            yield gathering.take()
    yield from gathering.rest()


def read_line(gathering: Gathering, number: int, line: bytes) -> None:
    """Add the frame that ``line`` says to ``gathering``, or refuse the line."""
    match = _LINE.match(line)
    if match is None:
        gathering.refuse(number, line, _why_not(line))
        return
    seconds, decimals, channel, identifier, data, code = match.groups()
    try:
        _add(gathering, time_ns(seconds, decimals or b""), channel, identifier, data, code)
    except ValueError as reason:
        gathering.refuse(number, line, str(reason))


def _add(
    gathering: Gathering, end_ns: int, channel: bytes, written: bytes, data: bytes | None, code: bytes | None
) -> None:
    identifier, flags = _identifier_and_flags(written)
    if data is not None:
        payload = bytes.fromhex(data.decode())
        gathering.add(end_ns, identifier, flags, len(payload), channel, int.from_bytes(payload, "little"))
    elif flags & ERROR:
        raise ValueError("an error frame cannot be a remote frame")
    else:
        gathering.add(end_ns, identifier, flags | REMOTE, int(code[-1:], 16) if code else 0, channel, 0)


@lru_cache(maxsize=4096)
def _identifier_and_flags(written: bytes) -> tuple[int, int]:
    identifier = int(written, 16)
    if len(written) == 3:
        if identifier > MAX_BASE_IDENTIFIER:
            raise ValueError(f"identifier `{written.decode()}` does not fit 11 bits, 7FF is the last")
        return identifier, 0
    if identifier <= MAX_EXTENDED_IDENTIFIER:
        return identifier, EXTENDED
    if identifier <= MAX_EXTENDED_IDENTIFIER | ERROR_BIT:
        return identifier ^ ERROR_BIT, ERROR
    raise ValueError(f"identifier `{written.decode()}` does not fit 29 bits, 1FFFFFFF is the last")


def _why_not(line: bytes) -> str:
    """What is wrong with a line that has not the shape of a frame."""
    parts = _PARTS.match(line)
    if parts is None:
        return "expected `(seconds) channel identifier#data`, found something else"
    time, channel, frame = parts.groups()
    if not _TIME.match(time):
        return f"expected a time such as `(12.000540)` with at most 9 decimals, found `{_shown(time)}`"
    if len(channel) > MAX_CHANNEL_NAME_BYTES:
        return f"the channel's name is longer than {MAX_CHANNEL_NAME_BYTES} bytes"
    identifier, mark, data = frame.partition(b"#")
    if not mark:
        return f"expected `identifier#data`, found `{_shown(frame)}`"
    if not _IDENTIFIER.match(identifier):
        return f"expected an identifier of 3 or 8 hex digits, found `{_shown(identifier)}`"
    if data.startswith(b"#"):
        return "FD frames are not read yet"
    if data[:1] in b"Rr" and data:
        return f"expected a length code 0 to 8, or 8_9 to 8_F, after the R, found `{_shown(data[1:])}`"
    if _RAW_LENGTH_CODE.match(data):
        return f"a data frame with the length code {int(data[-1:], 16)} is not read yet"
    if not _PAIRS.match(data):
        return f"expected data as pairs of hex digits, found `{_shown(data)}`"
    return f"a classical frame has at most {LARGEST_LENGTH_BYTES} data bytes, found {len(data) // 2}"


def _shown(part: bytes) -> str:
    return part[:40].decode(errors="replace")


def write(traffic: Traffic) -> bytes:
    """The text log of ``traffic``: 6 decimals if all times are whole microseconds, else 9; hex digits upper case."""
    in_microseconds = not np.any(traffic.end_ns % 1000)
    decimals, step_ns = (6, 1000) if in_microseconds else (9, 1)
    seconds, within_second = np.divmod(traffic.end_ns, NS_PER_S)
    digits = traffic.payload.astype("<u8").tobytes().hex().upper()
    columns = zip(
        seconds.tolist(),
        (within_second // step_ns).tolist(),
        traffic.identifier.tolist(),
        traffic.flags.tolist(),
        traffic.length.tolist(),
        traffic.channel.tolist(),
        range(0, len(digits), 16),
        strict=True,
    )
    channels = traffic.channels
    return "".join(
        f"({second}.{rest:0{decimals}d}) {channels[channel]} {_written(identifier, flags)}#"
        f"{_remote(length) if flags & REMOTE else digits[place : place + 2 * length]}\n"
        for second, rest, identifier, flags, length, channel, place in columns
    ).encode()


class Encoder:
    """Traffic as the lines of a text log, a part after the other."""

    def encode(self, traffic: Traffic) -> bytes:
        """The lines of ``traffic``."""
        return write(traffic)


def _written(identifier: int, flags: int) -> str:
    if flags & ERROR:
        return f"{identifier | ERROR_BIT:08X}"
    return f"{identifier:08X}" if flags & EXTENDED else f"{identifier:03X}"


def _remote(length_code: int) -> str:
    if length_code > LARGEST_LENGTH_BYTES:
        return f"R{LARGEST_LENGTH_BYTES}_{length_code:X}"
    return f"R{length_code}" if length_code else "R"
