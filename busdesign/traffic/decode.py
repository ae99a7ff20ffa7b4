"""Signals out of frames: one signal of one message at a time, over all its frames at once.

Every signal, in either byte order, becomes one operation: put the payload into a 64-bit word so that the signal's
bits are adjacent (little-endian: byte 0 lowest; big-endian: byte 0 highest), shift them to the top, shift them down
again. The last shift is arithmetic for a signed signal and so carries its sign.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from busdesign.catalogue.model import ByteOrder, Message, Signal
from busdesign.traffic.frames import Traffic
from busdesign.traffic.select import flags_of, rows_of

WORD_BITS = 64
MOST_MESSAGES = 65_535  # that ``grouping`` can number
LARGE_FRAMES = 400_000  # from here on compiled code is worth its start-up time


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

    def carrying(self, signal: str) -> "Columns":
        """Of a multiplexed signal, the frames that carry it; of any other, all of them. Raises KeyError."""
        present = self._present(self.message.signal(signal))
        if present is None:
            return self
        return Columns(self.message, self.rows[present], self.end_ns[present], self.payload[present])

    def raw(self, signal: str) -> NDArray[np.int64] | NDArray[np.uint64]:
        """Raw values of a signal, int64 [m]; uint64 for an unsigned one of 64 bits. Raises KeyError.

        A frame that does not carry a multiplexed signal has other bits in its place: ask ``carrying`` first.
        """
        return self._raw(self.message.signal(signal))

    def _present(self, signal: Signal) -> NDArray[np.bool_] | None:
        """Which frames carry ``signal``, bool [m]; None for all of them."""
        present: NDArray[np.bool_] | None = None
        while signal.selector:
            selector = self.message.signal(signal.selector)
            raws = self._raw(selector)
            wanted = np.isin(raws, np.array(signal.selected_by, dtype=raws.dtype))
            present = wanted if present is None else present & wanted
            signal = selector
        return present

    def physical(self, signal: str) -> NDArray[np.float64]:
        """Physical values, raw * factor + offset in the signal's unit, float64 [m]. Raises KeyError.

        A raw value of more than 53 bits is rounded to the nearest float first. NaN where a frame does not carry the
        signal.
        """
        return self._physical(self.message.signal(signal))

    def all_physical(self) -> dict[str, NDArray[np.float64]]:
        """``physical`` of every signal, by name; of a large recording sooner than one at a time."""
        return {signal.name: self.physical(signal.name) for signal in self.message.signals}

    def _physical(self, signal: Signal, room: NDArray[np.float64] | None = None) -> NDArray[np.float64]:
        """The physical values; they may, but need not, be put into ``room``."""
        with np.errstate(over="ignore", invalid="ignore"):  # a float may be anything: NaN stays NaN, without ado
            values = self._scaled(signal, room)
        present = self._present(signal)
        if present is not None:
            values[~present] = np.nan
        return values

    def _scaled(self, signal: Signal, room: NDArray[np.float64] | None = None) -> NDArray[np.float64]:
        values = self._numbers(signal)
        if signal.factor != 1.0:
            values *= signal.factor
        if signal.offset != 0.0:
            values += signal.offset
        return values

    def _numbers(self, signal: Signal) -> NDArray[np.float64]:
        raws = self._raw(signal)
        if not signal.is_float:
            return raws.astype(np.float64)
        pattern, number = (np.uint32, np.float32) if signal.length_bits == 32 else (np.uint64, np.float64)
        return raws.astype(pattern).view(number).astype(np.float64)

    def _raw(self, signal: Signal) -> NDArray[np.int64] | NDArray[np.uint64]:
        up, down = self._shifts(signal)
        word = self._words(signal) << np.uint64(up)
        if signal.signed:
            signed = word.view(np.int64)
            signed >>= np.int64(down)
            return signed
        word >>= np.uint64(down)
        return word if down == 0 else word.view(np.int64)

    def _words(self, signal: Signal) -> NDArray[np.uint64]:
        """The payload with the signal's bits adjacent."""
        return self._big_endian if signal.byte_order is ByteOrder.BIG else self.payload

    @staticmethod
    def _shifts(signal: Signal) -> tuple[int, int]:
        """How far up the signal's bits go to the top of the word, and how far down again."""
        if signal.byte_order is ByteOrder.BIG:
            up = _bits_above_if_big(signal)
        else:
            up = WORD_BITS - signal.start_bit - signal.length_bits
        return up, WORD_BITS - signal.length_bits

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


def decode_all(traffic: Traffic, messages: Iterable[Message]) -> dict[str, Columns]:
    """``decode`` of each of ``messages``, by name; of a large recording all at once, by compiled loops."""
    wanted = list(messages)
    keys = [(message.identifier, flags_of(message)) for message in wanted]
    is_plain = len(set(keys)) == len(keys) < MOST_MESSAGES  # with an identifier twice, a frame is of both
    if len(traffic) < LARGE_FRAMES or not is_plain:
        return {message.name: decode(traffic, message) for message in wanted}
    from busdesign.traffic.grouping import group  # loads numba

    return {columns.message.name: columns for columns in group(traffic, wanted)}


def signal_track(traffic: Traffic, message: Message, signal: str) -> SignalTrack:
    """When ``signal`` took which value, as heard: from the end of the frame that says so. Raises KeyError."""
    columns, found = decode(traffic, message).carrying(signal), message.signal(signal)
    raw, end_ns = columns.raw(signal), columns.end_ns
    values = columns.physical(signal)
    if np.any(end_ns[1:] < end_ns[:-1]):  # a damaged capture
        order = np.argsort(end_ns, kind="stable")
        raw, end_ns, values = raw[order], end_ns[order], values[order]
    changed = np.ones(len(raw), np.bool_)
    np.not_equal(raw[1:], raw[:-1], out=changed[1:])
    kept: list[str | float] = values[changed].tolist()
    if found.codes:
        only_words = found.only_codes
        raws = raw[changed].tolist()
        kept = [
            found.codes.get(number, str(number) if only_words else value)
            for number, value in zip(raws, kept, strict=True)
        ]
    return SignalTrack(end_ns[changed].tolist(), kept)


def _bits_above_if_big(signal: Signal) -> int:
    """Bits of the word above a big-endian signal's most significant one, with byte 0 on top."""
    return signal.start_bit // 8 * 8 + 7 - signal.start_bit % 8
