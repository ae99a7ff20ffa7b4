"""Signals out of frames, held against the reading side of cantools and against the bits one by one."""

from random import Random
from typing import Any

import numpy as np
import pytest
from cantools.database.can import Message as OtherMessage
from cantools.database.can import Signal as OtherSignal
from cantools.database.conversion import BaseConversion
from hypothesis import given, settings
from hypothesis import strategies as st

from busdesign.catalogue.codec import MessageCodec
from busdesign.catalogue.model import ByteOrder, Message, Signal, bit_positions
from busdesign.traffic.decode import decode, signal_track
from busdesign.traffic.frames import Row, Traffic
from busdesign.traffic.select import rows_of, rows_of_none
from busdesign.wire.flags import ERROR, EXTENDED, REMOTE

IDENTIFIER = 0x110


def message_of(*signals: Signal, length_bytes: int = 8, extended: bool = False) -> Message:
    return Message("m", IDENTIFIER, extended, length_bytes, "panel", (), signals, period_ns=10**7)


def frames(payloads: list[int], length_bytes: int = 8) -> Traffic:
    return Traffic.of_rows((10**6 * row, IDENTIFIER, 0, length_bytes, 0, data) for row, data in enumerate(payloads))


def random_payloads(rng: Random, count: int, length_bytes: int = 8) -> list[int]:
    return [rng.getrandbits(8 * length_bytes) if length_bytes else 0 for _ in range(count)]


@st.composite
def layouts(draw: st.DrawFn) -> Message:
    """A message of signals side by side, in both byte orders, of any width, with gaps."""
    length_bytes = draw(st.integers(1, 8))
    free, signals = set(range(8 * length_bytes)), []
    for number in range(draw(st.integers(1, 12))):
        order = draw(st.sampled_from(ByteOrder))
        if not free:
            break
        start = draw(st.sampled_from(sorted(free)))
        fits = [
            length
            for length in range(1, 65)
            if _end_within(start, length, order, length_bytes) and free.issuperset(bit_positions(start, length, order))
        ]
        length = draw(st.sampled_from(fits))
        free -= set(bit_positions(start, length, order))
        factor, offset = draw(st.sampled_from([(1.0, 0.0), (0.1, 0.0), (-0.25, 12.5), (1e-3, -40.0)]))
        signed = draw(st.booleans())
        signals.append(Signal(f"s{number}", start, length, order, signed, factor=factor, offset=offset))
    return message_of(*signals, length_bytes=length_bytes)


