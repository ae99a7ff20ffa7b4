"""What a transmitter puts on the pair: the bits of a classical frame from start of frame to the CRC sequence, stuffed.

Compiled, one frame at a time; held against `wire.frame`, which says the same in words. Another frame format has its
own function here; the node's state machine reads bits and what they are, and not frames.
"""

from busdesign.compiled import compiled_within
from busdesign.virtual.referee.layout import (
    ARBITRATION,
    DATA_HIGH,
    DATA_LOW,
    EXTENDED,
    IDENTIFIER,
    LENGTH_CODE,
    REMOTE,
    STUFF_BIT,
    Ints,
)
from busdesign.wire import byte_tables
from busdesign.wire.byte_tables import BASE_HEADER_BITS, EXTENDED_HEADER_BITS
from busdesign.wire.frame import CRC_BITS, CRC_POLYNOMIAL, LARGEST_LENGTH_BYTES, LONGEST_RUN_BITS

_base_header = compiled_within(byte_tables.base_header)
_extended_header = compiled_within(byte_tables.extended_header)

BASE_REMOTE_BIT, EXTENDED_REMOTE_BIT = 12, 32  # the last bit of arbitration, counted without stuff bits
_CRC_MASK = (1 << CRC_BITS) - 1


@compiled_within
def crc_after(crc: int, bit: int) -> int:
    """The CRC register after one more bit; 0 after a whole frame with its own CRC sequence."""
    return (crc << 1 & _CRC_MASK) ^ CRC_POLYNOMIAL * (crc >> (CRC_BITS - 1) ^ bit)


@compiled_within
def data_bits_of(length_code: int, remote: int) -> int:
    """Bits of the data field."""
    return 0 if remote else 8 * min(length_code, LARGEST_LENGTH_BYTES)


@compiled_within
def lay_out_bits(m: Ints, frame: int, start: int) -> None:
    """Write the bits of ``frame`` from ``start`` on: level, STUFF_BIT and ARBITRATION.

    A stuff bit belongs to the arbitration if it comes before the bit that requests a remote frame, as in rule 3,
    exception 2 of fault confinement.
    """
    identifier, remote, length_code = m[frame + IDENTIFIER], m[frame + REMOTE], m[frame + LENGTH_CODE]
    if m[frame + EXTENDED]:
        header, header_bits = _extended_header(identifier, remote, length_code), EXTENDED_HEADER_BITS
        decided = EXTENDED_REMOTE_BIT
    else:
        header, header_bits = _base_header(identifier, remote, length_code), BASE_HEADER_BITS
        decided = BASE_REMOTE_BIT
    covered = header_bits + data_bits_of(length_code, remote)
    crc, run, last, place = 0, 0, 1, start
    for raw in range(covered + CRC_BITS):
        if raw < header_bits:
            bit = header >> (header_bits - 1 - raw) & 1
        elif raw < header_bits + 32 and raw < covered:
            bit = m[frame + DATA_HIGH] >> (header_bits + 31 - raw) & 1
        elif raw < covered:
            bit = m[frame + DATA_LOW] >> (header_bits + 63 - raw) & 1
        else:
            bit = crc >> (covered + CRC_BITS - 1 - raw) & 1
        if raw < covered:
            crc = crc_after(crc, bit)
        m[place] = bit | (ARBITRATION if 0 < raw <= decided else 0)
        place += 1
        run = run + 1 if bit == last else 1
        last = bit
        if run == LONGEST_RUN_BITS:
            run, last = 1, 1 - bit
            m[place] = last | STUFF_BIT | (ARBITRATION if raw < decided else 0)
            place += 1
