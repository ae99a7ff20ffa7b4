"""A frame as one node reads it: what a transmitter, and what a receiver, finds wrong first, and when it says so.

A view is the levels of the pair with the bits that this node reads wrong turned over. It is read as the text of the
standard says, without regard to what other nodes would do about it; `disturbed` puts the views of all nodes together.

Source: Bosch CAN Specification 2.0 (1991), part B, "Error detection", "Error signalling" and "Message validation"
(titles from memory).
"""

from collections.abc import Iterable
from dataclasses import dataclass
from enum import Enum

from busdesign.wire.frame import CRC_BITS, LARGEST_LENGTH_BYTES, LONGEST_RUN_BITS, TRAILER, WireFrame, crc15

_END_OF_FRAME_BITS = len(TRAILER["end of frame"])

# Places in a frame without its stuff bits, from the start of frame on.
_BASE_REMOTE, _EXTENSION, _EXTENDED_REMOTE = 12, 13, 32
_LENGTH_CODE_BITS = 4
_BASE_HEADER_BITS, _EXTENDED_HEADER_BITS = 19, 39  # start of frame to the end of the length code


class Kind(Enum):
    """The five kinds of error, and the condition that asks for an overload frame."""

    BIT = "bit error"
    STUFF = "stuff error"
    CRC = "CRC error"
    FORM = "form error"
    ACKNOWLEDGE = "acknowledge error"
    OVERLOAD = "overload"


@dataclass(frozen=True, slots=True)
class Reading:
    """What a node makes of its view.

    ``kind``, ``bit``, ``flag_bit``: what it finds wrong first, where, and the first bit of its flag; None if nothing.
    ``ack_bit``: where it acknowledges, before that. ``accepts``: a receiver holds the frame for valid. ``lost_at``: the
    bit in which a transmitter loses the arbitration, before anything is wrong.
    """

    kind: Kind | None = None
    bit: int | None = None
    flag_bit: int | None = None
    ack_bit: int | None = None
    accepts: bool = False
    lost_at: int | None = None


def sent_levels(frame: WireFrame) -> str:
    """What the transmitter itself sends: the bits of ``frame`` with a recessive acknowledge slot."""
    slot = first_bit_of(frame, "acknowledge slot")
    return f"{frame.bits[:slot]}1{frame.bits[slot + 1 :]}"


def first_bit_of(frame: WireFrame, name: str) -> int:
    """Where the field ``name`` begins."""
    return next(field.first_bit for field in frame.fields if field.name == name)


def _seen(wire: str, wrong: Iterable[int]) -> str:
    levels = list(wire)
    for place in wrong:
        levels[place] = "0" if levels[place] == "1" else "1"
    return "".join(levels)


def view_of_transmitter(frame: WireFrame, wire: str, wrong: tuple[int, ...]) -> Reading:
    """What the sender of ``frame`` makes of it."""
    sent, seen = sent_levels(frame), _seen(wire, wrong)
    slot, end = first_bit_of(frame, "acknowledge slot"), first_bit_of(frame, "intermission")
    remote = next(field for field in frame.fields if field.name == "remote transmission request")
    for bit in range(end):
        if bit == slot:
            if seen[bit] == "1":
                return Reading(Kind.ACKNOWLEDGE, bit, bit + 1)
        elif sent[bit] != seen[bit]:
            is_stuff_bit = bit in frame.stuff_positions
            if sent[bit] == "1" and is_stuff_bit and bit < remote.first_bit:
                return Reading(Kind.STUFF, bit, bit + 1)
            if sent[bit] == "1" and not is_stuff_bit and bit < remote.first_bit + len(remote.bits):
                return Reading(lost_at=bit)
            return Reading(Kind.BIT, bit, bit + 1)
    return _after_frame(seen, end, Reading())


