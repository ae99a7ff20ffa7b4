"""Where each signal lies in the payload: fixed ones stay, the others take the first place that is free.

    bit    7 6 5 4 3 2 1 0        a 10-bit signal, little-endian from bit 6:   its bits 0 1 | 2 .. 9
    byte 0 1 0 . . . . . .        (bit 0 of the signal lies in bit 6 of byte 0)
    byte 1 9 8 7 6 5 4 3 2

    byte 0 . . . . . . 9 8        the same, big-endian from bit 1: its top bit lies in bit 1 of byte 0
    byte 1 7 6 5 4 3 2 1 0

A signal of at most eight bits is kept inside one byte if there is room for that; a check fills whole bytes. Signals are
placed in the order they are written in; only if that leaves one without a place, the longest first; and only if that
does so too, without regard to bytes.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence, Set
from dataclasses import dataclass, field, replace

from busdesign.catalogue.model import MAX_CLASSICAL_BYTES, ByteOrder, bit_positions

Pages = tuple[tuple[str, frozenset[int]], ...]  # selector, and the raw numbers of it


@dataclass(frozen=True, slots=True)
class Slot:
    """A signal that wants a place: ``start_bit`` None if any will do."""

    name: str
    length_bits: int
    byte_order: ByteOrder
    start_bit: int | None
    whole_bytes: bool = False
    pages: Pages = ()  # the conditions under which it is there, the nearest selector's first; () for always
    _raws: Mapping[str, frozenset[int]] = field(init=False, repr=False, compare=False)  # of the selectors in ``pages``

    def __post_init__(self) -> None:
        object.__setattr__(self, "_raws", dict(self.pages))

    def excludes(self, other: "Slot") -> bool:
        """Whether no frame carries both, so that they may lie on the same bits.

        Where their ways to the signals that are always there meet, they part by the raw numbers of that selector;
        from there on the conditions of both are the same.
        """
        theirs = other._raws
        meeting = next((selector for selector, _ in self.pages if selector in theirs), None) if theirs else None
        return meeting is not None and self._raws[meeting].isdisjoint(theirs[meeting])

    def loose(self) -> "Slot":
        """The same without a start bit."""
        return replace(self, start_bit=None)


@dataclass(frozen=True, slots=True)
class Clash:
    """A signal that cannot lie where it wants: ``other`` is the one it overlaps in ``bits``, None beyond the payload.

    ``next_free_start`` is a place that would do, kept free of the other clashes' hints; ``bits`` is empty for a signal
    without a start bit that found no place.
    """

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
    """Place ``slots`` in a payload of ``length_bytes``, or of as many bytes (at most 8) as they come to take."""
    room_bits = 8 * (MAX_CLASSICAL_BYTES if length_bytes is None else length_bytes)
    fixed = [slot for slot in slots if slot.start_bit is not None]
    loose = [slot for slot in slots if slot.start_bit is None]
    attempts = (_Table(room_bits, [*fixed, *order], tight) for order, tight in _orders(loose))
    first = next(attempts)
    table = first if not first.homeless else next((other for other in attempts if not other.homeless), first)
    used_bytes = max(table.owners, default=-1) // 8 + 1
    return Layout(table.starts, used_bytes if length_bytes is None else length_bytes, tuple(table.clashes_with_hints()))


def _orders(loose: Sequence[Slot]) -> Iterator[tuple[Sequence[Slot], bool]]:
    """In which order to place those without a start bit, and whether to ignore bytes: the first that fits is taken."""
    yield loose, False
    yield sorted(loose, key=lambda slot: -slot.length_bits), False
    yield sorted(loose, key=lambda slot: (not slot.whole_bytes, slot.byte_order is ByteOrder.BIG)), True


class _Table:
    """The bits of a payload, and who owns each: filled slot by slot, in the order given.

    A bit has several owners where no frame carries two of them.
    """

    def __init__(self, room_bits: int, slots: Iterable[Slot], tight: bool) -> None:
        self.room_bits = room_bits
        self.tight = tight
        self.owners: dict[int, list[Slot]] = {}
        self._bits_of: list[tuple[Slot, Sequence[int]]] = []  # the same, told the other way round
        self.starts: dict[str, int] = {}
        self.homeless = False  # whether a signal without a start bit found no place
        self._clashes: list[tuple[Slot, Clash]] = []
        for slot in slots:
            self._place(slot)

    def clashes_with_hints(self) -> Iterator[Clash]:
        for slot, clash in self._clashes:
            free_bits, start = self.room_bits - len(self._taken_from(slot)), None
            if slot.start_bit is not None:
                start = self._first_free_elsewhere(slot)
            if start is not None:  # no two hints for one place
                self._take(slot, start)
            yield replace(clash, next_free_start=start, free_bits=max(free_bits, 0))

    def _first_free_elsewhere(self, slot: Slot) -> int | None:
        """Where ``slot`` could move to: what it leaves is free for itself, but not for others, who may not wait."""
        held, held_bits = self.owners, self._bits_of
        others = {bit: [owner for owner in owners if owner is not slot] for bit, owners in held.items()}
        self.owners = {bit: owners for bit, owners in others.items() if owners}
        self._bits_of = [(owner, bits) for owner, bits in held_bits if owner is not slot]
        start = self._first_free(slot)
        self.owners, self._bits_of = held, held_bits
        return start

    def _place(self, slot: Slot) -> None:
        start = slot.start_bit if slot.start_bit is not None else self._first_free(slot)
        if start is None:
            self.homeless = True
            self._clashes.append((slot, Clash(slot.name, None, (), None, 0)))
            return
        bits = bit_positions(start, slot.length_bits, slot.byte_order)
        if max(bits) >= self.room_bits:
            self._clashes.append((slot, Clash(slot.name, None, bits, None, 0)))
            return
        shared = self._taken_from(slot) & set(bits) if slot.start_bit is not None else ()
        if shared:
            other = next(owner for owner in self.owners[min(shared)] if not owner.excludes(slot))
            common = tuple(bit for bit in sorted(bits) if other in self.owners.get(bit, ()))
            self._clashes.append((slot, Clash(slot.name, other.name, common, None, 0)))
        self.starts[slot.name] = start
        self._take(slot, start)

    def _take(self, slot: Slot, start: int) -> None:
        bits = bit_positions(start, slot.length_bits, slot.byte_order)
        self._bits_of.append((slot, bits))
        for bit in bits:
            self.owners.setdefault(bit, []).append(slot)

    def _taken_from(self, slot: Slot) -> Set[int]:
        """The bits in which ``slot`` would disturb another."""
        if not slot.pages:  # whoever owns a bit would be disturbed
            return self.owners.keys()
        return {bit for owner, bits in self._bits_of if not owner.excludes(slot) for bit in bits}

    def _first_free(self, slot: Slot) -> int | None:
        taken = self._taken_from(slot)
        if slot.length_bits > self.room_bits - len(taken):
            return None
        ways = [_inside_a_byte, _anywhere] if slot.length_bits <= 8 and not self.tight else [_anywhere]
        if slot.whole_bytes:
            ways = [fills_whole_bytes]
        for allowed in ways:
            for start in _starts(slot.byte_order, self.room_bits):
                bits = bit_positions(start, slot.length_bits, slot.byte_order)
                if taken.isdisjoint(bits) and max(bits) < self.room_bits and allowed(bits):
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


def fills_whole_bytes(bits: Sequence[int]) -> bool:
    """Whether no byte is used in part."""
    return len(bits) == 8 * len({bit // 8 for bit in bits})


def _anywhere(bits: Sequence[int]) -> bool:
    return True
