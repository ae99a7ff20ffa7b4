"""A pair that is held: for longer than a flag nothing that a node sends can be read.

How a frame ends in it, and how the error counters go on. Source: Bosch CAN Specification 2.0 (1991), part B, "Fault
confinement": a bit error within one's own active flag is a step of 8 and begins the flag anew; after a flag up to seven
dominant bits are tolerated, and each eight are a step.

Coarser: while bits are turned over, an error flag is taken as read recessive by those that have not found an error yet.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from enum import Enum

from busdesign.wire.confinement import (
    BUS_OFF,
    DOMINANT_BITS_A_STEP,
    ERROR_ACTIVE,
    after_bit_error_in_flag,
    after_dominant_too_long,
    state_of,
)
from busdesign.wire.disturbed import FLAG_BITS, ROOM_BITS
from busdesign.wire.frame import WireFrame
from busdesign.wire.views import Reading, view_of_receiver, view_of_transmitter

_TURNED_OVER = str.maketrans("01", "10")


class Hold(Enum):
    """What everybody reads, whatever is sent."""

    DOMINANT = "dominant"
    RECESSIVE = "recessive"
    TURNED_OVER = "turned over"  # each bit as the opposite of what it is


@dataclass(frozen=True, slots=True)
class HeldFrame:
    """What the transmitter and the receivers of a frame find wrong, each by itself; places as in `disturbed`."""

    transmitter: Reading
    receivers: Reading
    lost_arbitration: bool


def held_frame(frame: WireFrame, from_bit: int, hold: Hold) -> HeldFrame:
    """What becomes of ``frame`` when the pair is held from ``from_bit`` on, and for all that follows."""
    before, after = frame.bits[:from_bit], frame.bits[from_bit:]
    rest = {
        Hold.DOMINANT: "0" * len(after),
        Hold.RECESSIVE: "1" * len(after),
        Hold.TURNED_OVER: after.translate(_TURNED_OVER),
    }[hold]
    quiet = "1" if hold is Hold.RECESSIVE else "0"  # how a pair is read on which nobody sends
    wire = before + rest + quiet * ROOM_BITS
    own = view_of_transmitter(frame, wire, ())
    lost = own.lost_at
    if lost is not None:
        wire = wire[: lost + 1] + quiet * (len(wire) - lost - 1)
        own = view_of_receiver(wire, ())
    elif hold is Hold.TURNED_OVER and own.flag_bit is not None:
        wire = wire[: own.flag_bit] + "1" * (len(wire) - own.flag_bit)
    return HeldFrame(own, view_of_receiver(wire, ()), lost is not None)


def held_counts(tec: int, rec: int, hold: Hold, *, transmits: bool) -> Iterator[tuple[int, int, int]]:
    """(bits, TEC, REC): what a node's counters become, so many bits after its own flag began, as long as it is held.

    The first flag has been counted for already. Endless but where the pair is recessive, or a transmitter bus off.
    """

    def stepped(step: int) -> tuple[int, int]:
        return (step, rec) if transmits else (tec, step)

    bits = 0
    if hold is not Hold.DOMINANT:
        while state_of(tec, rec) == ERROR_ACTIVE:  # it sends a dominant bit, and reads a recessive one
            bits += 1
            tec, rec = stepped(after_bit_error_in_flag(tec if transmits else rec))
            yield bits, tec, rec
        if hold is Hold.RECESSIVE:
            return
    bits += FLAG_BITS
    while state_of(tec, rec) != BUS_OFF:
        bits += DOMINANT_BITS_A_STEP
        tec, rec = stepped(after_dominant_too_long(tec if transmits else rec))
        yield bits, tec, rec
