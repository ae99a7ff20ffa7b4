"""All messages of a large recording at once: bit for bit what each message alone says."""

from random import Random

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from busdesign.catalogue.model import ByteOrder, Message, Signal
from busdesign.traffic import decode as decoding
from busdesign.traffic.decode import Columns, decode, decode_all
from busdesign.traffic.frames import Traffic
from busdesign.wire.flags import ERROR, EXTENDED, REMOTE
from tests.catalogue.paged_layouts import paged_messages
from tests.traffic.test_decode_pages import frames_of, traffic_of

UNHURRIED = settings(deadline=None, max_examples=40, suppress_health_check=[HealthCheck.function_scoped_fixture])


@pytest.fixture(autouse=True)
def _every_recording_is_large(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(decoding, "LARGE_FRAMES", 0)


def require_same(together: Columns, alone: Columns) -> None:
    assert type(together) is not type(alone)
    assert len(together) == len(alone)
    for name in ("rows", "end_ns", "payload"):
        np.testing.assert_array_equal(getattr(together, name), getattr(alone, name))
        assert getattr(together, name).dtype == getattr(alone, name).dtype
    every = together.all_physical()
    for signal in alone.message.signals:
        assert together.raw(signal.name).tolist() == alone.raw(signal.name).tolist()
        expected = alone.physical(signal.name).view(np.int64).tolist()
        assert together.physical(signal.name).view(np.int64).tolist() == expected
        assert every[signal.name].view(np.int64).tolist() == expected


@UNHURRIED
@given(paged_messages(), st.integers(0, 2**32))
def test_pages_floats_and_words(message: Message, seed: int) -> None:
    traffic = traffic_of(frames_of(message, 40, Random(seed)), message.identifier or 0)
    require_same(decode_all(traffic, [message])[message.name], decode(traffic, message))


def message_of(number: int, identifier: int | None, flags: int, length_bytes: int, rng: Random) -> Message:
    order, width = rng.choice(list(ByteOrder)), rng.randrange(1, 8 * length_bytes + 1)
    above = rng.randrange(8 * length_bytes - width + 1)
    start = above if order is ByteOrder.LITTLE else 8 * (above // 8) + 7 - above % 8
    factor, offset = rng.choice([1.0, 0.1, -3.0, 2**-7]), rng.choice([0.0, 0.0, -40.0, 0.3])
    signal = Signal("s", start, width, order, rng.random() < 0.5, factor=factor, offset=offset)
    return Message(f"m{number}", identifier, flags == EXTENDED, length_bytes, "n", (), (signal,), period_ns=1)


@UNHURRIED
@given(st.integers(0, 2**32))
def test_frames_of_many_messages_and_of_none(seed: int) -> None:
    rng = Random(seed)
    kinds = [(rng.choice([0, EXTENDED]), rng.choice([0x7FF, 0, rng.randrange(0x800)])) for _ in range(12)]
    messages = [
        message_of(number, identifier, flags, rng.randrange(1, 9), rng)
        for number, (flags, identifier) in enumerate(dict.fromkeys(kinds))
    ]
    messages.append(message_of(99, None, 0, 8, rng))
    rows = []
    for row in range(120):
        flags, identifier = rng.choice(kinds)
        flags = rng.choice([flags, flags, flags, REMOTE, ERROR, 0, EXTENDED])
        length = rng.randrange(9)
        payload = 0 if flags == REMOTE else rng.getrandbits(8 * length)
        rows.append((1000 * row, rng.choice([identifier, identifier, 0x123]), flags, length, 0, payload))
    traffic = Traffic.of_rows(rows)
    for name, columns in decode_all(traffic, messages).items():
        require_same(columns, decode(traffic, next(message for message in messages if message.name == name)))


def test_an_identifier_of_two_messages_is_decoded_as_both() -> None:
    rng = Random(1)
    both = [message_of(number, 0x110, 0, 1, rng) for number in range(2)]
    decoded = decode_all(Traffic.of_rows([(0, 0x110, 0, 1, 0, 255)]), both)
    assert [len(columns) for columns in decoded.values()] == [1, 1]


def test_no_frames_and_no_messages() -> None:
    assert decode_all(Traffic.empty(), []) == {}
    message = message_of(0, 0x110, 0, 1, Random(1))
    assert decode_all(Traffic.empty(), [message])["m0"].all_physical()["s"].tolist() == []


def test_statistics_over_a_large_recording_are_those_of_numpy() -> None:
    rng = np.random.default_rng(3)
    raws = rng.integers(-2000, 2000, 50_000)
    traffic = Traffic(
        np.arange(50_000) * 1000,
        rng.choice(np.array([0x110, 0x111], np.uint32), 50_000),
        np.zeros(50_000, np.uint8),
        np.full(50_000, 8, np.uint8),
        np.zeros(50_000, np.uint8),
        (raws & 0xFFFF).astype(np.uint64),
    )
    speed = Signal("speed", 0, 16, signed=True, factor=0.5, offset=100.0)
    message = Message("m", 0x110, False, 2, "n", (), (speed,), period_ns=1)
    values = decode_all(traffic, [message])["m"].physical("speed")
    expected = raws[traffic.identifier == 0x110] * 0.5 + 100.0
    assert (values.mean(), values.min(), values.std()) == (expected.mean(), expected.min(), expected.std())
