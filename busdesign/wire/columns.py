"""The exact lengths of many classical frames: a compiled loop over columns.

The byte tables of `lengths`, as arrays. Importing this module loads numpy and numba; reach it only for many frames.
"""

from functools import cache

import numpy as np
from numpy.typing import NDArray

from busdesign.compiled import compiled
from busdesign.wire import byte_tables
from busdesign.wire.byte_tables import (
    BASE_HEADER_BITS,
    BASE_HEADER_BYTES,
    BASE_PADDING,
    EXTENDED_HEADER_BITS,
    EXTENDED_HEADER_BYTES,
    EXTENDED_PADDING,
    FIRST_STATE,
)
from busdesign.wire.flags import ERROR, EXTENDED, FD, REMOTE
from busdesign.wire.frame import (
    BASE_IDENTIFIER_BITS,
    CRC_BITS,
    EXTENDED_IDENTIFIER_BITS,
    LARGEST_LENGTH_BYTES,
    LARGEST_LENGTH_CODE,
)
from busdesign.wire.lengths import TRAILER_BITS

_NOT_CLASSICAL = ERROR | FD
_NONE_INVALID = -1

_base_header = compiled(byte_tables.base_header)
_extended_header = compiled(byte_tables.extended_header)
_last_byte = compiled(byte_tables.last_byte)


def frame_bits_of_columns(
    identifier: NDArray[np.uint32], flags: NDArray[np.uint8], length: NDArray[np.uint8], payload: NDArray[np.uint64]
) -> NDArray[np.int32]:
    """Bits of each frame, start of frame to the end of intermission; 0 for rows flagged ERROR or FD.

    All columns have shape [n]. ``flags`` are those of `flags`. ``length`` is the number of data bytes, or the length
    code of a remote frame. Byte i of the data is at bits 8 i to 8 i + 7 of ``payload``; what lies above is ignored.

    Raises ValueError if the columns differ in shape, or a row is no classical frame: identifier beyond 11 or 29 bits,
    more than 8 data bytes, a length code beyond 15.
    """
    if not identifier.shape == flags.shape == length.shape == payload.shape or identifier.ndim != 1:
        shapes = ", ".join(str(column.shape) for column in (identifier, flags, length, payload))
        raise ValueError(f"columns must have one and the same length, got the shapes {shapes}")
    bits = np.empty(identifier.size, np.int32)
    invalid: int = _fill(bits, identifier, flags, length, payload, *_tables())
    if invalid != _NONE_INVALID:
        width_bits = EXTENDED_IDENTIFIER_BITS if flags[invalid] & EXTENDED else BASE_IDENTIFIER_BITS
        raise ValueError(
            f"row {invalid} is no classical frame: identifier {identifier[invalid]:#x} ({width_bits} bits allowed), "
            f"length {length[invalid]} (0..8 allowed, 0..15 if remote)"
        )
    return bits


@cache
def _tables() -> tuple[NDArray[np.uint16], NDArray[np.uint16]]:
    """Stuffing [state * 256 + byte] of next state * 256 + stuff bits, and CRC [byte]."""
    stuffing = [state << 8 | stuff_bits for row in byte_tables.stuffing_table() for state, stuff_bits in row]
    return np.array(stuffing, np.uint16), np.array(byte_tables.crc_table(), np.uint16)


@compiled
def _stuff_bits(
    header: int,
    padded: int,
    header_bytes: int,
    data: np.uint64,
    length_bytes: int,
    stuffing: NDArray[np.uint16],
    crcs: NDArray[np.uint16],
) -> int:
    """The stuff bits of one frame: header, data and CRC through the stuffing machine, the CRC on the way."""
    stuff_bits, crc, state = 0, 0, FIRST_STATE << 8
    for place in range(8 * header_bytes - 8, -8, -8):
        answer = stuffing[state | padded >> place & 0xFF]
        state = answer & 0xFF00
        stuff_bits += answer & 0xFF
        crc = (crc & 0x7F) << 8 ^ crcs[crc >> 7 ^ header >> place & 0xFF]
    for _ in range(length_bytes):
        byte = np.int64(data & np.uint64(0xFF))  # signed as the rest: numba makes mixed sums float
        data >>= np.uint64(8)
        answer = stuffing[state | byte]
        state = answer & 0xFF00
        stuff_bits += answer & 0xFF
        crc = (crc & 0x7F) << 8 ^ crcs[crc >> 7 ^ byte]
    answer = stuffing[state | crc >> 7]
    stuff_bits += answer & 0xFF
    stuff_bits += stuffing[answer & 0xFF00 | _last_byte(crc)] & 0xFF
    return int(stuff_bits)


@compiled
def _fill(
    bits: NDArray[np.int32],
    identifier: NDArray[np.uint32],
    flags: NDArray[np.uint8],
    length: NDArray[np.uint8],
    payload: NDArray[np.uint64],
    stuffing: NDArray[np.uint16],
    crcs: NDArray[np.uint16],
) -> int:
    """Fill ``bits``; return the first row that is no valid frame, or -1."""
    for row in range(bits.size):
        if flags[row] & _NOT_CLASSICAL:
            bits[row] = 0
            continue
        extended, remote = flags[row] & EXTENDED, 1 if flags[row] & REMOTE else 0
        width_bits = EXTENDED_IDENTIFIER_BITS if extended else BASE_IDENTIFIER_BITS
        longest = LARGEST_LENGTH_CODE if remote else LARGEST_LENGTH_BYTES
        if identifier[row] >> width_bits or length[row] > longest:
            return row
        if extended:
            header = _extended_header(int(identifier[row]), remote, length[row])
            padded, header_bytes, header_bits = header | EXTENDED_PADDING, EXTENDED_HEADER_BYTES, EXTENDED_HEADER_BITS
        else:
            header = _base_header(int(identifier[row]), remote, length[row])
            padded, header_bytes, header_bits = header | BASE_PADDING, BASE_HEADER_BYTES, BASE_HEADER_BITS
        length_bytes = 0 if remote else length[row]
        stuff_bits = _stuff_bits(header, padded, header_bytes, payload[row], length_bytes, stuffing, crcs)
        bits[row] = header_bits + 8 * length_bytes + CRC_BITS + stuff_bits + TRAILER_BITS
    return _NONE_INVALID
