"""The longest and the shortest frame a message can have: exact, and a frame that attains it.

The textbook's bound (`lengths.longest_published_bits`) takes every bit as free. But control bits are fixed, the
identifier is known and the CRC sequence follows from the data, so that most frames never come near it. Here the
header is walked once, and the rest is looked up in what `stuff_bits_to_come` has worked out for all identifiers.

What the payload may be is said as a `PayloadSet`: ``any_payload(8)``, or one that is narrowed by what is declared of
constants, ranges and codes. The answer is exact for the set. Where the set holds more payloads than ever occur (a
counter or a checksum taken as free), the longest is still an upper bound and the shortest a lower one.

All counts run from start of frame to the end of the three bits of intermission.
"""

from functools import lru_cache

from busdesign.wire.byte_tables import FIRST_STATE, after_header
from busdesign.wire.frame import BASE_IDENTIFIER_BITS, EXTENDED_IDENTIFIER_BITS, Frame
from busdesign.wire.lengths import shortest_bits
from busdesign.wire.payload_sets import PayloadSet, any_payload, preceded
from busdesign.wire.stuff_bits_to_come import Pick, attaining_bits, fewest, most, stuff_bits_to_come


def longest_exact_bits(
    identifier: int, payloads: PayloadSet, *, extended: bool = False, remote: bool = False, dlc: int | None = None
) -> int:
    """The length of the longest frame with this identifier and one of the ``payloads``.

    A remote frame takes ``any_payload(0)`` and a ``dlc``. Raises ValueError where `Frame` would.
    """
    return _extreme_bits(identifier, payloads, extended, remote, dlc, most)


def shortest_exact_bits(
    identifier: int, payloads: PayloadSet, *, extended: bool = False, remote: bool = False, dlc: int | None = None
) -> int:
    """The length of the shortest frame with this identifier and one of the ``payloads``; else as the longest."""
    return _extreme_bits(identifier, payloads, extended, remote, dlc, fewest)


def longest_frame(
    identifier: int, payloads: PayloadSet, *, extended: bool = False, remote: bool = False, dlc: int | None = None
) -> Frame:
    """A frame that is as long as `longest_exact_bits` says, always the same one."""
    return _extreme_frame(identifier, payloads, extended, remote, dlc, most)


def shortest_frame(
    identifier: int, payloads: PayloadSet, *, extended: bool = False, remote: bool = False, dlc: int | None = None
) -> Frame:
    """A frame that is as short as `shortest_exact_bits` says, always the same one."""
    return _extreme_frame(identifier, payloads, extended, remote, dlc, fewest)


def longest_bits_of_any_identifier(length_bytes: int, *, extended: bool = False, dlc: int | None = None) -> int:
    """The longest data frame of that length, whatever its identifier and its data; ``dlc`` as `Frame` has it.

    For a message that has no identifier yet. Raises ValueError unless ``length_bytes`` is 0..8.
    """
    payloads = any_payload(length_bytes)
    code = length_bytes if dlc is None else dlc
    stuff_bits = stuff_bits_to_come(_after_start_of_frame(payloads, code, extended), 0, FIRST_STATE, most)
    return shortest_bits(length_bytes, extended=extended) + stuff_bits


def _after_start_of_frame(payloads: PayloadSet, length_code: int, extended: bool) -> PayloadSet:
    """What may follow start of frame, as if it were all payload: any identifier, the fixed control bits, the data."""
    identifier = "x" * BASE_IDENTIFIER_BITS
    if extended:  # between its parts substitute remote request and identifier extension, both recessive
        identifier += "11" + "x" * (EXTENDED_IDENTIFIER_BITS - BASE_IDENTIFIER_BITS)
    control = "000"  # remote transmission request; identifier extension or r1; r0
    return preceded(f"{identifier}{control}{length_code:04b}", payloads)


def _extreme_bits(
    identifier: int, payloads: PayloadSet, extended: bool, remote: bool, dlc: int | None, pick: Pick
) -> int:
    bits, crc, state = _before_data(identifier, payloads.bits // 8, extended, remote, dlc)
    return bits + stuff_bits_to_come(payloads, crc, state, pick)


def _extreme_frame(
    identifier: int, payloads: PayloadSet, extended: bool, remote: bool, dlc: int | None, pick: Pick
) -> Frame:
    length_bytes = payloads.bits // 8
    _, crc, state = _before_data(identifier, length_bytes, extended, remote, dlc)
    sent = "".join(map(str, attaining_bits(payloads, crc, state, pick)))
    data = int(sent, 2).to_bytes(length_bytes) if sent else b""
    return Frame(identifier, data, extended, remote, dlc)


@lru_cache(maxsize=4096)  # more messages than a bus has; beyond it only slower
def _before_data(
    identifier: int, length_bytes: int, extended: bool, remote: bool, dlc: int | None
) -> tuple[int, int, int]:
    """Where counting stands before the first data bit: (all bits but the stuff bits to come, CRC, state)."""
    code = Frame(identifier, bytes(length_bytes), extended, remote, dlc).length_code
    stuff_bits, crc, state = after_header(identifier, code, extended=extended, remote=remote)
    return shortest_bits(length_bytes, extended=extended) + stuff_bits, crc, state
