"""The most and the fewest stuff bits that can still come, whatever is sent, and with the CRC sequence that follows.

A dynamic program from the end of the frame to its start, over (what may still be sent, stuffing state, CRC register).
Three observations make it quick enough to be run where it is needed, in plain Python:

- The CRC is linear. So the register is described by the CRC sequence *if only zeros followed*: a 0 leaves that number
  alone, and a 1 with k bits after it flips the same bits of it, whatever they are.
- A number for each of the 32,768 registers is kept as planes: plane t is one integer whose bit r tells whether
  register r has more than t stuff bits to come. The larger of two numbers is then ``|``, the smaller ``&``, one more
  is one more full plane, and flipping bits of the register swaps blocks of the integer.
- Complement every bit to come and the CRC sequence, and the stuff bits are the same. So what is known after a
  recessive bit is kept with its registers complemented (`_complements`); where every payload is allowed it is then
  what is known after a dominant bit, and half the work falls away.

Nothing depends on the identifier, which only tells where to look.
"""

from collections.abc import Callable, Iterator, Mapping
from functools import cache, lru_cache
from itertools import zip_longest
from typing import TypeAlias

from busdesign.wire.byte_tables import EXTENDED_HEADER_BITS, RUNS
from busdesign.wire.frame import CRC_BITS, CRC_POLYNOMIAL, LARGEST_LENGTH_BYTES
from busdesign.wire.payload_sets import PayloadSet, any_bits

Planes: TypeAlias = tuple[int, ...]
Pick: TypeAlias = Callable[[Planes, Planes], Planes]
_Rows: TypeAlias = tuple[Planes, ...]  # of the runs of 1 to 4 equal bits
_Sides: TypeAlias = tuple[_Rows, _Rows]  # after a dominant bit, after a recessive one

_REGISTERS = 1 << CRC_BITS
_ALL = (1 << _REGISTERS) - 1
_SETS_REMEMBERED = 64  # a few hundred kB each: messages that differ only in their identifier share theirs
_MOST_BITS = EXTENDED_HEADER_BITS + 8 * LARGEST_LENGTH_BYTES  # what the CRC covers


def most(one: Planes, other: Planes) -> Planes:
    """The larger number for each register: of two bits, send the one that brings more stuff bits."""
    return tuple(
        _ALL if first is _ALL or second is _ALL or (either := first | second) == _ALL else either
        for first, second in zip_longest(one, other, fillvalue=0)
    )


def fewest(one: Planes, other: Planes) -> Planes:
    """The smaller number for each register: of two bits, send the one that brings fewer."""
    return tuple(both for first, second in zip(one, other, strict=False) if (both := first & second))


def stuff_bits_to_come(payloads: PayloadSet, crc: int, state: int, pick: Pick) -> int:
    """The ``most`` or ``fewest`` stuff bits in a payload and its CRC sequence, given the register and state before.

    ``state`` is that of `byte_tables`: 4 x last bit + run - 1. The first call for all payloads takes tens of ms, and
    so may every other set of payloads; then it is a look-up.
    """
    return _number(_sides_of(payloads, pick), payloads.bits, _if_zeros_follow(crc, payloads.bits), state)


def attaining_bits(payloads: PayloadSet, crc: int, state: int, pick: Pick) -> Iterator[int]:
    """The bits of a payload that has so many stuff bits, in the order of sending; a 0 where either bit does."""
    known = {rest: sides for layer in _from_end(payloads, pick) for rest, sides in layer.items()}
    register = _if_zeros_follow(crc, payloads.bits)
    wanted = _number(_sides_of(payloads, pick), payloads.bits, register, state)
    while payloads.bits:
        for bit, rest in enumerate((payloads.zero, payloads.one)):
            if rest is None:
                continue
            flipped = register ^ bit * _flips()[rest.bits]
            next_state, stuff_bits = _after_bit(state, bit)
            to_come = _number(known.get(rest) or _sides_of_any(rest.bits, pick), rest.bits, flipped, next_state)
            if stuff_bits + to_come == wanted:
                yield bit
                payloads, register, state, wanted = rest, flipped, next_state, to_come
                break


def _after_bit(state: int, bit: int) -> tuple[int, int]:
    """The stuffing machine, a bit at a time: (next state, stuff bits)."""
    if bit != state // RUNS:
        return bit * RUNS, 0
    if state % RUNS < RUNS - 1:
        return state + 1, 0
    return (1 - bit) * RUNS, 1


def _number(sides: _Sides, bits_to_come: int, register: int, state: int) -> int:
    recessive, run_less_1 = divmod(state, RUNS)
    place = register ^ recessive * _complements()[bits_to_come]
    return sum(plane >> place & 1 for plane in sides[recessive][run_less_1])


@lru_cache(maxsize=_SETS_REMEMBERED)
def _sides_of(payloads: PayloadSet, pick: Pick) -> _Sides:
    if payloads is any_bits(payloads.bits):
        return _sides_of_any(payloads.bits, pick)
    *_, last = _from_end(payloads, pick)
    return last[payloads]


