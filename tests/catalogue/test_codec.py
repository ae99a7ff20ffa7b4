"""The codec against an oracle that reads bit by bit, against cantools as an independent reader, and against itself."""

import random
from typing import Any

import pytest
from cantools.database import Message as OtherMessage
from cantools.database.can.signal import Signal as OtherSignal
from cantools.database.conversion import BaseConversion
from hypothesis import given, settings
from hypothesis import strategies as st

from busdesign.catalogue.checksums import CHECKSUMS, checksum_of
from busdesign.catalogue.codec import MessageCodec, codecs_of
from busdesign.catalogue.model import ByteOrder, Message, Signal
from busdesign.catalogue.reader import parse_catalogue
from tests.catalogue.layouts import messages, read_bits

HEAD = "catalogue: tried\nbus: {bit_rate: 250 kbit/s}\nnodes: {a: {}}\n"


def codec_of(signals: str, rest: str = "") -> MessageCodec:
    text = f"{HEAD}messages:\n  m: {{id: 1, from: a, every: 1 s, {rest} signals: {{{signals}}}}}\n"
    return MessageCodec(parse_catalogue(text).message("m"))


def random_raws(message: Message, seed: int) -> list[int]:
    """A raw number for each signal, the ends of its reach among them."""
    rng = random.Random(seed)
    reaches = [(signal.raw_min, signal.raw_max) for signal in message.signals]
    return [rng.choice([low, high, 0, rng.randint(low, high)]) for low, high in reaches]


@given(messages(), st.integers(0, 2**32))
def test_unpack_undoes_pack_and_agrees_with_a_bit_by_bit_reader(message: Message, seed: int) -> None:
    codec, raws = MessageCodec(message), random_raws(message, seed)
    payload = codec.pack(raws, 0)
    assert list(codec.unpack(payload)) == raws
    data = payload.to_bytes(8, "little")
    assert [read_bits(data, signal) for signal in message.signals] == raws
    assert sum(signal.length_bits for signal in message.signals) >= payload.bit_count(), "unused bits are 0"


@given(messages(), st.binary(min_size=8, max_size=8))
def test_unpack_and_getters_of_any_payload(message: Message, data: bytes) -> None:
    codec, payload = MessageCodec(message), int.from_bytes(data, "little")
    raws = [read_bits(data, signal) for signal in message.signals]
    assert list(codec.unpack(payload)) == raws
    assert [codec.getters[signal.name](payload) for signal in message.signals] == [float(raw) for raw in raws]


@given(messages(), st.integers(0, 2**32))
def test_cantools_writes_the_same_payload(message: Message, seed: int) -> None:
    codec, raws = MessageCodec(message), random_raws(message, seed)
    others = [
        OtherSignal(
            signal.name,
            signal.start_bit,
            signal.length_bits,
            "little_endian" if signal.byte_order is ByteOrder.LITTLE else "big_endian",
            signal.signed,
            conversion=BaseConversion.factory(1, 0),
        )
        for signal in message.signals
    ]
    other = OtherMessage(1, "m", 8, others)
    values = {signal.name: raw for signal, raw in zip(message.signals, raws, strict=True)}
    assert other.encode(values, scaling=False) == codec.pack(raws, 0).to_bytes(8, "little")
    assert other.decode(codec.encode({}), scaling=False) == dict.fromkeys(values, 0)


@st.composite
def scaled(draw: st.DrawFn) -> tuple[Signal, float]:
    """A signal with factor and offset as people write them, and a value inside its reach."""
    bits, signed = draw(st.integers(1, 40)), draw(st.booleans())
    factor = draw(st.sampled_from([1, 0.1, 0.05, 0.25, 0.3, 1e-3, 7, -1, -0.1, 1 / 3]))
    offset = draw(st.sampled_from([0, -40, 0.1, 1000, -273.15]))
    signal = Signal("s", 0, bits, signed=signed, factor=float(factor), offset=float(offset))
    ends = sorted(raw * signal.factor + signal.offset for raw in (signal.raw_min, signal.raw_max))
    return signal, draw(st.floats(ends[0], ends[1]))


@given(scaled())
def test_decode_undoes_encode_within_half_a_step(case: tuple[Signal, float]) -> None:
    signal, value = case
    codec = MessageCodec(Message("m", 1, False, 8, "a", (), (signal,), period_ns=10**7))
    decoded = codec.decode(codec.encode({"s": value}))["s"]
    assert isinstance(decoded, float)
    half_a_step = abs(signal.factor) / 2
    assert abs(decoded - value) <= half_a_step + 4 * 2.0**-53 * (abs(value) + abs(signal.offset))
    assert codec.encode({"s": decoded}) == codec.encode({"s": value})


@given(st.integers(1, 16), st.data())
def test_counter_wraps_at_its_modulo(bits: int, data: st.DataObject) -> None:
    modulo = data.draw(st.integers(2, 1 << bits))
    step = data.draw(st.integers(1, modulo - 1))
    codec = codec_of(f"pad: {{bits: 3}}, c: {{bits: {bits}, counts: {step}, modulo: {modulo}}}")
    value = 0
    for count in range(min(3 * modulo, 200)):
        assert codec.decode(codec.encode({}, count))["c"] == value
        value = (value + step) % modulo
    far = data.draw(st.integers(0, 10**12))
    assert codec.decode(codec.encode({}, far))["c"] == far * step % modulo


