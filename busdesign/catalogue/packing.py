"""Where each signal lies in the payload: fixed ones stay, the others take the first place that is free.

    bit    7 6 5 4 3 2 1 0        a 10-bit signal, little-endian from bit 6:   its bits 0 1 | 2 .. 9
    byte 0 1 0 . . . . . .        (bit 0 of the signal lies in bit 6 of byte 0)
    byte 1 9 8 7 6 5 4 3 2

    byte 0 . . . . . . 9 8        the same, big-endian from bit 1: its top bit lies in bit 1 of byte 0
    byte 1 7 6 5 4 3 2 1 0

A signal of at most eight bits is kept inside one byte if there is room for that; a check starts on a byte boundary.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from busdesign.catalogue.model import MAX_CLASSICAL_BYTES, ByteOrder, bit_positions


@dataclass(frozen=True, slots=True)
class Slot:
    """A signal that wants a place: ``start_bit`` None if any will do."""

    name: str
    length_bits: int
    byte_order: ByteOrder
    start_bit: int | None
    whole_bytes: bool = False


@dataclass(frozen=True, slots=True)
class Clash:
    """A signal that cannot lie where it wants: ``other`` it overlaps, or None where the frame has no room for it."""

    name: str
    other: str | None
    bits: tuple[int, ...]
    next_free_start: int | None
    free_bits: int


@dataclass(frozen=True, slots=True)
class Layout:
    """Start bit of every signal that found a place, the payload's length, and what found none."""

    start_bits: Mapping[str, int]
    length_bytes: int
    clashes: tuple[Clash, ...]


def lay(slots: Sequence[Slot], length_bytes: int | None) -> Layout:
    """Place ``slots`` in a payload of ``length_bytes``, or in the shortest that holds them (at most 8 bytes)."""
    room_bits = 8 * (MAX_CLASSICAL_BYTES if length_bytes is None else length_bytes)
    owner: dict[int, str] = {}
    starts: dict[str, int] = {}
    clashes: list[Clash] = []
    for slot in sorted(slots, key=lambda slot: slot.start_bit is None):  # fixed ones first, else as written
        start = slot.start_bit if slot.start_bit is not None else _first_free(slot, owner, room_bits)
        clash = _clash(slot, start, owner, room_bits)
        if clash:
            clashes.append(clash)
        if start is not None and not (clash and clash.other is None):
            starts[slot.name] = start
            owner.update(dict.fromkeys(bit_positions(start, slot.length_bits, slot.byte_order), slot.name))
    used_bytes = max(owner, default=-1) // 8 + 1
    return Layout(starts, used_bytes if length_bytes is None else length_bytes, tuple(clashes))


def _clash(slot: Slot, start: int | None, owner: Mapping[int, str], room_bits: int) -> Clash | None:
    free_bits = room_bits - len(owner)
    if start is None:
        return Clash(slot.name, None, (), None, free_bits)
    bits = bit_positions(start, slot.length_bits, slot.byte_order)
    if max(bits) >= room_bits:
        return Clash(slot.name, None, bits, _first_free(slot, owner, room_bits), free_bits)
    taken = tuple(sorted(bit for bit in bits if bit in owner))
    if not taken:
        return None
    return Clash(slot.name, owner[taken[0]], taken, _first_free(slot, owner, room_bits), free_bits)


def _first_free(slot: Slot, owner: Mapping[int, str], room_bits: int) -> int | None:
    ways = [_inside_a_byte, _anywhere] if slot.length_bits <= 8 else [_anywhere]
    for allowed in ways if not slot.whole_bytes else [_on_a_byte]:
        for start in _starts(slot.byte_order, room_bits):
            bits = bit_positions(start, slot.length_bits, slot.byte_order)
            if max(bits) < room_bits and allowed(bits) and not any(bit in owner for bit in bits):
                return start
    return None


def _starts(byte_order: ByteOrder, room_bits: int) -> Iterable[int]:
    if byte_order is ByteOrder.LITTLE:
        return range(room_bits)
    return _from_the_top(room_bits)


def _from_the_top(room_bits: int) -> Iterator[int]:
    for place in range(room_bits):
        yield 8 * (place // 8) + (7 - place % 8)


def _inside_a_byte(bits: Sequence[int]) -> bool:
    return min(bits) // 8 == max(bits) // 8


def _on_a_byte(bits: Sequence[int]) -> bool:
    return min(bits) % 8 == 0 and max(bits) % 8 == 7


def _anywhere(bits: Sequence[int]) -> bool:
    return True
