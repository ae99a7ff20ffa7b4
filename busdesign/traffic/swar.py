"""Eight characters at once: what the compiled reader of text logs does with the text in one 64-bit word.

A word holds eight bytes of the file, the first one lowest (the hosts this runs on are little-endian, which
``load_word`` does not rely on: it swaps where they are not). None of the functions branches on the text.

The tests of a byte's class work on its low seven bits, so that no carry leaves a byte, and refuse a set top bit apart.
"""

import sys
from typing import Any

import numpy as np
from llvmlite import ir
from numba import types
from numba.core import cgutils
from numba.extending import intrinsic

from busdesign.compiled import compiled_in_place

_IS_BIG = sys.byteorder == "big"


def _every(byte: int) -> np.uint64:
    return np.uint64(byte * 0x0101_0101_0101_0101)


_TOP, _LOW_7, _NIBBLE, _ZERO, _SMALL = _every(0x80), _every(0x7F), _every(0x0F), _every(0x30), _every(0x20)
_FROM_0, _PAST_9 = _every(0x80 - ord("0")), _every(0x80 - ord("9") - 1)
_FROM_A, _PAST_F = _every(0x80 - ord("a")), _every(0x80 - ord("f") - 1)
_PAST_9_OF_VALUE = _every(0x80 - 10)
_PAIRS, _QUADS, _LOW_HALF = np.uint64(0x00FF_00FF_00FF_00FF), np.uint64(0x0000_FFFF_0000_FFFF), np.uint64(0xFFFF_FFFF)
# Ten of one byte and one of the next, and so on for pairs and quads of digits: each product puts the sum on top.
_TENS, _HUNDREDS, _TEN_THOUSANDS = np.uint64(10 << 8 | 1), np.uint64(100 << 16 | 1), np.uint64(10_000 << 32 | 1)
_1, _4, _7, _8, _9, _16, _24, _32 = (np.uint64(number) for number in (1, 4, 7, 8, 9, 16, 24, 32))


def _load_word(typing_context: Any, data: Any, at: Any) -> Any:
    def generate(context: Any, builder: Any, signature: Any, arguments: Any) -> Any:
        array = context.make_array(signature.args[0])(context, builder, arguments[0])
        place = builder.gep(array.data, [arguments[1]])
        word = builder.load(builder.bitcast(place, ir.IntType(64).as_pointer()))
        word.align = 1
        return builder.bswap(word) if _IS_BIG else word

    return types.uint64(data, types.int64), generate


def _trailing_zeros(typing_context: Any, word: Any) -> Any:
    def generate(context: Any, builder: Any, signature: Any, arguments: Any) -> Any:
        return builder.cttz(arguments[0], cgutils.false_bit)

    return types.int64(types.uint64), generate


load_word: Any = intrinsic(_load_word)
"""``(data, at)``: the eight bytes of ``data`` from ``at`` on, which must all be within it: nothing tests for that."""

trailing_zeros: Any = intrinsic(_trailing_zeros)
"""``(word)``: how many of its lowest bits are 0, as int64; 64 of a word that is 0."""


@compiled_in_place
def not_decimal(word: np.uint64) -> np.uint64:
    """0 if all eight characters are decimal digits."""
    values = word ^ _ZERO
    return np.uint64((((values & _LOW_7) + _PAST_9_OF_VALUE) | values) & _TOP)


@compiled_in_place
def decimal(word: np.uint64) -> Any:
    """The number that eight decimal digits write, int64."""
    pairs = ((word & _NIBBLE) * _TENS >> _8) & _PAIRS
    quads = (pairs * _HUNDREDS >> _16) & _QUADS
    return np.int64(quads * _TEN_THOUSANDS >> _32)


@compiled_in_place
def hexadecimal(word: np.uint64) -> tuple[np.uint64, np.uint64]:
    """Values of eight hex digits, one a byte, and the top bit of each byte that is none (its value is below 16)."""
    low = word & _LOW_7
    is_digit = (low + _FROM_0) & ~(low + _PAST_9)
    small = low | _SMALL
    is_letter = (small + _FROM_A) & ~(small + _PAST_F) & _TOP
    values = (word & _NIBBLE) + (is_letter >> _7) * _9
    return values, np.uint64((~(is_digit | is_letter) | word) & _TOP)


@compiled_in_place
def packed(values: np.uint64) -> np.uint64:
    """Four bytes from the values of eight hex digits, the first one lowest."""
    pairs = (values << _4 | values >> _8) & _PAIRS
    quads = (pairs | pairs >> _8) & _QUADS
    return np.uint64((quads | quads >> _16) & _LOW_HALF)


@compiled_in_place
def first_highest(four_bytes: np.uint64) -> np.uint64:
    """The same four bytes the other way round."""
    outer = four_bytes << _24 | four_bytes >> _24
    inner = (four_bytes & np.uint64(0xFF00)) << _8 | (four_bytes & np.uint64(0xFF_0000)) >> _8
    return np.uint64((outer | inner) & _LOW_HALF)
