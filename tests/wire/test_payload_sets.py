"""Sets of payloads hold what their description says, and no more."""

from collections.abc import Callable
from itertools import product

import pytest
from hypothesis import given
from hypothesis import strategies as st

from busdesign.wire.payload_sets import (
    PayloadSet,
    all_of,
    any_of,
    any_payload,
    preceded,
    with_bits,
    with_bytes,
    with_field,
)

MANY_TWO_BYTES = [bytes(pair) for pair in product(range(0, 256, 5), range(256))]

numbers = st.integers(0, 0xFFFF)


def raw_of(payload: bytes, places: list[int]) -> int:
    whole = int.from_bytes(payload, "little")
    return sum((whole >> place & 1) << index for index, place in enumerate(places))


def test_any_payload_holds_every_payload_of_its_length_alone() -> None:
    for length_bytes in range(9):
        assert bytes(range(length_bytes)) in any_payload(length_bytes)
    assert b"ab" not in any_payload(1)
    assert b"" not in any_payload(1)


@given(numbers, numbers, st.binary(min_size=2, max_size=2))
def test_fixed_bits(mask: int, value: int, payload: bytes) -> None:
    whole = int.from_bytes(payload, "little")
    fixed = with_bits(2, mask, value & mask)
    assert (payload in fixed) == (whole & mask == value & mask)
    assert ((whole & ~mask) | value & mask).to_bytes(2, "little") in fixed


@given(st.lists(st.sets(st.integers(0, 255), min_size=1), min_size=1, max_size=4), st.data())
def test_bytes_of_each_position(allowed: list[set[int]], data: st.DataObject) -> None:
    payloads = with_bytes(allowed)
    assert bytes(data.draw(st.sampled_from(sorted(values))) for values in allowed) in payloads
    other = data.draw(st.binary(min_size=len(allowed), max_size=len(allowed)))
    assert (other in payloads) == all(byte in values for byte, values in zip(other, allowed, strict=True))


ranges_of_six_bits = st.lists(st.tuples(st.integers(0, 63), st.integers(0, 63)).map(sorted).map(tuple), min_size=1)


@given(st.permutations(range(16)), ranges_of_six_bits)
def test_a_field_anywhere_on_the_wire(order: list[int], ranges: list[tuple[int, int]]) -> None:
    places = order[:6]
    payloads = with_field(2, places, ranges)
    for raw in range(64):
        payload = sum((raw >> index & 1) << place for index, place in enumerate(places)).to_bytes(2, "little")
        assert (payload in payloads) == any(low <= raw <= high for low, high in ranges)


@pytest.mark.parametrize("places", [[*range(16)], [*range(8, 16), *range(8)], [*range(3, 13)]], ids=str)
@pytest.mark.parametrize("ranges", [[(100, 800)], [(0, 0)], [(7, 7), (9, 9), (500, 900)], [(1, 1 << 20)]], ids=str)
def test_a_field_over_two_bytes(places: list[int], ranges: list[tuple[int, int]]) -> None:
    payloads = with_field(2, places, ranges)
    for payload in MANY_TWO_BYTES:
        assert (payload in payloads) == any(low <= raw_of(payload, places) <= high for low, high in ranges)


def test_equal_sets_are_one_object() -> None:
    low, high = with_field(3, range(4, 20), [(0, 999)]), with_field(3, range(4, 20), [(1000, 0xFFFF)])
    assert any_of(low, high) is any_payload(3)
    assert all_of(any_payload(3), low) is all_of(low, any_payload(3), low) is low
    assert with_bits(1, 0xC1, 0x40) is preceded("01xxxxx0", any_payload(0))
    assert with_bytes([range(256)] * 8) is any_payload(8)


@given(numbers, numbers, numbers, numbers, st.binary(min_size=2, max_size=2))
def test_both_and_either(mask: int, value: int, first: int, second: int, payload: bytes) -> None:
    fixed = with_bits(2, mask, value & mask)
    ranged = with_field(2, range(16), [(min(first, second), max(first, second))])
    assert (payload in any_of(fixed, ranged)) == (payload in fixed or payload in ranged)
    try:
        common = all_of(fixed, ranged)
    except ValueError:
        assert not (payload in fixed and payload in ranged)
    else:
        assert (payload in common) == (payload in fixed and payload in ranged)


@pytest.mark.parametrize(
    ("made", "said"),
    [
        (lambda: any_payload(9), r"9 data bytes are not within 0\.\.8"),
        (lambda: with_bits(1, 0x100, 0), "within the 8 bits of the payload"),
        (lambda: with_bits(1, 0x0F, 0x10), "within the 8 bits of the payload"),
        (lambda: with_bytes([{1}, set()]), "no payload is left"),
        (lambda: with_bytes([{256}]), r"bytes are 0\.\.255"),
        (lambda: with_field(1, [0, 8], [(0, 1)]), r"within 0\.\.7"),
        (lambda: with_field(1, [0, 0], [(0, 1)]), "distinct"),
        (lambda: with_field(1, [0, 1], [(4, 9)]), "no payload is left"),
        (lambda: with_field(1, [0, 1], []), "no payload is left"),
        (lambda: all_of(with_bits(1, 1, 0), with_bits(1, 1, 1)), "no payload is left"),
        (lambda: any_of(any_payload(1), any_payload(2)), "8 and of 16 bits"),
    ],
)
def test_what_is_no_set_is_refused(made: Callable[[], PayloadSet], said: str) -> None:
    with pytest.raises(ValueError, match=said):
        made()
