"""Which payloads a message may carry, as a diagram of choices: bit after bit in the order of sending.

Every bit that may be 0 or 1 leads to what may follow it then. Equal rests are one and the same object, so that a
field's range or list of codes takes a few objects a bit, however many payloads it admits. What cannot be said this
way (a counter, an application's checksum) stays free: the set is larger than the truth, and what is the longest or
shortest of it still bounds the truth, safely.

A payload's bits are also numbered as everywhere in the program: byte i holds the places 8 i (least significant) to
8 i + 7, and of each byte the most significant bit is sent first.
"""

from collections.abc import Callable, Collection, Iterable, Sequence
from functools import cache
from typing import TypeAlias
from weakref import WeakValueDictionary

from busdesign.wire.frame import LARGEST_LENGTH_BYTES


class PayloadSet:
    """A set of payloads of one length, never empty: what may follow if the next bit is 0, and if it is 1.

    Made by the functions of this module and not directly. Equal sets are the same object. ``bits`` is the length of
    every payload in it; ``zero`` or ``one`` is None where that bit is not allowed.
    """

    __slots__ = ("__weakref__", "bits", "one", "zero")

    def __init__(self, zero: "PayloadSet | None", one: "PayloadSet | None", bits: int) -> None:
        self.zero, self.one, self.bits = zero, one, bits

    def __contains__(self, payload: bytes) -> bool:
        if 8 * len(payload) != self.bits:
            return False
        rest: PayloadSet | None = self
        for place in _in_order_of_sending(len(payload)):
            if rest is None:
                return False
            rest = rest.one if payload[place // 8] >> place % 8 & 1 else rest.zero
        return rest is not None


_Maybe: TypeAlias = "PayloadSet | None"

_END = PayloadSet(None, None, 0)
_known: WeakValueDictionary[tuple[_Maybe, _Maybe], PayloadSet] = WeakValueDictionary()


def _choice(zero: _Maybe, one: _Maybe) -> _Maybe:
    """What begins with a 0 and goes on as ``zero`` does, or begins with a 1 and goes on as ``one``; None is nothing."""
    some = zero or one
    if some is None:
        return None
    made = _known.get((zero, one))
    if made is None:
        made = _known[zero, one] = PayloadSet(zero, one, some.bits + 1)
    return made


@cache
def any_bits(count: int) -> PayloadSet:
    """All sequences of ``count`` bits."""
    return preceded("x", any_bits(count - 1)) if count else _END


def preceded(pattern: str, rest: PayloadSet) -> PayloadSet:
    """``rest`` after the bits of ``pattern``, first sent first: ``0``, ``1``, or ``x`` for either."""
    made: _Maybe = rest
    for sign in reversed(pattern):
        made = _choice(None if sign == "1" else made, None if sign == "0" else made)
    return _not_empty(made)


def any_payload(length_bytes: int) -> PayloadSet:
    """All payloads of that length. Raises ValueError unless ``length_bytes`` is 0..8."""
    return any_bits(len(_in_order_of_sending(length_bytes)))


def with_bits(length_bytes: int, mask: int, value: int) -> PayloadSet:
    """The payloads whose bits in ``mask`` are those of ``value``, both as integers (byte i in places 8 i to 8 i + 7).

    For constants and reserved bits. Raises ValueError if ``mask`` exceeds the payload, or ``value`` the mask.
    """
    order = _in_order_of_sending(length_bytes)
    if mask >> len(order) or value & ~mask:
        raise ValueError(f"bits {value:#x} of {mask:#x} are not within the {len(order)} bits of the payload")
    return preceded("".join(str(value >> place & 1) if mask >> place & 1 else "x" for place in order), _END)


def with_bytes(allowed: Sequence[Collection[int]]) -> PayloadSet:
    """The payloads whose every byte is one of those ``allowed`` at its position. Raises ValueError if none is."""
    _in_order_of_sending(len(allowed))  # refuses more than 8
    made: _Maybe = _END
    for values in reversed(allowed):
        if not all(0 <= value <= 0xFF for value in values):
            raise ValueError(f"bytes are 0..255, got {sorted(values)}")
        made = _byte(sorted(set(values)), 7, made)
    return _not_empty(made)


def _byte(values: list[int], bit: int, rest: _Maybe) -> _Maybe:
    """``values`` agree above ``bit``."""
    if not values or bit < 0:
        return rest if values else None
    zeros = [value for value in values if not value >> bit & 1]
    return _choice(_byte(zeros, bit - 1, rest), _byte(values[len(zeros) :], bit - 1, rest))


def all_of(first: PayloadSet, *others: PayloadSet) -> PayloadSet:
    """The payloads that are in every one of the sets. Raises ValueError if none is, or if lengths differ."""
    return _combined(first, others, _common)


def any_of(first: PayloadSet, *others: PayloadSet) -> PayloadSet:
    """The payloads that are in at least one of the sets. Raises ValueError if lengths differ."""
    return _combined(first, others, _either)


_Pairs: TypeAlias = dict[tuple[PayloadSet, PayloadSet], _Maybe]


def _combined(
    first: PayloadSet, others: Iterable[PayloadSet], two: Callable[[_Maybe, _Maybe, _Pairs], _Maybe]
) -> PayloadSet:
    made: _Maybe = first
    for other in others:
        if other.bits != first.bits:
            raise ValueError(f"payloads of {first.bits} and of {other.bits} bits cannot be combined")
        made = two(made, other, {})
    return _not_empty(made)


def _common(one: _Maybe, other: _Maybe, done: _Pairs) -> _Maybe:
    if one is None or other is None:
        return None
    if one is other or other is any_bits(other.bits):
        return one
    if (one, other) not in done:
        done[one, other] = _choice(_common(one.zero, other.zero, done), _common(one.one, other.one, done))
    return done[one, other]


def _either(one: _Maybe, other: _Maybe, done: _Pairs) -> _Maybe:
    if one is None or other is None or one is other:
        return one or other
    if (one, other) not in done:
        done[one, other] = _choice(_either(one.zero, other.zero, done), _either(one.one, other.one, done))
    return done[one, other]


def _not_empty(made: _Maybe) -> PayloadSet:
    if made is None:
        raise ValueError("no payload is left in the set")
    return made


@cache
def _in_order_of_sending(length_bytes: int) -> tuple[int, ...]:
    """The places of a payload's bits."""
    if not 0 <= length_bytes <= LARGEST_LENGTH_BYTES:
        raise ValueError(f"{length_bytes} data bytes are not within 0..8, the lengths of a classical frame")
    return tuple(8 * byte + bit for byte in range(length_bytes) for bit in range(7, -1, -1))


# A bound on a field, and its comparison so far: the significance + 1 of the highest bit that differs, negative where
# the field is below the bound, 0 where no bit has differed. A bound that will hold whatever follows is None.
_Bound: TypeAlias = "tuple[int, int] | None"
_Range: TypeAlias = tuple[_Bound, _Bound]


def with_field(length_bytes: int, places: Sequence[int], ranges: Iterable[tuple[int, int]]) -> PayloadSet:
    """The payloads one field of which lies in one of the ``ranges`` (lowest, highest), both included.

    ``places`` are where the field's bits are, the least significant first, in any order on the wire; ``ranges`` are
    of the raw value, unsigned. Raises ValueError for a place outside the payload or named twice, and if no raw value
    of the field is in any range.
    """
    order = _in_order_of_sending(length_bytes)
    significance = {place: index for index, place in enumerate(places)}
    if len(significance) != len(places) or not significance.keys() <= set(order):
        raise ValueError(f"a field's places are distinct and within 0..{8 * length_bytes - 1}, got {list(places)}")
    highest_to_come = [max((significance.get(place, -1) for place in order[i:]), default=-1) for i in range(len(order))]
    highest_to_come.append(-1)

    @cache
    def grown(index: int, living: frozenset[_Range]) -> _Maybe:
        if not living:
            return None
        if (None, None) in living or index == len(order):
            return any_bits(len(order) - index)
        own = significance.get(order[index])
        if own is None:
            rest = grown(index + 1, living)
            return _choice(rest, rest)
        zero, one = (_after(living, bit, own, highest_to_come[index + 1]) for bit in (0, 1))
        return _choice(grown(index + 1, zero), grown(index + 1, one))

    largest = (1 << len(places)) - 1
    within = [(max(low, 0), min(high, largest)) for low, high in ranges]
    return _not_empty(grown(0, frozenset(((low, 0), (high, 0)) for low, high in within if low <= high)))


def _after(living: frozenset[_Range], bit: int, significance: int, highest_to_come: int) -> frozenset[_Range]:
    """The ranges that can still be met once the field's ``bit`` of that significance is known."""
    kept: set[_Range] = set()
    for low, high in living:
        above = _compared(low, bit, significance)
        below = _compared(high, bit, significance)
        settled = highest_to_come + 1  # a difference above it decides
        if (above and above[1] < -settled) or (below and below[1] > settled):
            continue
        kept.add(
            (None if above and above[1] > settled else above, None if below and below[1] < -settled else below),
        )
    return frozenset(kept)


def _compared(bound: _Bound, bit: int, significance: int) -> _Bound:
    if bound is None:
        return None
    value, difference = bound
    own = value >> significance & 1
    if bit == own or abs(difference) > significance + 1:
        return bound
    return value, significance + 1 if bit > own else -significance - 1
