"""Floats, constants, reserved bits, unknown and invalid: what the codec makes of them."""

import math
import struct

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from busdesign.catalogue.codec import MessageCodec
from busdesign.catalogue.reader import parse_catalogue
from busdesign.catalogue.values import float_of, greatest_float, pattern_of
from busdesign.errors import CatalogueError

HEAD = "catalogue: tried\nbus: {bit_rate: 250 kbit/s}\nnodes: {a: {}}\n"
FLOATS = st.floats(width=32, allow_nan=False, allow_infinity=False)


def codec_of(signals: str) -> MessageCodec:
    text = f"{HEAD}messages:\n  m: {{id: 1, from: a, every: 1 s, signals: {{{signals}}}}}\n"
    return MessageCodec(parse_catalogue(text).message("m"))


def refused(signals: str) -> list[tuple[str, str]]:
    with pytest.raises(CatalogueError) as raised:
        codec_of(signals)
    return [(finding.rule, finding.text) for finding in raised.value.findings]


# --- floats


@settings(max_examples=50)
@given(FLOATS, st.sampled_from(["little", "big"]))
def test_single_is_the_ieee_pattern_in_either_byte_order(number: float, order: str) -> None:
    start = 7 if order == "big" else 0
    codec = codec_of(f"x: {{bits: 32, float: true, byte_order: {order}, start: {start}}}")
    data = codec.encode({"x": number})
    assert data == struct.pack(">f" if order == "big" else "<f", number)
    assert codec.decode(data) == {"x": number}


@settings(max_examples=50)
@given(st.floats(allow_nan=False, allow_infinity=False), st.integers(0, 1))
def test_double_is_exact(number: float, beside: int) -> None:
    codec = codec_of("x: {bits: 64, float: true}")
    assert codec.encode({"x": number}) == struct.pack("<d", number)
    assert codec.decode(struct.pack("<d", number)) == {"x": number}


@settings(max_examples=50)
@given(st.floats(-1e6, 1e6), st.integers(1, 31))
def test_single_at_any_bit_is_the_nearest_one(number: float, start: int) -> None:
    codec = codec_of(f"x: {{bits: 32, float: true, start: {start}}}, flag: {{bits: 1, start: 0}}")
    data = codec.encode({"x": number, "flag": 1})
    (nearest,) = struct.unpack("<f", struct.pack("<f", number))
    assert codec.decode(data) == {"x": nearest, "flag": 1.0}


@settings(max_examples=50)
@given(st.binary(min_size=8, max_size=8))
def test_any_pattern_is_told_infinite_and_not_a_number_too(data: bytes) -> None:
    single, double = codec_of("x: {bits: 32, float: true}"), codec_of("x: {bits: 64, float: true}")
    for codec, (expected,) in ((single, struct.unpack("<f", data[:4])), (double, struct.unpack("<d", data))):
        told = float(codec.decode(data)["x"])
        assert told == expected or (math.isnan(told) and math.isnan(expected))
        payload = int.from_bytes(data[: codec.length_bytes], "little")
        assert codec.getters["x"](payload) == expected or math.isnan(expected)


@settings(max_examples=50)
@given(FLOATS, st.sampled_from([2.0, -0.5, 0.25]), st.sampled_from([0.0, -1.0, 8.0]))
def test_factor_and_offset_of_a_float(number: float, factor: float, offset: float) -> None:
    codec = codec_of(f"x: {{bits: 32, float: true, factor: {factor}, offset: {offset}}}")
    value = number * factor + offset
    low, high = sorted((-greatest_float(32) * factor + offset, greatest_float(32) * factor + offset))
    raw = codec.raws_from({"x": min(max(value, low), high)})[0]
    assert math.isclose(float_of(raw, 32), number, rel_tol=1e-6, abs_tol=abs(offset / factor) * 1e-15 + 1e-45)