def _end_within(start: int, length: int, order: ByteOrder, length_bytes: int) -> bool:
    above = start if order is ByteOrder.LITTLE else 8 * (start // 8) + 7 - start % 8
    return above + length <= 8 * length_bytes


def other(message: Message) -> Any:
    """The same message for cantools."""
    signals = [
        OtherSignal(
            signal.name,
            signal.start_bit,
            signal.length_bits,
            "big_endian" if signal.byte_order is ByteOrder.BIG else "little_endian",
            signal.signed,
            conversion=BaseConversion.factory(signal.factor, signal.offset),
        )
        for signal in message.signals
    ]
    return OtherMessage(IDENTIFIER, message.name, message.length_bytes, signals, strict=True)


@settings(max_examples=100)
@given(layouts(), st.randoms(use_true_random=False))
def test_values_equal_those_of_cantools(message: Message, rng: Random) -> None:
    traffic = frames(random_payloads(rng, 40, message.length_bytes), message.length_bytes)
    columns, reader = decode(traffic, message), other(message)
    data = [traffic.data(row) for row in range(len(traffic))]
    raw = [reader.decode(payload, decode_choices=False, scaling=False) for payload in data]
    physical = [reader.decode(payload, decode_choices=False) for payload in data]
    for signal in message.signals:
        assert columns.raw(signal.name).tolist() == [values[signal.name] for values in raw]
        assert columns.physical(signal.name).tolist() == [float(values[signal.name]) for values in physical]


@pytest.mark.parametrize("order", ByteOrder)
@pytest.mark.parametrize("signed", [False, True])
def test_every_position_and_width_bit_by_bit(order: ByteOrder, signed: bool) -> None:
    payloads = [*random_payloads(Random(5), 4), 0, 2**64 - 1]
    traffic = frames(payloads)
    places = [(start, length) for start in range(64) for length in range(1, 65) if _end_within(start, length, order, 8)]
    assert len(places) == 64 * 65 // 2
    for start, length in places:
        signal = Signal("s", start, length, order, signed)
        assert decode(traffic, message_of(signal)).raw("s").tolist() == [by_bits(data, signal) for data in payloads]


def by_bits(payload: int, signal: Signal) -> int:
    value = sum((payload >> place & 1) << weight for weight, place in enumerate(signal.bit_positions))
    return value - (1 << signal.length_bits) if signal.signed and value >> (signal.length_bits - 1) else value


@pytest.mark.parametrize("order", ByteOrder)
def test_64_unsigned_bits_need_a_type_of_their_own(order: ByteOrder) -> None:
    start = 0 if order is ByteOrder.LITTLE else 7
    message = message_of(Signal("s", start, 64, order), Signal("t", start, 63, order))
    columns = decode(frames([2**64 - 1]), message)
    assert columns.raw("s").dtype == np.uint64
    assert columns.raw("t").dtype == np.int64
    assert columns.physical("s").tolist() == [2.0**64]


def test_only_whole_data_frames_of_that_identifier_are_decoded() -> None:
    rows: list[Row] = [
        (0, 0x110, 0, 2, 0, 0x0201),
        (1, 0x110, 0, 1, 0, 0x03),  # too short
        (2, 0x110, EXTENDED, 2, 0, 0x05),  # another identifier
        (3, 0x110, REMOTE, 2, 0, 0),
        (4, 0x110, ERROR, 2, 0, 0x06),
        (5, 0x111, 0, 2, 0, 0x07),
        (6, 0x110, 0, 3, 0, 0x080908),  # longer than declared
    ]
    traffic, message = Traffic.of_rows(rows), message_of(Signal("s", 0, 8), length_bytes=2)
    columns = decode(traffic, message)
    assert (columns.rows.tolist(), columns.end_ns.tolist(), len(columns)) == ([0, 6], [0, 6], 2)
    assert columns.raw("s").tolist() == [1, 8]
    assert rows_of(traffic, message).tolist() == [0, 1, 6]
    extended = message_of(Signal("s", 0, 8), length_bytes=2, extended=True)
    assert decode(traffic, extended).raw("s").tolist() == [5]
    assert rows_of_none(traffic, [message]).tolist() == [2, 5]
    assert rows_of_none(traffic, [message, extended]).tolist() == [5]
    assert rows_of_none(traffic, []).tolist() == [0, 1, 2, 5, 6]


def test_a_message_without_identifier_has_no_frames() -> None:
    message = Message("m", None, False, 0, "panel", (), (Signal("s", 0, 8),), period_ns=1)
    traffic = frames([1, 2])
    assert len(decode(traffic, message)) == 0
    assert decode(traffic, message).physical("s").tolist() == []
    assert rows_of_none(traffic, [message]).tolist() == [0, 1]


def test_an_unknown_signal_is_a_key_error() -> None:
    with pytest.raises(KeyError, match="speed"):
        decode(frames([1]), message_of(Signal("s", 0, 8))).raw("speed")


def test_a_track_keeps_changes_and_names_codes() -> None:
    signal = Signal("state", 0, 8, codes={0: "up", 1: "down"})
    track = signal_track(frames([0, 0, 1, 7, 7, 0]), message_of(signal), "state")
    assert track.times_ns == [0, 2_000_000, 3_000_000, 5_000_000]
    assert track.values == ["up", "down", "7", "up"]


def test_a_track_without_codes_is_in_the_signals_unit() -> None:
    signal = Signal("position", 0, 8, signed=True, factor=0.5, offset=10.0)
    track = signal_track(frames([0xFF, 0xFF, 0x02]), message_of(signal), "position")
    assert (track.times_ns, track.values) == ([0, 2_000_000], [9.5, 11.0])
    assert all(isinstance(value, float) for value in track.values)


def test_a_track_of_no_frames_is_empty() -> None:
    track = signal_track(Traffic.empty(), message_of(Signal("s", 0, 8)), "s")
    assert (track.times_ns, track.values) == ([], [])


def test_a_track_of_frames_out_of_order_is_in_the_order_of_time() -> None:
    traffic = frames([1, 1, 2, 3])[np.array([3, 0, 2, 1])]
    track = signal_track(traffic, message_of(Signal("s", 0, 8)), "s")
    assert (track.times_ns, track.values) == ([0, 2_000_000, 3_000_000], [1.0, 2.0, 3.0])


@given(st.lists(st.integers(0, 3), max_size=30))
def test_a_track_holds_the_value_of_every_frame(payloads: list[int]) -> None:
    track = signal_track(frames(payloads), message_of(Signal("s", 0, 2)), "s")
    held = dict(zip(track.times_ns, track.values, strict=True))
    value: object = None
    for row, payload in enumerate(payloads):
        value = held.get(10**6 * row, value)
        assert value == payload
    assert all(left != right for left, right in zip(track.values, track.values[1:], strict=False))


def test_a_track_of_numbers_that_may_be_a_word_is_what_the_codec_says() -> None:
    """A range beside the codes: a code stands in place of a number, and any other raw number is one."""
    speed = Signal("speed", 0, 8, factor=0.5, minimum=0.0, maximum=100.0, codes={255: "not_available"})
    message = Message("m", 0x100, False, 1, "a", (), (speed,), 1_000_000)
    rows = [(1000 * (number + 1), 0x100, 0, 1, 0, raw) for number, raw in enumerate((0x64, 0xFF, 0x00))]
    track = signal_track(Traffic.of_rows(rows), message, "speed")
    said = [MessageCodec(message).decode(bytes([raw]))["speed"] for raw in (0x64, 0xFF, 0x00)]
    assert track.values == said == [50.0, "not_available", 0.0]