@pytest.mark.parametrize("name", CHECKSUMS)
@pytest.mark.parametrize("order", ["little", "big"])
@pytest.mark.parametrize("data_id", [None, 0x1234])
@settings(max_examples=20)
@given(values=st.lists(st.integers(0, 255), min_size=4, max_size=4), count=st.integers(0, 99), start=st.integers(0, 3))
def test_check_covers_data_id_and_all_other_bytes_in_order(
    name: str, order: str, data_id: int | None, values: list[int], count: int, start: int
) -> None:
    width = CHECKSUMS[name].width
    first = 8 * start + (7 if order == "big" else 0)
    wide = ", ".join(f"v{n}: {{bits: 7}}" for n in range(3))
    codec = codec_of(
        f"check: {{bits: {width}, crc: {name}, start: {first}, byte_order: {order}"
        + (f", data_id: {data_id}" if data_id is not None else "")
        + f"}}, {wide}, count: {{bits: 4, counts: 1}}"
    )
    data = codec.encode({f"v{n}": values[n] & 127 for n in range(3)}, count)
    own = range(start, start + width // 8)
    covered = bytes(byte for place, byte in enumerate(data) if place not in own)
    prefix = b"" if data_id is None else bytes((data_id & 0xFF, data_id >> 8))
    inside = int.from_bytes(bytes(data[place] for place in own), "little" if order == "little" else "big")
    assert inside == checksum_of(name, prefix + covered)
    assert codec.check_holds(data) is True


@given(st.integers(0, 31), st.integers(0, 2**16 - 1))
def test_check_tells_of_a_changed_bit(bit: int, value: int) -> None:
    codec = codec_of("value: {bits: 16}, count: {bits: 4, counts: 1}, check: {bits: 8, crc: crc8-2f, data_id: 7}")
    data = codec.encode({"value": value}, 5)
    changed = (int.from_bytes(data, "little") ^ 1 << bit).to_bytes(4, "little")
    assert codec.check_holds(data) is True
    assert codec.check_holds(changed) is False


def test_message_without_a_check_has_none_to_hold() -> None:
    assert codec_of("value: {bits: 16}").check_holds(b"\0\0") is None


def test_codes_by_their_words_and_numbers_without_one() -> None:
    codec = codec_of("lamp: {bits: 4, codes: {0: dark, 1: red, 9: blue}, initial: red}, level: {bits: 4, factor: 0.5}")
    assert codec.decode(codec.encode({})) == {"lamp": "red", "level": 0.0}
    assert codec.decode(codec.encode({"lamp": "blue", "level": 3.5})) == {"lamp": "blue", "level": 3.5}
    assert codec.decode(codec.encode({"lamp": 9})) == {"lamp": "blue", "level": 0.0}
    assert codec.decode(b"\x05") == {"lamp": 5.0, "level": 0.0}  # what another board may send
    with pytest.raises(ValueError, match="`5` is no code of `lamp`"):
        codec.encode({"lamp": 5})
    assert codec.getters["lamp"](0x09) == "blue"


def test_values_over_a_base() -> None:
    codec = codec_of("x: {bits: 8}, y: {bits: 8}, z: {bits: 8, range: [5, 9]}")
    assert codec.raws_from({"y": 2}) == [0, 2, 5]
    assert codec.raws_from({"y": 2}, base=[7, 8, 9]) == [7, 2, 9]


def test_message_without_signals() -> None:
    codec = codec_of("", "bytes: 3,")
    assert (codec.encode({}), codec.decode(bytes(3)), codec.unpack(0)) == (bytes(3), {}, ())


def refused(codec: MessageCodec, values: dict[str, Any]) -> str:
    with pytest.raises(ValueError, match=r"`") as raised:
        codec.encode(values)
    return str(raised.value)


def test_refusals_say_what_is_allowed() -> None:
    codec = codec_of(
        "speed: {bits: 10, factor: 0.5, unit: kt, range: [0, 400]}, lamp: {bits: 2, codes: {0: dark, 1: red}}, "
        "count: {bits: 4, counts: 1}, check: {bits: 8, crc: crc8-2f}"
    )
    assert refused(codec, {"sped": 1}) == "`m` has no signal `sped`; did you mean `speed`?"
    assert refused(codec, {"speed": 401}) == "`speed` = 401 kt is out of range: 0 to 400 kt is allowed"
    assert refused(codec, {"speed": "fast"}) == "`speed` has no codes, so `fast` means nothing to it; give a number"
    assert refused(codec, {"lamp": "rde"}) == "`rde` is no code of `lamp`; did you mean `red`?"
    assert refused(codec, {"lamp": 4}) == "`lamp` = 4 is out of range: 0 to 3 is allowed"
    assert refused(codec, {"count": 1}) == "`count` is a counter of `m`: it is filled in when sending"
    assert refused(codec, {"check": 1}) == "`check` is a check of `m`: it is filled in when sending"
    for odd in (None, [1], float("nan"), float("inf"), 10**5000, b"1"):
        assert "takes a number" in refused(codec, {"speed": odd})
    with pytest.raises(ValueError, match="`m` has 3 bytes, this payload only 2"):
        codec.decode(bytes(2))
    with pytest.raises(ValueError, match="this payload only 0"):
        codec.check_holds(b"")


def test_one_codec_for_each_message() -> None:
    text = f"{HEAD}messages:\n  m: {{from: a, every: 1 s}}\n  n: {{from: a, every: 1 s, bytes: 2}}\n"
    codecs = codecs_of(parse_catalogue(text).messages)
    assert {name: codec.length_bytes for name, codec in codecs.items()} == {"m": 0, "n": 2}