def test_a_float_keeps_to_its_range_and_to_what_its_bits_hold() -> None:
    ranged = codec_of("x: {bits: 32, float: true, range: [-1.5, 1.5]}")
    with pytest.raises(ValueError, match=r"out of range: -1\.5 to 1\.5 is allowed"):
        ranged.encode({"x": 1.6})
    with pytest.raises(ValueError, match="out of range"):
        codec_of("x: {bits: 32, float: true}").encode({"x": 1e39})
    for number in (math.nan, math.inf):
        with pytest.raises(ValueError, match="takes a number"):
            ranged.encode({"x": number})


def test_a_float_starts_with_the_nearest_to_zero() -> None:
    assert codec_of("x: {bits: 32, float: true}").decode(bytes(4)) == {"x": 0.0}
    high = codec_of("x: {bits: 32, float: true, range: [2.5, 9]}")
    assert high.decode(high.encode({})) == {"x": 2.5}


def test_greatest_floats() -> None:
    assert greatest_float(32) == (2 - 2**-23) * 2.0**127  # IEEE 754-2008, table 3.5: emax 127, 24 digits
    assert math.isinf(float_of(pattern_of(greatest_float(32), 32) + 1, 32))
    assert math.isinf(float_of(pattern_of(greatest_float(64), 64) + 1, 64))


# --- constants and reserved bits


def test_constants_are_sent_whatever_is_said() -> None:
    codec = codec_of("magic: {bits: 12, constant: 0xABC}, below: {bits: 4, signed: true, constant: -3}, v: {bits: 8}")
    assert codec.pack([0, 0, 5], 0).to_bytes(3, "little") == bytes([0xBC, 0xDA, 5])
    assert codec.decode(codec.encode({"v": 5})) == {"magic": 2748.0, "below": -3.0, "v": 5.0}
    with pytest.raises(ValueError, match="`magic` is a constant of `m`: it is filled in when sending"):
        codec.encode({"magic": 1})


def test_a_constant_has_words_and_another_boards_number_is_told_as_it_is() -> None:
    codec = codec_of("version: {bits: 4, constant: 2, codes: {1: old, 2: new}}")
    assert codec.decode(codec.encode({})) == {"version": "new"}
    assert codec.decode(b"\x01") == {"version": "old"}
    assert codec.decode(b"\x07") == {"version": 7.0}


def test_reserved_bits_are_sent_as_0_and_never_told() -> None:
    codec = codec_of("a: {bits: 4}, spare: {bits: 4, reserved: true}, b: {bits: 8}")
    assert codec.pack([5, 15, 7], 0) == 5 | 7 << 8
    assert codec.decode(b"\xf5\x07") == {"a": 5.0, "b": 7.0}
    with pytest.raises(ValueError, match="`spare` of `m` is reserved: its bits are sent as 0"):
        codec.encode({"spare": 1})


# --- unknown and invalid

ANGLE = "angle: {bits: 12, factor: 0.05, range: [0, 180], unknown: 4095, invalid: 4094, safe: unknown}"


def test_unknown_and_invalid_are_words() -> None:
    codec = codec_of(ANGLE)
    assert codec.encode({"angle": "unknown"}) == (4095).to_bytes(2, "little")
    assert codec.decode(codec.encode({"angle": "invalid"})) == {"angle": "invalid"}
    assert codec.decode(codec.encode({"angle": 180})) == {"angle": 180.0}
    with pytest.raises(ValueError, match="out of range"):
        codec.encode({"angle": 190})


def test_unknown_stands_beside_codes() -> None:
    codec = codec_of("state: {bits: 3, codes: {0: shut, 1: open}, unknown: 7}")
    assert [codec.decode(bytes([raw]))["state"] for raw in (0, 1, 7, 5)] == ["shut", "open", "unknown", 5.0]
    with pytest.raises(ValueError, match="no code of"):
        codec.encode({"state": 5})


def test_two_numbers_that_would_both_be_unknown_are_refused() -> None:
    assert refused("state: {bits: 4, codes: {0: unknown, 1: open}, unknown: 5}") == [
        ("no-value", "`unknown` of `state` is raw 5, but another of its codes is called `unknown` too")
    ]
    assert codec_of("state: {bits: 4, codes: {5: unknown, 1: open}, unknown: 5}").decode(b"\x05") == {
        "state": "unknown"
    }
