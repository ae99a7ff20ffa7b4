"""Decoding of large recordings: all frames dealt out to their messages in two passes, then one compiled loop a signal.

The same answers as ``decode`` for each message alone, which looks through all frames once a message. Importing this
module loads numba.
"""

from collections.abc import Sequence
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from busdesign.catalogue.model import Message, Signal
from busdesign.compiled import compiled
from busdesign.traffic.decode import WORD_BITS, Columns
from busdesign.traffic.frames import Traffic
from busdesign.traffic.select import flags_of

_FLAGS_SHIFT = 29  # bits of an identifier; the flags above them make it a key
_NO_KEY = 2**64 - 1
_SCATTER = 0x9E37_79B1  # an odd number near 2**32 over the golden ratio: Knuth, The Art of Computer Programming 3, 6.4
_SCATTER_SHIFT = 15
_LARGE_PAGES_FROM = 1 << 19  # values, in 4 MB: numpy asks for large pages from there on; what is not touched is free


class _CompiledColumns(Columns):
    """``Columns`` whose numbers are made in one pass, and whose rows and times only when they are asked for."""

    def __init__(
        self, message: Message, traffic: Traffic, row_numbers: NDArray[np.uint32], payload: NDArray[np.uint64]
    ) -> None:
        for name, value in (
            ("message", message),
            ("payload", payload),
            ("_traffic", traffic),
            ("_rows", row_numbers),
            ("_rooms", {}),
        ):
            object.__setattr__(self, name, value)  # it is frozen, as all columns are

    def __len__(self) -> int:
        return len(self.payload)

    @cached_property
    def rows(self) -> NDArray[np.int64]:
        return self._rows.astype(np.int64)  # type: ignore[attr-defined, no-any-return]

    @cached_property
    def end_ns(self) -> NDArray[np.int64]:
        return self._traffic.end_ns[self._rows]  # type: ignore[attr-defined, no-any-return]

    def all_physical(self) -> dict[str, NDArray[np.float64]]:
        # In one piece, which the operating system hands out in large pages: half of the time would go into small ones.
        shape = len(self.message.signals), len(self)
        room = np.empty(max(shape[0] * shape[1], _LARGE_PAGES_FROM), np.float64)[: shape[0] * shape[1]].reshape(shape)
        return {
            signal.name: self._physical(signal, values)
            for signal, values in zip(self.message.signals, room, strict=True)
        }

    def _scaled(self, signal: Signal, room: NDArray[np.float64] | None = None) -> NDArray[np.float64]:
        if signal.is_float or signal.length_bits == WORD_BITS:
            return super()._scaled(signal)
        up, down = self._shifts(signal)
        values = np.empty(len(self), np.float64) if room is None else room
        # Where nothing is to be added, -0.0 is: it alone changes no number, not even a zero's sign.
        _scale(self._words(signal), up, down, signal.signed, signal.factor, signal.offset or -0.0, values)
        return values


def group(traffic: Traffic, messages: Sequence[Message]) -> list[Columns]:
    """``decode`` of each of ``messages``, which have distinct identifiers, in their order; fewer than 2**32 frames."""
    least = np.array([*(message.length_bytes for message in messages), 0], np.uint8)
    of_frame = np.empty(len(traffic), np.uint16)
    counts = np.zeros(len(messages) + 1, np.int64)
    _count(traffic.identifier, traffic.flags, traffic.length, *_table(messages), least, of_frame, counts)
    ends = np.cumsum(counts)
    starts = ends - counts
    rows, payload = np.empty(len(traffic), np.uint32), np.empty(len(traffic), np.uint64)
    _deal_out(of_frame, traffic.payload, starts.copy(), rows, payload)
    return [
        _CompiledColumns(message, traffic, rows[start:end], payload[start:end])
        for message, start, end in zip(messages, starts.tolist(), ends.tolist(), strict=False)
    ]


def _table(messages: Sequence[Message]) -> tuple[NDArray[np.uint64], NDArray[np.uint16]]:
    """A table of keys with gaps, and which message each is of: a key stands at its place or soon behind it."""
    size = 1 << max((4 * len(messages)).bit_length(), 4)
    table, message_at = np.full(size, _NO_KEY, np.uint64), np.full(size, len(messages), np.uint16)
    for number, message in enumerate(messages):
        if message.identifier is None:
            continue
        key = message.identifier | flags_of(message) << _FLAGS_SHIFT
        place = (key * _SCATTER >> _SCATTER_SHIFT) & (size - 1)
        while table[place] != _NO_KEY:
            place = (place + 1) & (size - 1)
        table[place], message_at[place] = key, number
    return table, message_at


@compiled
def _count(
    identifiers: NDArray[np.uint32],
    flags: NDArray[np.uint8],
    lengths: NDArray[np.uint8],
    table: NDArray[np.uint64],
    message_at: NDArray[np.uint16],
    least: NDArray[np.uint8],
    of_frame: NDArray[np.uint16],
    counts: NDArray[np.int64],
) -> None:
    """For each frame the message that it carries whole, or the number behind the last one; how many frames each has."""
    mask = np.uint64(table.size - 1)
    none = np.uint64(counts.size - 1)
    for row in range(identifiers.size):
        key = np.uint64(identifiers[row]) | np.uint64(flags[row]) << np.uint64(_FLAGS_SHIFT)
        place = (key * np.uint64(_SCATTER) >> np.uint64(_SCATTER_SHIFT)) & mask
        while table[place] != key and table[place] != np.uint64(_NO_KEY):
            place = (place + np.uint64(1)) & mask
        message = np.uint64(message_at[place])
        message = message if lengths[row] >= least[message] else none
        of_frame[row] = message
        counts[message] += 1


@compiled
def _deal_out(
    of_frame: NDArray[np.uint16],
    payload: NDArray[np.uint64],
    places: NDArray[np.int64],
    dealt_rows: NDArray[np.uint32],
    dealt_payload: NDArray[np.uint64],
) -> None:
    for row in range(of_frame.size):
        message = np.uint64(of_frame[row])
        place = np.uint64(places[message])
        places[message] += 1
        dealt_rows[place] = row
        dealt_payload[place] = payload[row]


@compiled
def _scale(
    words: NDArray[np.uint64], up: Any, down: Any, signed: bool, factor: float, offset: float, values: NDArray[Any]
) -> None:
    """Each step rounds on its own, as it does a column at a time."""
    up, down = np.uint64(up), np.uint64(down)
    if signed:
        for row in range(values.size):
            values[row] = np.float64(np.int64(words[row] << up) >> np.int64(down)) * factor + offset
    else:
        for row in range(values.size):
            values[row] = np.float64(np.int64((words[row] << up) >> down)) * factor + offset