@cache
def _sides_of_any(bits: int, pick: Pick) -> _Sides:
    if bits == 0:
        return _sides_of_crc()
    rest = _sides_of_any(bits - 1, pick)
    return _sides_before(bits - 1, rest, rest, pick)


def _from_end(payloads: PayloadSet, pick: Pick) -> Iterator[Mapping[PayloadSet, _Sides]]:
    """What is known of the rests of a payload, the shorter ones first; those that are free are left out."""
    layers = [{payloads} - {any_bits(payloads.bits)}]
    while layers[-1]:
        rests = {rest for longer in layers[-1] for rest in (longer.zero, longer.one) if rest is not None}
        layers.append({rest for rest in rests if rest is not any_bits(rest.bits)})
    known: dict[PayloadSet, _Sides] = {}

    def sides(rest: PayloadSet | None) -> _Sides | None:
        return None if rest is None else known.get(rest) or _sides_of_any(rest.bits, pick)

    for layer in reversed(layers[:-1]):
        known = {
            longer: _sides_before(longer.bits - 1, sides(longer.zero), sides(longer.one), pick) for longer in layer
        }
        yield known


def _sides_before(bits_to_come: int, zero: _Sides | None, one: _Sides | None, pick: Pick) -> _Sides:
    """What is known before a bit, from what is known after a ``zero`` and after a ``one``; None is not allowed."""
    same, turned = _complements()[bits_to_come], _complements()[bits_to_come + 1]
    dominant = _rows_before(zero, one, same, turned, pick)
    if zero is one and zero and zero[0] is zero[1]:
        return dominant, dominant
    return dominant, _rows_before(one and one[::-1], zero and zero[::-1], same, turned, pick)


def _rows_before(equal: _Sides | None, different: _Sides | None, same: int, turned: int, pick: Pick) -> _Rows:
    """What is known for each run before a bit that is ``equal`` to the last or ``different``, the last's side first."""
    ended = _flipped(different[1][0], turned) if different else ()
    if not equal:
        return (ended,) * RUNS
    goes_on = (*equal[0][1:], (_ALL, *_flipped(equal[1][0], same)))
    return tuple(pick(planes, ended) for planes in goes_on) if different else goes_on


@cache
def _sides_of_crc() -> _Sides:
    """The stuff bits of the CRC sequence itself, from its last bit to its first: registers of 0, 1, ... 15 bits."""
    dominant: list[Planes] = [()] * RUNS
    recessive = dominant
    for bits in range(CRC_BITS):
        half, full = 1 << bits, (1 << (1 << bits)) - 1
        zeros = [*dominant[1:], (full, *recessive[0])]
        ones = [*recessive[1:], (full, *dominant[0])]
        dominant, recessive = (
            [_joined(planes, recessive[0], half) for planes in zeros],
            [_joined(dominant[0], planes, half) for planes in ones],
        )
    rows = tuple(dominant)
    return rows, rows


def _joined(zero: Planes, one: Planes, half: int) -> Planes:
    """The numbers of a register of one bit more: those that begin with 0, then those that begin with 1."""
    return tuple(low | high << half for low, high in zip_longest(zero, one, fillvalue=0))


def _flipped(planes: Planes, bits: int) -> Planes:
    """Each register's number to the register with these bits flipped."""
    return tuple(plane if plane is _ALL else _swapped(plane, bits) for plane in planes)


def _swapped(plane: int, bits: int) -> int:
    for width, lower in _blocks():
        if bits & width:
            plane = (plane & lower) << width | plane >> width & lower
    return plane


@cache
def _blocks() -> tuple[tuple[int, int], ...]:
    """For each bit of the register its weight, and the plane of the registers where it is 0."""
    return tuple((1 << bit, _ALL // ((1 << (1 << bit)) + 1)) for bit in range(CRC_BITS))


def _shifted(register: int) -> int:
    """The register after a 0."""
    shifted = register << 1
    return shifted ^ (1 << CRC_BITS | CRC_POLYNOMIAL) if shifted >> CRC_BITS else shifted


def _if_zeros_follow(crc: int, bits: int) -> int:
    for _ in range(bits):
        crc = _shifted(crc)
    return crc


@cache
def _flips() -> tuple[int, ...]:
    """What a 1 flips of the CRC sequence, by the number of bits between the two."""
    flips = [CRC_POLYNOMIAL]
    while len(flips) < _MOST_BITS:
        flips.append(_shifted(flips[-1]))
    return tuple(flips)


@cache
def _complements() -> tuple[int, ...]:
    """By the number of bits to come: what complements the CRC sequence, if all of them are complemented, too."""
    complements = [_REGISTERS - 1]
    for flips in _flips():
        complements.append(complements[-1] ^ flips)
    return tuple(complements)
