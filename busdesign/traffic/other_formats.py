"""Recordings in any other format that the python-can library reads, by their suffix, through that library alone.

Nothing is promised of them: what the library skips, changes or loses in silence cannot be seen from here. ``_KNOWN``
says what was found by trying (python-can 4.6.1), and each such recording is read with that notice.
"""

import os
import warnings
from collections.abc import Iterator
from typing import Any, BinaryIO

from busdesign.catalogue.model import MAX_BASE_IDENTIFIER, MAX_CLASSICAL_BYTES, MAX_EXTENDED_IDENTIFIER
from busdesign.traffic.frames import Traffic, is_channel_name
from busdesign.traffic.reading import Gathering
from busdesign.units import NS_PER_S
from busdesign.wire.flags import ERROR, EXTENDED, REMOTE
from busdesign.wire.frame import LARGEST_LENGTH_CODE

_KNOWN = {
    ".asc": "lines that it does not understand are skipped in silence, and one with wrong hex digits ends the reading",
    ".trc": "error, remote and FD frames may be missing, and a line with wrong hex digits ends the reading",
    ".blf": "a damaged part ends the reading, with all that follows it",
    ".db": "the mark of an FD frame is lost, so that it reads as a classical one",
}
_COARSE_FROM_S = 1 << 22  # a float of seconds is finer than a nanosecond below, and than a microsecond up to 2**32
_SUFFIXES_OF_OURS = (".log", ".csv")


def suffixes() -> tuple[str, ...]:
    """What the installed library reads beside our own formats. Loads the library."""
    from can.io import MESSAGE_READERS

    return tuple(sorted(suffix for suffix in MESSAGE_READERS if suffix not in _SUFFIXES_OF_OURS))


def blocks(stream: BinaryIO, gathering: Gathering) -> Iterator[Traffic]:
    """The frames as the library hands them over, a block at a time; its first error ends them and is counted."""
    import can

    name = os.fspath(stream.name)
    suffix = os.path.splitext(name.lower().removesuffix(".gz"))[1]
    known = _KNOWN.get(suffix, "what it skips or changes cannot be seen")
    gathering.notice(f"`{suffix}` is read by the python-can library, without promise: {known}")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        try:
            with can.LogReader(name) as reader:
                for message in reader:
                    gathering.line_count += 1
                    _add(gathering, message)
                    if gathering.is_full:
                        yield gathering.take()
        except Exception as reason:  # whatever a library raises on a damaged file
            text = f"the library stops after {gathering.line_count} frames: {type(reason).__name__}: {reason}"
            gathering.refuse(gathering.line_count + 1, b"", text[:300])
    yield from gathering.rest()


def _add(gathering: Gathering, message: Any) -> None:
    try:
        channel = "can0" if message.channel is None else str(message.channel)
        channel = f"can{channel}" if channel.isdigit() else channel
        if not is_channel_name(channel):
            raise ValueError(f"channel `{channel[:40]}` is not a printable name")
        identifier, flags, length, data = _frame(message)
        end_ns = _time_ns(float(message.timestamp))
        gathering.add(end_ns, identifier, flags, length, channel.encode(), int.from_bytes(data, "little"))
    except (ValueError, TypeError, OverflowError) as reason:
        gathering.refuse(gathering.line_count, str(message)[:100].encode(), str(reason))


def _frame(message: Any) -> tuple[int, int, int, bytes]:
    """Identifier, flags, length and data. Raises ValueError."""
    if message.is_fd:
        raise ValueError("FD frames are not read yet")
    identifier, data = int(message.arbitration_id), bytes(message.data or b"")
    if message.is_error_frame:
        flags = ERROR
    else:
        flags = (EXTENDED if message.is_extended_id else 0) | (REMOTE if message.is_remote_frame else 0)
    last = MAX_EXTENDED_IDENTIFIER if flags & (EXTENDED | ERROR) else MAX_BASE_IDENTIFIER
    if not 0 <= identifier <= last:
        raise ValueError(f"identifier {identifier:#x} is beyond {last:#x}")
    if flags & REMOTE:
        length = int(message.dlc)
        if not 0 <= length <= LARGEST_LENGTH_CODE:
            raise ValueError(f"length code {length} is not within 0..{LARGEST_LENGTH_CODE}")
        return identifier, flags, length, b""
    if len(data) > MAX_CLASSICAL_BYTES:
        raise ValueError(f"a classical frame has at most {MAX_CLASSICAL_BYTES} data bytes, found {len(data)}")
    return identifier, flags, len(data), data


def _time_ns(seconds: float) -> int:
    """Raises ValueError, or OverflowError for an infinite time."""
    time = round(seconds * 1e6) * 1000 if seconds >= _COARSE_FROM_S else round(seconds * NS_PER_S)
    if not 0 <= time < 2**63:
        raise ValueError(f"time {seconds} s cannot be kept")
    return time
