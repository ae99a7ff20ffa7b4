"""Stuff bits and CRC-15 a byte at a time: the tables that `lengths` and `columns` share.

Bit stuffing is a machine of eight states: the last bit sent, and how many equal bits end there, 1 to 4 (a fifth
brings its stuff bit along, which starts a run of 1). A table of state and byte gives the next state and the stuff
bits within. A frame's bits seldom fill whole bytes, so they are padded on either side with alternating bits, among
which no stuff bit arises and after which the next run starts afresh. The CRC starts from 0 and so ignores leading 0s.
"""

from functools import cache

from busdesign.wire.frame import CRC_BITS, CRC_POLYNOMIAL, LONGEST_RUN_BITS

BASE_HEADER_BITS = 19  # start of frame 1, identifier 11, RTR 1, IDE 1, r0 1, length code 4
EXTENDED_HEADER_BITS = 39  # start of frame 1, identifier 11 + 18, SRR 1, IDE 1, RTR 1, r1 1, r0 1, length code 4
BASE_HEADER_BYTES = 3
EXTENDED_HEADER_BYTES = 5
BASE_PADDING = 0b10101 << BASE_HEADER_BITS  # ends recessive, as the bus before start of frame
EXTENDED_PADDING = 0b1 << EXTENDED_HEADER_BITS
FIRST_STATE = 0  # a single dominant bit, before which the padding's recessive bit starts afresh

RUNS = LONGEST_RUN_BITS - 1
STATES = 2 * RUNS


def base_header(identifier: int, remote: int, length_code: int) -> int:
    """The 19 bits before the data of a frame with an 11-bit identifier, as a number."""
    return identifier << 7 | remote << 6 | length_code


def extended_header(identifier: int, remote: int, length_code: int) -> int:
    """The 39 bits before the data of a frame with a 29-bit identifier, as a number."""
    return identifier >> 18 << 27 | 0b11 << 25 | (identifier & 0x3FFFF) << 7 | remote << 6 | length_code


def after_header(identifier: int, length_code: int, *, extended: bool, remote: bool) -> tuple[int, int, int]:
    """What the header of a valid frame leaves behind: (its stuff bits, CRC register, stuffing state)."""
    if extended:
        header, padding = extended_header(identifier, remote, length_code), EXTENDED_PADDING
    else:
        header, padding = base_header(identifier, remote, length_code), BASE_PADDING
    header_bytes = EXTENDED_HEADER_BYTES if extended else BASE_HEADER_BYTES
    stuff_bits, crc, state, crcs, stuffing = 0, 0, FIRST_STATE, crc_table(), stuffing_table()
    for byte, padded in zip(header.to_bytes(header_bytes), (header | padding).to_bytes(header_bytes), strict=True):
        state, more = stuffing[state][padded]
        stuff_bits += more
        crc = (crc & 0x7F) << 8 ^ crcs[crc >> 7 ^ byte]
    return stuff_bits, crc, state


def last_byte(crc: int) -> int:
    """The last seven bits of the CRC sequence and one bit of padding, their last bit's complement."""
    return (crc << 1 | ~crc & 1) & 0xFF


@cache
def crc_table() -> tuple[int, ...]:
    """Table of 256: what a byte in the register's upper eight bits adds to the CRC once shifted out.

    One step is ``crc = (crc & 0x7F) << 8 ^ table[crc >> 7 ^ byte]``.
    """
    return tuple(_shifted_out(byte) for byte in range(256))


def _shifted_out(byte: int) -> int:
    register = byte << CRC_BITS - 8
    for _ in range(8):
        register <<= 1
        if register >> CRC_BITS:
            register ^= 1 << CRC_BITS | CRC_POLYNOMIAL
    return register


@cache
def stuffing_table() -> tuple[tuple[tuple[int, int], ...], ...]:
    """Table [state][byte] of (next state, stuff bits); state = 4 x last bit + run - 1."""
    return tuple(tuple(_after_byte(state, byte) for byte in range(256)) for state in range(STATES))


def _after_byte(state: int, byte: int) -> tuple[int, int]:
    last, run = state // RUNS, state % RUNS + 1
    stuff_bits = 0
    for place in range(7, -1, -1):
        bit = byte >> place & 1
        run = run + 1 if bit == last else 1
        last = bit
        if run == LONGEST_RUN_BITS:
            stuff_bits += 1
            last, run = 1 - bit, 1
    return last * RUNS + run - 1, stuff_bits
