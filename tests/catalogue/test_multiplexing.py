"""Signals on pages, at any depth: the codec against an oracle that walks through the bits, and against cantools."""

import math
import random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from busdesign.catalogue.codec import MessageCodec
from busdesign.catalogue.model import Message, Role
from busdesign.catalogue.reader import parse_catalogue
from busdesign.errors import CatalogueError
from tests.catalogue.layouts import read_bits
from tests.catalogue.paged_layouts import bits_of, is_there, meaning, paged_messages

HEAD = "catalogue: tried\nbus: {bit_rate: 250 kbit/s}\nnodes: {a: {}}\n"
PAYLOADS = st.binary(min_size=8, max_size=8)


def codec_of(signals: str, rest: str = "") -> MessageCodec:
    text = f"{HEAD}messages:\n  m: {{id: 1, from: a, every: 1 s, {rest} signals: {{{signals}}}}}\n"
    return MessageCodec(parse_catalogue(text).message("m"))


def random_raws(message: Message, seed: int) -> list[int]:
    """A raw number for each signal; of a selector, mostly one that selects."""
    rng, raws = random.Random(seed), []
    for signal in message.signals:
        pages = [raw for other in message.signals if other.selector == signal.name for raw in other.selected_by]
        anything = rng.randint(signal.raw_min, signal.raw_max)
        raws.append(rng.choice([*pages, *pages, anything, signal.raw_min, signal.raw_max]))
    return raws


def same(ours: float | str, expected: float | str) -> bool:
    if isinstance(ours, float) and isinstance(expected, float) and math.isnan(expected):
        return math.isnan(ours)
    return ours == expected


@settings(max_examples=80)
@given(paged_messages(), PAYLOADS)
def test_decode_tells_what_is_there_and_nothing_else(message: Message, data: bytes) -> None:
    codec = MessageCodec(message)
    decoded = codec.decode(data)
    expected = {
        signal.name: meaning(signal, data)
        for signal in message.signals
        if is_there(message, signal, data) and signal.role is not Role.RESERVED
    }
    assert decoded.keys() == expected.keys()
    assert all(same(decoded[name], expected[name]) for name in expected)


@settings(max_examples=80)
@given(paged_messages(), st.integers(0, 2**32))
def test_pack_writes_the_carried_signals_and_leaves_every_other_bit_0(message: Message, seed: int) -> None:
    codec, raws = MessageCodec(message), random_raws(message, seed)
    data = codec.pack(raws, 0).to_bytes(8, "little")
    taken: set[int] = set()
    for signal, raw in zip(message.signals, raws, strict=True):
        if not is_there(message, signal, data):
            continue
        expected = {Role.CONSTANT: signal.constant, Role.RESERVED: 0}.get(signal.role, raw)
        assert read_bits(data, signal) == expected
        assert not taken & bits_of(signal), "two signals of one frame share no bit"
        taken |= bits_of(signal)
    assert all(bit in taken for bit in range(64) if data[bit // 8] >> bit % 8 & 1)


@settings(max_examples=40)
@given(paged_messages(), PAYLOADS)
def test_getters_agree_with_decode_and_refuse_what_is_not_there(message: Message, data: bytes) -> None:
    codec, payload = MessageCodec(message), int.from_bytes(data, "little")
    decoded = codec.decode(data)
    for signal in message.signals:
        if signal.name in decoded:
            assert same(codec.getters[signal.name](payload), decoded[signal.name])
        elif signal.role is not Role.RESERVED:
            with pytest.raises(ValueError, match=f"does not carry `{signal.name}`"):
                codec.getters[signal.name](payload)


NESTED = """
    page: {bits: 2, codes: {0: plain, 1: shared, 2: deep}}, plain: {bits: 8, start: 2, when: {page: plain}},
    shared: {bits: 4, start: 2, when: {page: [shared, deep]}}, sub: {bits: 4, start: 6, when: {page: deep}},
    low: {bits: 6, start: 10, when: {sub: [1, 2]}}, high: {bits: 6, start: 10, signed: true, when: {sub: 3}}
"""


def test_pages_by_hand() -> None:
    codec = codec_of(NESTED)
    assert codec.length_bytes == 2
    assert codec.decode(codec.encode({"page": "plain", "plain": 200, "low": 63})) == {"page": "plain", "plain": 200.0}
    assert codec.encode({"page": "plain", "plain": 200}) == (200 << 2).to_bytes(2, "little")
    deep = {"page": "deep", "shared": 9.0, "sub": 3.0, "high": -32.0}
    assert codec.encode(deep) == (2 | 9 << 2 | 3 << 6 | 0b100000 << 10).to_bytes(2, "little")
    assert codec.decode(codec.encode(deep)) == deep
    assert codec.decode(codec.encode({**deep, "sub": 15})) == {"page": "deep", "shared": 9.0, "sub": 15.0}
    assert codec.decode(b"\xff\xff") == {"page": 3.0}, "a page that has no signal"


def test_a_page_below_a_page_is_gone_with_it() -> None:
    codec = codec_of(NESTED)
    shown_by_chance = {"page": "shared", "shared": 0, "sub": 3, "high": 5}
    assert codec.decode(codec.encode(shown_by_chance)) == {"page": "shared", "shared": 0.0}


def test_constant_selector_selects_for_ever() -> None:
    codec = codec_of("kind: {bits: 3, constant: 5}, body: {bits: 5, when: {kind: 5}}")
    assert codec.encode({"body": 17}) == bytes([5 | 17 << 3])
    assert codec.decode(bytes([4 | 17 << 3])) == {"kind": 4.0}, "from a board that does not keep to the catalogue"


def test_pages_share_bits_and_one_that_two_frames_need_is_refused() -> None:
    codec = codec_of("p: {bits: 1}, a: {bits: 7, when: {p: 0}}, b: {bits: 7, when: {p: 1}}")
    assert codec.length_bytes == 1
    with pytest.raises(CatalogueError) as raised:
        codec_of("p: {bits: 2}, a: {bits: 6, start: 2, when: {p: [0, 1]}}, b: {bits: 6, start: 2, when: {p: [1, 2]}}")
    assert [finding.rule for finding in raised.value.findings] == ["signal-overlap"]


def test_check_covers_the_page_that_is_sent() -> None:
    codec = codec_of("p: {bits: 8}, a: {bits: 8, when: {p: 0}}, b: {bits: 8, when: {p: 1}}, c: {bits: 8, crc: crc8-2f}")
    first, second = codec.encode({"p": 0, "a": 7, "b": 9}), codec.encode({"p": 1, "a": 7, "b": 9})
    assert (first[1], second[1]) == (7, 9)
    assert codec.check_holds(first)
    assert codec.check_holds(second)
    assert not codec.check_holds(bytes([1, first[1], first[2]]))


def test_a_chain_of_a_thousand_selectors_is_refused_where_the_frame_is_full() -> None:
    chain = "".join(f"      s{at}: {{bits: 1, when: {{s{at - 1}: 1}}}}\n" for at in range(1, 1000))
    text = (
        "catalogue: x\nbus: {bit_rate: 250 kbit/s}\nnodes: {panel: {}}\nmessages:\n"
        f"  m:\n    id: 1\n    from: panel\n    every: 5 ms\n    signals:\n      s0: {{bits: 1}}\n{chain}"
    )
    with pytest.raises(CatalogueError) as refused:
        parse_catalogue(text)
    found = refused.value.findings
    assert {finding.rule for finding in found} == {"signal-outside"}
    assert found[0].text == "`s64` (1 bit) finds no room: 0 of 64 bits are free"
    assert len(found) == 1000 - 64
