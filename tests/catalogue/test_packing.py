"""Packing: no two signals on one bit, none outside, those with a place stay there, and the same every time."""

from hypothesis import given
from hypothesis import strategies as st

from busdesign.catalogue.model import ByteOrder, bit_positions
from busdesign.catalogue.packing import Layout, Slot, fills_whole_bytes, lay
from tests.catalogue.layouts import ORDERS, slots

LITTLE, BIG = ByteOrder.LITTLE, ByteOrder.BIG


def bits_of(slot: Slot, layout: Layout) -> tuple[int, ...]:
    return bit_positions(layout.start_bits[slot.name], slot.length_bits, slot.byte_order)


def drawn(slot: Slot) -> list[str]:
    """The rows of a payload as in the drawing at the head of ``packing``, with the slot's bits by their last digit."""
    start = slot.start_bit or 0
    place = {bit: number for number, bit in enumerate(bit_positions(start, slot.length_bits, slot.byte_order))}
    rows = max(place) // 8 + 1
    return [" ".join(str(place.get(8 * row + bit, "."))[-1] for bit in range(7, -1, -1)) for row in range(rows)]


def test_the_two_byte_orders_as_they_are_drawn() -> None:
    assert drawn(Slot("s", 10, LITTLE, 6)) == ["1 0 . . . . . .", "9 8 7 6 5 4 3 2"]
    assert drawn(Slot("s", 10, BIG, 1)) == [". . . . . . 9 8", "7 6 5 4 3 2 1 0"]


def test_in_the_order_written_and_small_ones_inside_a_byte() -> None:
    layout = lay([Slot("a", 3, LITTLE, None), Slot("b", 6, LITTLE, None), Slot("c", 5, LITTLE, None)], None)
    assert (dict(layout.start_bits), layout.length_bytes, layout.clashes) == ({"a": 0, "b": 8, "c": 3}, 2, ())


def test_small_ones_cross_bytes_only_where_no_byte_has_room() -> None:
    written = [Slot("a", 5, LITTLE, None), Slot("b", 5, LITTLE, None), Slot("c", 6, LITTLE, None)]
    assert dict(lay(written, None).start_bits) == {"a": 0, "b": 8, "c": 16}
    assert dict(lay(written, 2).start_bits) == {"a": 0, "b": 5, "c": 10}


@given(st.lists(st.integers(1, 64), min_size=1, max_size=20).filter(lambda lengths: sum(lengths) <= 64), ORDERS)
def test_signals_of_one_byte_order_always_fit_where_their_bits_do(lengths: list[int], order: ByteOrder) -> None:
    written = [Slot(f"s{n}", length, order, None) for n, length in enumerate(lengths)]
    assert lay(written, -(-sum(lengths) // 8)).clashes == ()


def test_big_endian_from_the_top_of_a_byte() -> None:
    layout = lay([Slot("a", 4, BIG, None), Slot("b", 12, BIG, None)], None)
    assert dict(layout.start_bits) == {"a": 7, "b": 3}


def test_a_check_fills_a_byte_of_its_own() -> None:
    for order in ByteOrder:
        layout = lay([Slot("a", 4, order, None), Slot("check", 8, order, None, whole_bytes=True)], None)
        assert fills_whole_bytes(bits_of(Slot("check", 8, order, None), layout))


def test_longest_first_where_the_written_order_leaves_no_room() -> None:
    written = [
        Slot("a", 1, LITTLE, None),
        Slot("check", 8, LITTLE, None, whole_bytes=True),
        Slot("b", 55, LITTLE, None),
    ]
    assert lay(written, 8).clashes == ()


def test_payload_as_long_as_the_last_bit_or_as_said() -> None:
    assert lay([], None).length_bytes == 0
    assert lay([Slot("a", 1, LITTLE, 40)], None).length_bytes == 6
    assert lay([Slot("a", 1, LITTLE, None)], 5).length_bytes == 5


@given(slots(), st.one_of(st.none(), st.integers(0, 8)))
def test_inside_apart_and_the_same_every_time(loose: list[Slot], length_bytes: int | None) -> None:
    layout = lay(loose, length_bytes)
    assert layout == lay(loose, length_bytes)
    placed = [bit for slot in loose if slot.name in layout.start_bits for bit in bits_of(slot, layout)]
    assert len(placed) == len(set(placed))
    assert all(0 <= bit < 8 * layout.length_bytes for bit in placed)
    assert layout.length_bytes <= 8
    homeless = {clash.name for clash in layout.clashes}
    assert homeless | set(layout.start_bits) == {slot.name for slot in loose}
    assert not homeless & set(layout.start_bits)
    assert all(clash.other is None and not clash.bits for clash in layout.clashes)


@given(slots(room_bits=56))
def test_those_with_a_place_stay_there(loose: list[Slot]) -> None:
    before = lay(loose, 8)
    fixed = [Slot(slot.name, slot.length_bits, slot.byte_order, before.start_bits.get(slot.name)) for slot in loose]
    wanted = {slot.name: slot.start_bit for slot in fixed if slot.start_bit is not None}
    after = lay([Slot("new", 1, LITTLE, None), *fixed], 8)
    assert {name: after.start_bits[name] for name in wanted} == wanted
    assert {name for name in after.start_bits if name not in wanted} >= {"new"}


@given(st.integers(0, 70), st.integers(1, 64), ORDERS, st.integers(0, 70), st.integers(1, 64), ORDERS)
def test_two_with_places_clash_exactly_where_they_share_bits_or_leave_the_payload(
    start: int, length: int, order: ByteOrder, other_start: int, other_length: int, other_order: ByteOrder
) -> None:
    first, second = Slot("a", length, order, start), Slot("b", other_length, other_order, other_start)
    bits, other_bits = (
        set(bit_positions(slot.start_bit or 0, slot.length_bits, slot.byte_order)) for slot in (first, second)
    )
    layout = lay([first, second], 8)
    outside = {slot.name for slot, places in ((first, bits), (second, other_bits)) if max(places) > 63}
    assert {clash.name for clash in layout.clashes if clash.other is None} == outside
    shared = bits & other_bits if not outside else set()
    assert {bit for clash in layout.clashes if clash.other for bit in clash.bits} == shared
    for clash in layout.clashes:
        if clash.next_free_start is not None:
            mended = [
                Slot(
                    slot.name,
                    slot.length_bits,
                    slot.byte_order,
                    clash.next_free_start if slot.name == clash.name else slot.start_bit,
                )
                for slot in (first, second)
                if slot.name == clash.name or slot.name not in outside
            ]
            assert lay(mended, 8).clashes == ()
