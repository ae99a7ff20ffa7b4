"""Frames in time as numpy columns: what was said on the bus, simulated or recorded.

    end_ns      identifier  flags             length  channel  payload
      540_000        0x110  0                      2        0  0x0000_0000_0000_0002   (data 02 00)
    1_210_000   0x18FF0010  EXTENDED               0        1  0
    1_900_000        0x7F0  REMOTE                 8        0  0

One row is one frame; a column is one array.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any, Self, TypeAlias

import numpy as np
from numpy.typing import NDArray

from busdesign.catalogue.model import MAX_BASE_IDENTIFIER, MAX_CLASSICAL_BYTES, MAX_EXTENDED_IDENTIFIER
from busdesign.wire.flags import ERROR, EXTENDED, FD, REMOTE
from busdesign.wire.frame import LARGEST_LENGTH_CODE

MAX_CHANNELS = 256  # an index is one byte
MAX_CHANNEL_NAME_BYTES = 64  # as UTF-8; our choice, four times what Linux allows an interface
BUS_ERROR_CLASS = 0x80  # in the identifier of an error frame: "bus error", Linux kernel, include/uapi/linux/can/error.h


Row: TypeAlias = tuple[int, int, int, int, int, int]
"""End [ns], identifier, flags, length, index of the channel, payload: one frame in the order of the columns."""

Rows: TypeAlias = slice | NDArray[np.bool_] | NDArray[np.int64]

DTYPES: dict[str, np.dtype[Any]] = {
    "end_ns": np.dtype(np.int64),
    "identifier": np.dtype(np.uint32),
    "flags": np.dtype(np.uint8),
    "length": np.dtype(np.uint8),
    "channel": np.dtype(np.uint8),
    "payload": np.dtype(np.uint64),
}

_FLAGS = frozenset((0, EXTENDED, REMOTE, EXTENDED | REMOTE, ERROR))

# For each length the bits of a payload that no data byte fills.
_BEYOND_DATA = np.array([2**64 - 2 ** (8 * min(length, 8)) for length in range(LARGEST_LENGTH_CODE + 1)], np.uint64)


@dataclass(frozen=True, eq=False, slots=True)
class Traffic:
    """Frames in the order they were seen, as columns of shape [n]; what exists is valid, and read only.

    - ``end_ns`` int64: end of the last bit of end-of-frame, in ns from the start of the run or of the recorder's
      clock, 0 or later. A damaged capture's times may go back.
    - ``identifier`` uint32: 11 bits, or 29 where flagged EXTENDED. Of an error frame it is the error class of
      SocketCAN (``BUS_ERROR_CLASS`` if nothing more is known), up to 29 bits.
    - ``flags`` uint8: those of ``wire.flags``. An error frame carries ERROR alone.
    - ``length`` uint8: data bytes, 0..8; of a remote frame the length code, 0..15.
    - ``channel`` uint8: index into ``channels``, distinct names without spaces.
    - ``payload`` uint64: byte i of the data at bits 8 i .. 8 i + 7, zero above; zero in a remote frame.
    - ``blob``: room for the data of FD frames longer than 8 bytes, whose payload will be an offset into it. FD
      frames are not kept yet.

    Raises ValueError for columns that break this.
    """

    end_ns: NDArray[np.int64]
    identifier: NDArray[np.uint32]
    flags: NDArray[np.uint8]
    length: NDArray[np.uint8]
    channel: NDArray[np.uint8]
    payload: NDArray[np.uint64]
    channels: tuple[str, ...] = ("can0",)
    blob: bytes = b""

    def __post_init__(self) -> None:
        for name in DTYPES:
            object.__setattr__(self, name, _read_only(name, getattr(self, name), len(self.end_ns)))
        _check_channels(self)
        _check_rows(self)

    @classmethod
    def of_rows(cls, rows: Iterable[Row], channels: tuple[str, ...] = ("can0",)) -> Self:
        """Traffic from one tuple a frame. Raises ValueError."""
        columns = list(zip(*rows, strict=True)) or [()] * len(DTYPES)
        if len(columns) != len(DTYPES):
            raise ValueError(f"a row has {len(DTYPES)} values ({', '.join(DTYPES)}), got {len(columns)}")
        arrays: dict[str, Any] = {name: _array(name, column) for name, column in zip(DTYPES, columns, strict=True)}
        return cls(**arrays, channels=channels)

    @classmethod
    def of_valid(cls, columns: Sequence[NDArray[Any]], channels: tuple[str, ...]) -> Self:
        """Traffic of columns in their order that are known to break no rule above: they are not checked again."""
        traffic = object.__new__(cls)
        for name, column in zip(DTYPES, columns, strict=True):
            view = column.view()
            view.flags.writeable = False
            object.__setattr__(traffic, name, view)
        object.__setattr__(traffic, "channels", channels)
        object.__setattr__(traffic, "blob", b"")
        return traffic

    @classmethod
    def empty(cls, channels: tuple[str, ...] = ("can0",)) -> Self:
        """No frame at all."""
        return cls.of_rows((), channels)

    def __len__(self) -> int:
        return len(self.end_ns)

    def __getitem__(self, rows: Rows) -> "Traffic":
        """The frames of a slice, of a boolean mask of shape [n], or of an array of row numbers, in that order."""
        if not isinstance(rows, slice | np.ndarray):
            raise TypeError(f"traffic is indexed by a slice, a mask or row numbers, not by {type(rows).__name__}")
        chosen = object.__new__(Traffic)  # a choice of valid rows is valid: no second check
        for name in DTYPES:
            column = getattr(self, name)[rows]
            column.flags.writeable = False
            object.__setattr__(chosen, name, column)
        object.__setattr__(chosen, "channels", self.channels)
        object.__setattr__(chosen, "blob", self.blob)
        return chosen

    def data(self, row: int) -> bytes:
        """The data of one frame; of a remote frame none. Raises IndexError."""
        if self.flags[row] & REMOTE:
            return b""
        return int(self.payload[row]).to_bytes(MAX_CLASSICAL_BYTES, "little")[: self.length[row]]

    def channel_name(self, row: int) -> str:
        """The channel on which one frame was seen. Raises IndexError."""
        return self.channels[int(self.channel[row])]

    def equal(self, other: "Traffic") -> bool:
        """Whether both say the same in every frame. Channels count by name, not by index."""
        columns = [name for name in DTYPES if name != "channel"]
        if not all(np.array_equal(getattr(self, name), getattr(other, name)) for name in columns):
            return False
        index_of = {name: index for index, name in enumerate(self.channels)}
        absent = MAX_CHANNELS  # equals no index of ours
        renumber = np.array([index_of.get(name, absent) for name in other.channels], np.int64)
        return np.array_equal(self.channel, renumber[other.channel])


def concatenate(parts: Sequence[Traffic]) -> Traffic:
    """The frames of all ``parts``, one part after the other whatever their times. Raises ValueError."""
    if not parts:
        return Traffic.empty()
    channels = tuple(dict.fromkeys(name for part in parts for name in part.channels))
    if len(channels) > MAX_CHANNELS:
        raise ValueError(f"{len(channels)} channels are too many, allowed: {MAX_CHANNELS}")
    renumbered = []
    for part in parts:
        renumber = np.array([channels.index(name) for name in part.channels], np.uint8)
        renumbered.append(renumber[part.channel])
    joined = [
        np.concatenate(renumbered if name == "channel" else [getattr(part, name) for part in parts]) for name in DTYPES
    ]
    return Traffic.of_valid(joined, channels)


def is_channel_name(name: str) -> bool:
    """Whether a channel may be called so: printable, no spaces, not long, so that every file format can carry it."""
    printable = bool(name) and name.isprintable() and not any(character.isspace() for character in name)
    return printable and len(name.encode()) <= MAX_CHANNEL_NAME_BYTES


def require_row(row: Row, channel: str) -> None:
    """Raise ValueError unless ``row`` is a frame that ``Traffic`` keeps, on a channel of that name; its index is free.

    The rules of ``Traffic`` for one frame, without an array.
    """
    end_ns, identifier, flags, length, _, payload = row
    is_remote = bool(flags & REMOTE)
    last = MAX_EXTENDED_IDENTIFIER if flags & (EXTENDED | ERROR) else MAX_BASE_IDENTIFIER
    if not 0 <= end_ns < 2**63:
        raise ValueError(f"end_ns {end_ns} is not within 0 and 2**63 - 1")
    if flags not in _FLAGS:
        raise ValueError(f"flags {flags} are none of a classical frame")
    if not 0 <= identifier <= last:
        raise ValueError(f"identifier {identifier:#x} is not within 0 and {last:#x}")
    if not 0 <= length <= (LARGEST_LENGTH_CODE if is_remote else MAX_CLASSICAL_BYTES):
        raise ValueError(f"length {length} is none of such a frame")
    if not 0 <= payload < (1 if is_remote else 1 << 8 * length):
        raise ValueError(f"payload {payload:#x} does not fit {0 if is_remote else length} data bytes")
    if not is_channel_name(channel):
        raise ValueError(f"channel {channel!r} is no name")


def _array(name: str, values: Sequence[int]) -> NDArray[Any]:
    room = np.iinfo(DTYPES[name])
    for value in (min(values, default=0), max(values, default=0)):
        if not room.min <= value <= room.max:  # older numpy would wrap it around
            raise ValueError(f"{name} {value} does not fit its column, {room.min}..{room.max}")
    return np.array(values, DTYPES[name])


def _read_only(name: str, column: NDArray[Any], count: int) -> NDArray[Any]:
    if not isinstance(column, np.ndarray) or column.dtype != DTYPES[name] or column.shape != (count,):
        found = f"{column.dtype} {column.shape}" if isinstance(column, np.ndarray) else type(column).__name__
        raise ValueError(f"{name} must be an array of {DTYPES[name]} and of shape ({count},), got {found}")
    view = column.view()  # the caller's own array stays as writable as it was
    view.flags.writeable = False
    return view


def _check_channels(traffic: Traffic) -> None:
    channels = traffic.channels
    if len(channels) > MAX_CHANNELS or len(set(channels)) != len(channels):
        raise ValueError(f"channels must be at most {MAX_CHANNELS} distinct names, got {channels}")
    for name in channels:
        if not is_channel_name(name):
            raise ValueError(f"channel {name!r} is no name: up to 64 bytes, printable and without spaces, are allowed")


def _check_rows(traffic: Traffic) -> None:
    """One pass a rule over the columns; the first row that breaks one is named."""
    flags, length = traffic.flags, traffic.length
    error, remote, wide = ((flags & np.uint8(flag)) != 0 for flag in (ERROR, REMOTE, EXTENDED | ERROR))
    _refuse(traffic.end_ns < 0, "ends before 0")
    _refuse((flags & np.uint8(FD)) != 0, "is flagged FD, and FD frames are not kept yet")
    _refuse(flags > EXTENDED | REMOTE | ERROR, "has flags beyond EXTENDED, REMOTE and ERROR")
    _refuse(error & (flags != ERROR), "is an error frame with more flags than ERROR")
    _refuse(traffic.identifier > MAX_EXTENDED_IDENTIFIER, "has an identifier beyond 29 bits")
    _refuse((traffic.identifier > MAX_BASE_IDENTIFIER) & ~wide, "has an identifier beyond 11 bits")
    _refuse(length > LARGEST_LENGTH_CODE, "has a length code beyond 15")
    _refuse((length > MAX_CLASSICAL_BYTES) & ~remote, "is longer than 8 data bytes")
    _refuse((traffic.payload & _BEYOND_DATA[length]) != 0, "has payload bits beyond its data")
    _refuse((traffic.payload != 0) & remote, "is a remote frame with a payload")
    _refuse(traffic.channel >= len(traffic.channels), f"is on none of the {len(traffic.channels)} channels")


def _refuse(broken: NDArray[np.bool_], what: str) -> None:
    if broken.any():
        raise ValueError(f"row {int(np.argmax(broken))} {what}")
