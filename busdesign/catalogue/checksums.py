"""Checks that an application puts into its payload, so that a receiver can tell a stale or broken one.

Parameters as in the published catalogue of CRC algorithms; check values are held in tests/published. A CRC signal
covers all other bytes of the payload in their order, and before or behind them those of ``data_ids``.
"""

from dataclasses import dataclass
from functools import cache


@dataclass(frozen=True, slots=True)
class Checksum:
    """A CRC in the usual parameters: width, polynomial, start value, reflection, final exclusive or."""

    name: str
    width: int
    polynomial: int
    start: int
    reflected: bool
    final_xor: int


CHECKSUMS = {
    checksum.name: checksum
    for checksum in (
        Checksum("crc8-j1850", 8, 0x1D, 0xFF, False, 0xFF),  # SAE J1850
        Checksum("crc8-j1850-zero", 8, 0x1D, 0x00, False, 0x00),  # of AUTOSAR end-to-end profile 1
        Checksum("crc8-2f", 8, 0x2F, 0xFF, False, 0xFF),  # AUTOSAR CRC library, 8H2F
        Checksum("crc16-ccitt", 16, 0x1021, 0xFFFF, False, 0x0000),  # AUTOSAR CRC library, 16 bit
        Checksum("crc32", 32, 0x04C11DB7, 0xFFFFFFFF, True, 0xFFFFFFFF),  # IEEE 802.3
    )
}


@cache
def byte_table(name: str) -> tuple[int, ...]:
    """The 256 registers that one byte leaves behind, for the byte-at-a-time form of algorithm ``name``."""
    checksum = CHECKSUMS[name]
    return tuple(_after_byte(checksum, byte) for byte in range(256))


def _after_byte(checksum: Checksum, byte: int) -> int:
    mask = (1 << checksum.width) - 1
    if checksum.reflected:
        polynomial = int(f"{checksum.polynomial:0{checksum.width}b}"[::-1], 2)
        register = byte
        for _ in range(8):
            register = (register >> 1) ^ (polynomial if register & 1 else 0)
        return register
    register = byte << (checksum.width - 8)
    for _ in range(8):
        register = ((register << 1) ^ (checksum.polynomial if register >> (checksum.width - 1) else 0)) & mask
    return register


def checksum_of(name: str, data: bytes) -> int:
    """The check value of ``data`` by algorithm ``name``. Raises KeyError for an unknown name."""
    checksum, table = CHECKSUMS[name], byte_table(name)
    register, mask, top = checksum.start, (1 << checksum.width) - 1, checksum.width - 8
    for byte in data:
        if checksum.reflected:
            register = (register >> 8) ^ table[(register ^ byte) & 0xFF]
        else:
            register = ((register << 8) & mask) ^ table[(register >> top) ^ byte]
    return register ^ checksum.final_xor
