"""The longest and shortest frames: brute force, an independent program, frames that attain them, safe narrowing."""

import random
from itertools import product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from busdesign.wire.columns import frame_bits_of_columns
from busdesign.wire.flags import EXTENDED
from busdesign.wire.frame import Frame, lay_out
from busdesign.wire.lengths import frame_bits, longest_published_bits, shortest_bits
from busdesign.wire.longest import (
    longest_bits_of_any_identifier,
    longest_exact_bits,
    longest_frame,
    shortest_exact_bits,
    shortest_frame,
)
from busdesign.wire.payload_sets import PayloadSet, all_of, any_of, any_payload, with_bits, with_bytes, with_field
from tests.wire.forward_program import extreme_stuff_bits

BUSY_BYTES = [0x00, 0xFF, 0x0F, 0xF0, 0x3C, 0xC3, 0x1E, 0xE1, 0x87, 0x78, 0x1F, 0x07, 0xF8, 0xC1]  # long runs


def some_identifiers(count: int) -> list[tuple[int, bool]]:
    """As many of 11 bits as of 29, the outermost among them."""
    rng = random.Random(8)
    base = [0, 0x7FF, *(rng.getrandbits(11) for _ in range(count // 2 - 2))]
    extended = [0, 0x1FFFFFFF, *(rng.getrandbits(29) for _ in range(count // 2 - 2))]
    return [*((identifier, False) for identifier in base), *((identifier, True) for identifier in extended)]


def lengths_of(identifier: int, extended: bool, length_bytes: int, payload: NDArray[np.uint64]) -> NDArray[np.int32]:
    rows = payload.size
    return frame_bits_of_columns(
        np.full(rows, identifier, np.uint32),
        np.full(rows, EXTENDED * extended, np.uint8),
        np.full(rows, length_bytes, np.uint8),
        payload,
    )


@pytest.mark.parametrize(("length_bytes", "count"), [(0, 2000), (1, 1000), (2, 200)])
def test_equal_to_brute_force_over_every_payload(length_bytes: int, count: int) -> None:
    every, payloads = np.arange(1 << 8 * length_bytes, dtype=np.uint64), any_payload(length_bytes)
    for identifier, extended in some_identifiers(count):
        bits = lengths_of(identifier, extended, length_bytes, every)
        assert longest_exact_bits(identifier, payloads, extended=extended) == bits.max()
        assert shortest_exact_bits(identifier, payloads, extended=extended) == bits.min()


@pytest.mark.parametrize("length_bytes", range(3, 9))
def test_never_passed_by_random_search(length_bytes: int) -> None:
    rng = np.random.default_rng(length_bytes)
    busy = rng.choice(np.array(BUSY_BYTES, np.uint8), (20_000, 8))
    payload = np.concatenate([rng.integers(0, 1 << 64, 20_000, np.uint64), busy.view(np.uint64).ravel()])
    payloads = any_payload(length_bytes)
    for identifier, extended in some_identifiers(16):
        bits = lengths_of(identifier, extended, length_bytes, payload)
        longest = longest_exact_bits(identifier, payloads, extended=extended)
        assert shortest_exact_bits(identifier, payloads, extended=extended) <= bits.min()
        assert bits.max() <= longest <= longest_published_bits(length_bytes, extended=extended)


def header_pattern(identifier: int, length_code: int, extended: bool) -> str:
    if extended:
        return f"0{identifier >> 18:011b}11{identifier & 0x3FFFF:018b}000{length_code:04b}"
    return f"0{identifier:011b}000{length_code:04b}"


@pytest.mark.parametrize(
    ("identifier", "extended", "length_bytes", "dlc"),
    [(0x123, False, 8, None), (0x5A5, False, 8, 15), (0x18DAF110, True, 8, 9), (0x0, False, 5, None)],
)
def test_equal_to_the_forward_program(identifier: int, extended: bool, length_bytes: int, dlc: int | None) -> None:
    pattern = header_pattern(identifier, length_bytes if dlc is None else dlc, extended) + "x" * 8 * length_bytes
    unstuffed, payloads = shortest_bits(length_bytes, extended=extended), any_payload(length_bytes)
    longest = longest_exact_bits(identifier, payloads, extended=extended, dlc=dlc)
    shortest = shortest_exact_bits(identifier, payloads, extended=extended, dlc=dlc)
    assert longest == unstuffed + extreme_stuff_bits(pattern, longest=True)
    assert shortest == unstuffed + extreme_stuff_bits(pattern, longest=False)


def test_fixed_bits_are_equal_to_the_forward_program() -> None:
    """Bits 0 to 11 of the payload 0, 20 to 22 as 5, 48 to 63 reserved and 1; of what is sent, that is this pattern."""
    payloads = with_bits(8, 0xFFFF << 48 | 0b111 << 20 | 0xFFF, 0xFFFF << 48 | 0b101 << 20)
    pattern = header_pattern(0x2A7, 8, False) + "00000000" + "xxxx0000" + "x101xxxx" + "x" * 24 + "1" * 16
    assert longest_exact_bits(0x2A7, payloads) == 111 + extreme_stuff_bits(pattern, longest=True)
    assert shortest_exact_bits(0x2A7, payloads) == 111 + extreme_stuff_bits(pattern, longest=False)


def test_the_formula_is_five_bits_too_long_for_identifier_0x123() -> None:
    assert longest_exact_bits(0x123, any_payload(8)) == 130
    assert longest_published_bits(8) == 135


@given(st.from_type(Frame))
def test_every_frame_lies_within_and_the_bounds_are_attained(frame: Frame) -> None:
    of = {"extended": frame.extended, "remote": frame.remote}
    payloads, unstuffed = any_payload(len(frame.data)), shortest_bits(len(frame.data), extended=frame.extended)
    shortest = shortest_exact_bits(frame.identifier, payloads, **of, dlc=frame.dlc)
    longest = longest_exact_bits(frame.identifier, payloads, **of, dlc=frame.dlc)
    assert unstuffed <= shortest <= lay_out(frame).length_bits <= longest
    assert longest <= longest_published_bits(len(frame.data), extended=frame.extended)
    for made, bits in (
        (longest_frame(frame.identifier, payloads, **of, dlc=frame.dlc), longest),
        (shortest_frame(frame.identifier, payloads, **of, dlc=frame.dlc), shortest),
    ):
        assert (made.identifier, made.extended, made.remote, made.dlc) == (
            frame.identifier,
            frame.extended,
            frame.remote,
            frame.dlc,
        )
        assert lay_out(made).length_bits == bits


def test_a_remote_frame_has_one_length() -> None:
    for code in range(16):
        bits = frame_bits(0x7F0, remote=True, dlc=code)
        assert longest_exact_bits(0x7F0, any_payload(0), remote=True, dlc=code) == bits
        assert shortest_exact_bits(0x7F0, any_payload(0), remote=True, dlc=code) == bits


@pytest.mark.parametrize("length_bytes", range(9))
def test_of_any_identifier_is_the_longest_of_all_base_identifiers(length_bytes: int) -> None:
    payloads = any_payload(length_bytes)
    longest = max(longest_exact_bits(identifier, payloads) for identifier in range(0x800))
    assert longest_bits_of_any_identifier(length_bytes) == longest


@pytest.mark.parametrize("length_bytes", [0, 8])
def test_of_any_extended_identifier_is_equal_to_the_forward_program(length_bytes: int) -> None:
    pattern = f"0{'x' * 11}11{'x' * 18}000{length_bytes:04b}" + "x" * 8 * length_bytes
    bits = shortest_bits(length_bytes, extended=True) + extreme_stuff_bits(pattern, longest=True)
    assert longest_bits_of_any_identifier(length_bytes, extended=True) == bits


def test_no_frame_is_refused_as_a_frame_refuses_it() -> None:
    with pytest.raises(ValueError, match="identifier 0x800"):
        longest_exact_bits(0x800, any_payload(1))
    with pytest.raises(ValueError, match="a remote frame carries no data"):
        shortest_exact_bits(1, any_payload(1), remote=True)
    with pytest.raises(ValueError, match="length code 3 contradicts 2 data bytes"):
        longest_frame(1, any_payload(2), dlc=3)


small_sets = st.lists(
    st.sets(st.sampled_from(BUSY_BYTES) | st.integers(0, 255), min_size=1, max_size=3), min_size=1, max_size=5
)


@settings(deadline=None, max_examples=25)  # each one a dynamic program of its own
@given(st.integers(0, 0x1FFFFFFF), st.booleans(), small_sets)
def test_of_allowed_bytes_equal_to_brute_force(identifier: int, extended: bool, allowed: list[set[int]]) -> None:
    identifier = identifier if extended else identifier & 0x7FF
    payloads = with_bytes(allowed)
    every = [frame_bits(identifier, bytes(data), extended=extended) for data in product(*allowed)]
    assert longest_exact_bits(identifier, payloads, extended=extended) == max(every)
    assert shortest_exact_bits(identifier, payloads, extended=extended) == min(every)
    longest, shortest = (make(identifier, payloads, extended=extended) for make in (longest_frame, shortest_frame))
    assert longest.data in payloads
    assert shortest.data in payloads
    assert lay_out(longest).length_bits == max(every)
    assert lay_out(shortest).length_bits == min(every)


TWO_BYTES_ALIKE = any_of(*(with_bytes([{byte}, {byte}]) for byte in range(256)))
TWO_BYTE_SETS = {
    "a range in both bytes, low byte first": with_field(2, range(3, 14), [(17, 1234)]),
    "a range in both bytes, high byte first": with_field(2, [*range(8, 16), *range(3)], [(17, 1234)]),
    "codes beside a constant": all_of(with_field(2, range(4), [(1, 1), (5, 7), (15, 15)]), with_bits(2, 0xF0, 0x50)),
    "one layout or the other": any_of(with_bits(2, 0xFF0F, 0x0001), with_bits(2, 0x0F0F, 0x0802)),
    "the second byte repeats the first": TWO_BYTES_ALIKE,
}


@pytest.mark.parametrize("payloads", TWO_BYTE_SETS.values(), ids=TWO_BYTE_SETS)
def test_of_declared_fields_equal_to_brute_force(payloads: PayloadSet) -> None:
    allowed = [number for number in range(1 << 16) if number.to_bytes(2, "little") in payloads]
    for identifier, extended in some_identifiers(16):
        bits = lengths_of(identifier, extended, 2, np.array(allowed, np.uint64))
        assert longest_exact_bits(identifier, payloads, extended=extended) == bits.max()
        assert shortest_exact_bits(identifier, payloads, extended=extended) == bits.min()


def test_narrowing_never_widens_and_stays_safe() -> None:
    """Fields of an 8-byte message, one after the other: each narrows or leaves the bounds, and samples stay within."""
    fields = [(range(10), 900), (range(10, 12), 2), (range(12, 28), 4000), (range(28, 31), 5), (range(40, 56), 30_000)]
    rng = np.random.default_rng(3)
    sampled = np.zeros(20_000, np.uint64)
    for places, highest in fields:
        sampled |= rng.integers(0, highest + 1, sampled.size, np.uint64) << np.uint64(places[0])
    payloads = any_payload(8)
    longest, shortest = longest_exact_bits(0x210, payloads), shortest_exact_bits(0x210, payloads)
    unused = 0xFFFF_FFFF_FFFF_FFFF ^ sum(1 << place for places, _ in fields for place in places)
    for part in (*(with_field(8, places, [(0, highest)]) for places, highest in fields), with_bits(8, unused, 0)):
        payloads = all_of(payloads, part)
        assert shortest <= (shortest := shortest_exact_bits(0x210, payloads))
        assert longest >= (longest := longest_exact_bits(0x210, payloads))
    bits = lengths_of(0x210, False, 8, sampled)
    assert shortest <= bits.min()
    assert bits.max() <= longest < longest_exact_bits(0x210, any_payload(8))
    assert lay_out(longest_frame(0x210, payloads)).length_bits == longest
