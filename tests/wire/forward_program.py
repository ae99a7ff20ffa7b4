"""The longest and shortest frame by the plain forward program, as an independent road to the number.

From start of frame on, bit by bit: the most (or fewest) stuff bits so far for every CRC register and stuffing state
that can be reached, as one numpy array. Nothing of the program's own is used but the polynomial.
"""

import numpy as np
from numpy.typing import NDArray

from busdesign.wire.frame import CRC_BITS, CRC_POLYNOMIAL

_REGISTERS = np.arange(1 << CRC_BITS)
_UNREACHED = -1000


def _next_registers(bit: int) -> NDArray[np.int64]:
    feedback = _REGISTERS >> CRC_BITS - 1 ^ bit
    return (_REGISTERS << 1) % (1 << CRC_BITS) ^ feedback * CRC_POLYNOMIAL


_NEXT = [_next_registers(bit) for bit in (0, 1)]


def _after(last: int, run: int, bit: int) -> tuple[int, int, int]:
    """(last bit, run, stuff bits) after one more bit."""
    run = run + 1 if bit == last else 1
    return (1 - bit, 1, 1) if run == 5 else (bit, run, 0)


def extreme_stuff_bits(pattern: str, *, longest: bool) -> int:
    """Stuff bits of the longest or shortest frame whose bits, start of frame to data, are those of ``pattern``.

    ``0`` and ``1`` are given bits, ``x`` is free. The CRC sequence is counted too.
    """
    sign = 1 if longest else -1  # the fewest are the most of the negative
    reached = {(1, 1): np.full(_REGISTERS.size, _UNREACHED)}  # after the recessive bus: a run that SOF ends
    reached[1, 1][0] = 0
    for given in pattern:
        following: dict[tuple[int, int], NDArray[np.int64]] = {}
        for (last, run), stuff_bits in reached.items():
            for bit in (0, 1) if given == "x" else (int(given),):
                next_last, next_run, more = _after(last, run, bit)
                best = following.setdefault((next_last, next_run), np.full(_REGISTERS.size, _UNREACHED))
                best[_NEXT[bit]] = np.maximum(best[_NEXT[bit]], stuff_bits + sign * more)
        reached = following
    with_crc = [stuff_bits + sign * _in_crc(*state) for state, stuff_bits in reached.items()]
    return sign * int(max(column.max() for column in with_crc))


def _in_crc(last: int, run: int) -> NDArray[np.int64]:
    """Stuff bits of each register sent as the CRC sequence."""
    lasts, runs = np.full(_REGISTERS.size, last), np.full(_REGISTERS.size, run)
    stuff_bits = np.zeros(_REGISTERS.size, np.int64)
    for place in range(CRC_BITS - 1, -1, -1):
        bits = _REGISTERS >> place & 1
        runs = np.where(bits == lasts, runs + 1, 1)
        full = runs == 5
        stuff_bits += full
        lasts, runs = np.where(full, 1 - bits, bits), np.where(full, 1, runs)
    return stuff_bits