def view_of_receiver(wire: str, wrong: tuple[int, ...]) -> Reading:
    """What a receiver makes of a frame, whatever it is: it begins at the first dominant bit that it sees."""
    seen = _seen(wire, wrong)
    start = seen.find("0")
    if start < 0:
        return Reading()
    kept: list[str] = []
    last, run, needed = "", 0, _NOT_KNOWN_YET
    for bit in range(start, len(seen)):
        level = seen[bit]
        is_stuff_bit = run == LONGEST_RUN_BITS
        if is_stuff_bit and level == last:
            return Reading(Kind.STUFF, bit, bit + 1)
        if not is_stuff_bit:
            kept.append(level)
            needed = _needed_bits(kept) if len(kept) in _HEADERS else needed
        run = run + 1 if level == last else 1
        last = level
        if len(kept) == needed and run < LONGEST_RUN_BITS:
            break
    is_right = crc15("".join(kept[:-CRC_BITS])) == int("".join(kept[-CRC_BITS:]), 2)
    return _trailer(seen, bit + 1, is_right, wrong)


_NOT_KNOWN_YET = 1 << 30
_HEADERS = (_BASE_HEADER_BITS, _EXTENDED_HEADER_BITS)


def _needed_bits(kept: list[str]) -> int:
    """Bits from the start of frame to the end of the CRC sequence, as far as ``kept`` tells."""
    is_extended = kept[_EXTENSION] == "1"
    header = _EXTENDED_HEADER_BITS if is_extended else _BASE_HEADER_BITS
    if len(kept) < header:
        return _NOT_KNOWN_YET
    is_remote = kept[_EXTENDED_REMOTE if is_extended else _BASE_REMOTE] == "1"
    code = int("".join(kept[header - _LENGTH_CODE_BITS : header]), 2)
    return header + (0 if is_remote else 8 * min(code, LARGEST_LENGTH_BYTES)) + CRC_BITS


def _trailer(seen: str, delimiter: int, crc_is_right: bool, wrong: tuple[int, ...]) -> Reading:
    """From the CRC delimiter on, which is at ``delimiter``."""
    slot, ack_delimiter = delimiter + 1, delimiter + 2
    ack_bit = slot if crc_is_right else None
    if seen[delimiter] == "0":
        return Reading(Kind.FORM, delimiter, delimiter + 1)
    if crc_is_right and slot in wrong:  # it sends a dominant bit there, and reads a recessive one
        return Reading(Kind.BIT, slot, slot + 1, ack_bit)
    if seen[ack_delimiter] == "0":
        return Reading(Kind.FORM, ack_delimiter, ack_delimiter + 1, ack_bit)
    if not crc_is_right:
        return Reading(Kind.CRC, ack_delimiter, ack_delimiter + 1)
    last = ack_delimiter + _END_OF_FRAME_BITS
    wrong_end = seen.find("0", ack_delimiter + 1, last)
    if wrong_end >= 0:
        return Reading(Kind.FORM, wrong_end, wrong_end + 1, ack_bit)
    valid = Reading(ack_bit=ack_bit, accepts=True)
    if seen[last] == "0":  # valid since the bit before
        return Reading(Kind.OVERLOAD, last, last + 1, ack_bit, True)
    return _after_frame(seen, last + 1, valid)


def _after_frame(seen: str, intermission: int, valid: Reading) -> Reading:
    """Intermission: a dominant first or second bit asks for an overload frame; six dominant bits from the third on
    are a start of frame and a stuff error.
    """
    early = seen.find("0", intermission, intermission + 2)
    if early >= 0:
        return Reading(Kind.OVERLOAD, early, early + 1, valid.ack_bit, valid.accepts)
    start = intermission + 2
    sixth = start + LONGEST_RUN_BITS
    if seen[start : sixth + 1] == "0" * (LONGEST_RUN_BITS + 1):
        return Reading(Kind.STUFF, sixth, sixth + 1, valid.ack_bit, valid.accepts)
    return valid
