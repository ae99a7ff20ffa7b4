"""How many bits a classical frame takes: textbook bounds, and the exact number for given data.

All counts run from start of frame to the end of the three bits of intermission. `frame_bits` is the fast twin of
`frame.lay_out` for one frame at a time; `columns` is the one for many.
"""

from collections.abc import Callable
from functools import cache, lru_cache
from typing import TypeAlias

from busdesign.wire.byte_tables import (
    BASE_HEADER_BITS,
    EXTENDED_HEADER_BITS,
    STATES,
    after_header,
    crc_table,
    last_byte,
    stuffing_table,
)
from busdesign.wire.frame import CRC_BITS, LARGEST_LENGTH_BYTES, TRAILER, Frame

TRAILER_BITS = sum(map(len, TRAILER.values()))  # 13, never stuffed

# A state of the stuffing machine as the row of its answers: for each byte the next row and the stuff bits within.
_Row: TypeAlias = "list[tuple[_Row, int]]"


def longest_published_bits(length_bytes: int, *, extended: bool = False) -> int:
    """The textbook's longest frame: g + 8 s + 13 + floor((g + 8 s - 1) / 4), where g is 34, or 54 if ``extended``.

    Source: Davis, Burns, Bril, Lukkien, "Controller Area Network (CAN) schedulability analysis: refuted, revisited
    and revised", Real-Time Systems 35, 2007, equation 1 (its number from memory). An upper bound on every frame of
    that length, data or remote. The same numbers are 55 + 10 s, or 80 + 10 s if ``extended``.

    Raises ValueError unless ``length_bytes`` is 0..8.
    """
    stuffed_bits = _stuffed_bits(length_bytes, extended)
    return stuffed_bits + TRAILER_BITS + (stuffed_bits - 1) // 4


def longest_1994_bits(length_bytes: int, *, extended: bool = False) -> int:
    """The older formula, g + 8 s + 13 + floor((g + 8 s) / 5), for tables computed with it.

    Not a bound: it forgets that a stuff bit counts towards the next run, so that real frames exceed it.
    Source: Tindell and Burns, 1994 (from memory).

    Raises ValueError unless ``length_bytes`` is 0..8.
    """
    stuffed_bits = _stuffed_bits(length_bytes, extended)
    return stuffed_bits + TRAILER_BITS + stuffed_bits // 5


def shortest_bits(length_bytes: int, *, extended: bool = False) -> int:
    """The length without any stuff bit: a lower bound on every frame of that length.

    Raises ValueError unless ``length_bytes`` is 0..8.
    """
    return _stuffed_bits(length_bytes, extended) + TRAILER_BITS


def _stuffed_bits(length_bytes: int, extended: bool) -> int:
    """Bits under the stuffing rule, start of frame to the end of the CRC sequence: g + 8 s."""
    if not 0 <= length_bytes <= LARGEST_LENGTH_BYTES:
        raise ValueError(f"{length_bytes} data bytes are not within 0..8, the lengths of a classical frame")
    header_bits = EXTENDED_HEADER_BITS if extended else BASE_HEADER_BITS
    return header_bits + 8 * length_bytes + CRC_BITS


def frame_bits(
    identifier: int, data: bytes = b"", *, extended: bool = False, remote: bool = False, dlc: int | None = None
) -> int:
    """The exact length of the frame ``Frame(identifier, data, extended, remote, dlc)``, by byte tables.

    Raises ValueError where `Frame` would. What does not depend on the data is worked out once for each header.
    """
    bits, crc, row, crcs = _up_to_data(identifier, len(data), extended, remote, dlc)
    for byte in data:
        row, stuff_bits = row[byte]
        bits += stuff_bits
        crc = (crc & 0x7F) << 8 ^ crcs[crc >> 7 ^ byte]
    row, stuff_bits = row[crc >> 7]
    return bits + stuff_bits + row[last_byte(crc)][1]


def frame_bits_of(
    identifier: int, length_bytes: int, *, extended: bool = False, dlc: int | None = None
) -> Callable[[int], int]:
    """``frame_bits`` of one message, for payloads as integers (byte i of the data in bits 8 i to 8 i + 7).

    Raises ValueError where `Frame` would, now; the function it returns trusts its argument. That function is written
    for the message, byte by byte without a loop, because the simulator calls it once a frame. The CRC is linear: each
    byte adds its own share, looked up in the table of its place.
    """
    bits, crc, row, _ = _up_to_data(identifier, length_bytes, extended, False, dlc)
    places = range(length_bytes)
    tables = [_crc_shares(length_bytes - 1 - place) for place in places]
    lines = ["def made(p):"]
    if length_bytes:
        lines.append(f" {''.join(f'b{place}, ' for place in places)}= p.to_bytes({length_bytes}, 'little')")
    lines.append(f" c = {' ^ '.join([str(_shifted(crc, length_bytes)), *(f't{i}[b{i}]' for i in places)])}")
    lines += [f" row{place + 1}, s{place} = row{place}[b{place}]" for place in places]
    lines.append(f" row, s = row{length_bytes}[c >> 7]")
    stuffed = "".join(f"s{place} + " for place in places)
    lines.append(f" return {bits} + {stuffed}s + row[(c << 1 | ~c & 1) & 0xFF][1]")  # last_byte(c), without the call
    known = {"row0": row, **{f"t{place}": table for place, table in enumerate(tables)}}
    exec(compile("\n".join(lines), "<frame bits>", "exec"), known)  # nothing but numbers and names made here
    return known["made"]  # type: ignore[return-value]


@cache
def _crc_shares(bytes_to_come: int) -> tuple[int, ...]:
    """What a byte adds to the final CRC when ``bytes_to_come`` follow it: table of 256."""
    return tuple(_shifted(share, bytes_to_come) for share in crc_table())


def _shifted(crc: int, length_bytes: int) -> int:
    """The CRC register after that many zero bytes."""
    crcs = crc_table()
    for _ in range(length_bytes):
        crc = (crc & 0x7F) << 8 ^ crcs[crc >> 7]
    return crc


@lru_cache(maxsize=4096)  # more messages than a bus has; beyond it only slower
def _up_to_data(
    identifier: int, length_bytes: int, extended: bool, remote: bool, dlc: int | None
) -> tuple[int, int, _Row, tuple[int, ...]]:
    """Where counting stands before the first data byte: (all bits but the stuff bits to come, CRC, row, CRC table)."""
    code = Frame(identifier, bytes(length_bytes), extended, remote, dlc).length_code
    stuff_bits, crc, state = after_header(identifier, code, extended=extended, remote=remote)
    return shortest_bits(length_bytes, extended=extended) + stuff_bits, crc, _rows()[state], crc_table()


@cache
def _rows() -> list[_Row]:
    """The stuffing table with each next state replaced by its row, which saves a look-up for every byte."""
    rows: list[_Row] = [[] for _ in range(STATES)]
    for row, answers in zip(rows, stuffing_table(), strict=True):
        row.extend((rows[state], stuff_bits) for state, stuff_bits in answers)
    return rows
