"""Signals out of frames: one signal of one message at a time, over all its frames at once.

Every signal, in either byte order, becomes one operation: put the payload into a 64-bit word so that the signal's
bits are adjacent (little-endian: byte 0 lowest; big-endian: byte 0 highest), shift them to the top, shift them down
again. The last shift is arithmetic for a signed signal and so carries its sign.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from busdesign.catalogue.model import ByteOrder, Message, Signal
from busdesign.traffic.frames import Traffic
from busdesign.traffic.select import rows_of

_WORD_BITS = 64


@dataclass(frozen=True, eq=False)
class Columns:
    """The frames of one message that carry all its bytes; its signals are decoded when asked for.

    All columns have shape [m]: ``rows`` int64, row numbers in the traffic; ``end_ns`` int64; ``payload`` uint64.
    """

    message: Message
    rows: NDArray[np.int64]
    end_ns: NDArray[np.int64]
    payload: NDArray[np.uint64]

    def __len__(self) -> int:
        return len(self.rows)

    def raw(self, signal: str) -> NDArray[np.int64] | NDArray[np.uint64]:
        """Raw values of a signal, int64 [m]; uint64 for an unsigned one of 64 bits. Raises KeyError."""
        return self._raw(self.message.signal(signal))

    def physical(self, signal: str) -> NDArray[np.float64]:
        """Physical values, raw * factor + offset in the signal's unit, float64 [m]. Raises KeyError.

        A raw value of more than 53 bits is rounded to the nearest float first.
        """
        found = self.message.signal(signal)
        values = self._raw(found).astype(np.float64)
        if found.factor != 1.0:
            values *= found.factor
        if found.offset != 0.0:
            values += found.offset
        return values

    def _raw(self, signal: Signal) -> NDArray[np.int64] | NDArray[np.uint64]:
        is_big = signal.byte_order is ByteOrder.BIG
        top_bit = _bits_above_if_big(signal) if is_big else _WORD_BITS - signal.start_bit - signal.length_bits
        word = (self._big_endian if is_big else self.payload) << np.uint64(top_bit)
        down = _WORD_BITS - signal.length_bits
        if signal.signed:
            signed = word.view(np.int64)
            signed >>= np.int64(down)
            return signed
        word >>= np.uint64(down)
        return word if down == 0 else word.view(np.int64)

    @cached_property
    def _big_endian(self) -> NDArray[np.uint64]:
        return self.payload.byteswap()


@dataclass(frozen=True, slots=True)
class SignalTrack:
    """What a signal said, and from when on: only changes. ``times_ns`` ascends; ``values`` has the same length.

    A value is the word of its code if it has one; else a float in the signal's unit, or the raw number as text where
    the signal has codes and no range, so that other numbers mean nothing.
    """

    times_ns: list[int]
    values: list[str | float]


def decode(traffic: Traffic, message: Message) -> Columns:
    """The data frames of ``message`` that are at least as long as it says, ready to be decoded."""
    rows = rows_of(traffic, message)
    rows = rows[traffic.length[rows] >= message.length_bytes]
    return Columns(message, rows, traffic.end_ns[rows], traffic.payload[rows])


def signal_track(traffic: Traffic, message: Message, signal: str) -> SignalTrack:
    """When ``signal`` took which value, as heard: from the end of the frame that says so. Raises KeyError."""
    columns, found = decode(traffic, message), message.signal(signal)
    raw, end_ns = columns.raw(signal), columns.end_ns
    values = columns.physical(signal)
    if np.any(end_ns[1:] < end_ns[:-1]):  # a damaged capture
        order = np.argsort(end_ns, kind="stable")
        raw, end_ns, values = raw[order], end_ns[order], values[order]
    changed = np.ones(len(raw), np.bool_)
    np.not_equal(raw[1:], raw[:-1], out=changed[1:])
    kept: list[str | float] = values[changed].tolist()
    if found.codes:
        only_words = found.minimum is None
        raws = raw[changed].tolist()
        kept = [
            found.codes.get(number, str(number) if only_words else value)
            for number, value in zip(raws, kept, strict=True)
        ]
    return SignalTrack(end_ns[changed].tolist(), kept)


def _bits_above_if_big(signal: Signal) -> int:
    """Bits of the word above a big-endian signal's most significant one, with byte 0 on top."""
    return signal.start_bit // 8 * 8 + 7 - signal.start_bit % 8
