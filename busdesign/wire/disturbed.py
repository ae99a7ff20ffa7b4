"""What becomes of a classical frame when some nodes read some of its bits wrong.

Worked out by the rules, not by a machine for each node that runs bit by bit: every node's own view of the pair is read
plainly as a transmitter or as a receiver would (`views`), the earliest flag is put on the pair, and what is left
of the views is read again, until nobody has anything to say.

Source: Bosch CAN Specification 2.0 (1991), part B, sections "Error handling", "Error frame", "Overload frame", "Message
validation" and "Fault confinement" (titles from memory), which ISO 11898-1:2015 repeats (from memory). Bits are written
as in `frame`: `0` is dominant; places are counted from the start of frame, stuff bits included.

Deliberately coarser than the standard:

- A bit that is read wrong by a node within its own flag, or within a delimiter, is taken as read right; and so is the
  flag of others within the delimiter of a passive transmitter, whose flag they have found out late, by the CRC.
- What a node whose passive flag or delimiter ends later than those of the others makes of the next frame is for others
  to say (``free_bits``): "an error passive node may need the bus to be bus idle for at least 3 bit times".
- A dominant level in the third bit of intermission that is no flag of another node is taken as read right, not as a
  start of frame.
- Reserved bits are accepted at either level, so a wrong one is found by the CRC.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from enum import Enum
from functools import lru_cache
from types import MappingProxyType
from typing import TypeAlias

from busdesign.wire.confinement import (
    DOMINANT_BITS_A_STEP,
    ERROR_ACTIVE,
    Counters,
    after_dominant_behind_flag,
    after_dominant_too_long,
    after_receive_error,
    after_reception,
    after_transmission,
    after_transmit_error,
    counts_transmit_error,
    excuses_missing_acknowledgement,
    state_of,
)
from busdesign.wire.frame import INTERMISSION_BITS, WireFrame
from busdesign.wire.views import Kind, Reading, first_bit_of, sent_levels, view_of_receiver, view_of_transmitter

FLAG_BITS = 6  # active and passive error flag, overload flag
DELIMITER_BITS = 8  # of error and overload frames
SUSPENSION_BITS = 8  # an error-passive node waits so much longer after intermission before it sends again
LONGEST_SUPERPOSITION_BITS = 2 * FLAG_BITS

ROOM_BITS = 48  # behind a frame, for all flags and delimiters that may follow

_NOBODY_YET = 1 << 30


class Step(Enum):
    """One reason to change a node's error counters, in the order in which they come."""

    RECEIVED = "received"
    TRANSMITTED = "transmitted"
    TRANSMIT_ERROR = "transmit error"
    RECEIVE_ERROR = "receive error"
    DOMINANT_BEHIND_FLAG = "dominant bit behind its flag"
    SENDER_HELD_DOWN = "eight dominant bits behind a transmitter's flag"
    RECEIVER_HELD_DOWN = "eight dominant bits behind a receiver's flag"


@dataclass(frozen=True, slots=True)
class Detection:
    """What a node found wrong first, in which bit, and the first bit of the flag that it answers with."""

    kind: Kind
    bit: int
    flag_bit: int


@dataclass(frozen=True, slots=True)
class Outcome:
    """What became of one attempt to send a frame. All bits are counted from its start of frame.

    - ``sender``: the transmitter, one that has not lost the arbitration if there is any; its frame is meant.
    - ``transmitters``: all that have not lost the arbitration; more than one where it was not over.
    - ``is_sent``: the transmitter holds it for sent, and will not repeat it.
    - ``accepted_by``: the receivers that hold it for valid; some may, although it is repeated.
    - ``detected``: for each node that found something wrong what it found first; overload conditions included.
    - ``flag_bit``: the first bit of the first dominant flag, or of a transmitter's passive one; None if there is none.
    - ``flag_bits``: how long the dominant flags are, one upon the other; 0 if all are passive.
    - ``free_bit``: the bit in which the next frame may start: after delimiter and intermission.
    - ``free_bits``: the same for those whose passive flag ends at another time, without suspension.
    - ``steps``: for each node why its counters change.
    """

    sender: str
    transmitters: frozenset[str]
    is_sent: bool
    accepted_by: frozenset[str]
    detected: Mapping[str, Detection]
    flag_bit: int | None
    flag_bits: int
    free_bit: int
    free_bits: Mapping[str, int]
    steps: Mapping[str, tuple[Step, ...]]

    @property
    def sender_free_bit(self) -> int:
        """The bit in which the transmitter may start, without suspension."""
        return self.free_bits.get(self.sender, self.free_bit)

    @property
    def lost_arbitration(self) -> bool:
        """Whether everybody has lost it."""
        return not self.transmitters


def counted(tec: int, rec: int, steps: Iterable[Step]) -> tuple[int, int]:
    """The counters after ``steps``."""
    for step in steps:
        match step:
            case Step.TRANSMIT_ERROR:
                tec = after_transmit_error(tec)
            case Step.TRANSMITTED:
                tec = after_transmission(tec)
            case Step.RECEIVE_ERROR:
                rec = after_receive_error(rec)
            case Step.RECEIVED:
                rec = after_reception(rec)
            case Step.DOMINANT_BEHIND_FLAG:
                rec = after_dominant_behind_flag(rec)
            case Step.SENDER_HELD_DOWN:
                tec = after_dominant_too_long(tec)
            case Step.RECEIVER_HELD_DOWN:
                rec = after_dominant_too_long(rec)
    return tec, rec


def outcome(
    frame: WireFrame,
    sender: str,
    nodes: Mapping[str, Counters],
    wrong: Mapping[int, frozenset[str]],
    rivals: Mapping[str, WireFrame] = MappingProxyType({}),
) -> Outcome:
    """What becomes of ``frame``, sent by ``sender``.

    ``nodes``: all nodes that take part, the sender included, with their counters as it begins. ``wrong``: by its place
    the nodes that read the opposite of a bit's level. ``rivals``: less urgent frames that begin in the same bit, by the
    nodes that send them; of no effect unless bits of the arbitration are read wrong. Raises ValueError if the sender
    does not take part.
    """
    if sender not in nodes:
        raise ValueError(f"`{sender}` sends and does not take part; nodes: {', '.join(nodes)}")
    frames = {**rivals, sender: frame}
    alike: dict[_Alike, list[str]] = {}
    for name, counters in nodes.items():
        places = tuple(place for place in sorted(wrong) if name in wrong[place])
        received = state_of(counters.tec, after_reception(counters.rec))
        is_passive = state_of(counters.tec, counters.rec) != ERROR_ACTIVE
        key = frames.get(name), name == sender, is_passive, received != ERROR_ACTIVE, places
        alike.setdefault(key, []).append(name)
    played = _played(tuple(alike))
    found = {name: party for names, party in zip(alike.values(), played.parties, strict=True) for name in names}
    transmitters = frozenset(name for name, party in found.items() if party.transmits)
    last = next((name for name in sorted(transmitters) if found[name] is played.transmitter), sender)
    return Outcome(
        sender=last,
        transmitters=transmitters,
        is_sent=played.is_sent,
        accepted_by=frozenset(name for name, party in found.items() if party.accepts and name != last),
        detected={name: party.detection for name, party in found.items() if party.detection},
        flag_bit=played.flag_bit,
        flag_bits=played.flag_bits,
        free_bit=played.free_bit,
        free_bits={name: party.free_bit for name, party in found.items() if party.free_bit},
        steps={name: party.steps for name, party in found.items()},
    )


# What it sends, whether that is the most urgent frame, whether it is error passive, whether it is so even after a good
# reception, and what it reads wrong.
_Alike: TypeAlias = tuple[WireFrame | None, bool, bool, bool, tuple[int, ...]]


@dataclass(slots=True)
class _Party:
    """Nodes that read alike, and so act alike."""

    frame: WireFrame | None
    is_first: bool
    begins_passive: bool
    stays_passive: bool
    wrong: tuple[int, ...]
    lost_at: int | None = None  # bit of the arbitration that a transmitter lost
    ack_bit: int | None = None
    accepts: bool = False
    detection: Detection | None = None
    free_bit: int = 0  # where its passive flag, delimiter and intermission are over; 0 without such a flag
    steps: tuple[Step, ...] = ()

    @property
    def transmits(self) -> bool:
        """Whether it sends, and has not lost the arbitration."""
        return self.frame is not None and self.lost_at is None

    @property
    def is_sent(self) -> bool:
        """Whether it transmits, and has found nothing wrong until the end of its end of frame."""
        if self.frame is None or self.lost_at is not None:
            return False
        return self.detection is None or self.detection.bit >= first_bit_of(self.frame, "intermission")

    @property
    def is_passive(self) -> bool:
        """Whether it is so when it finds something wrong: an acknowledgement may have made it error active."""
        found, ack_bit = self.detection, self.ack_bit
        has_received = ack_bit is not None and (found is None or found.bit > ack_bit)
        return self.stays_passive if has_received else self.begins_passive

    @property
    def flag_is_dominant(self) -> bool:
        """Whether its flag is on the pair; an overload flag is so in every state."""
        return self.detection is not None and (not self.is_passive or self.detection.kind is Kind.OVERLOAD)


@dataclass(slots=True)
class _Played:
    parties: list[_Party]
    transmitter: _Party
    is_sent: bool = True
    flag_bit: int | None = None
    flag_bits: int = 0
    free_bit: int = 0
    wire: str = field(default="", repr=False)


@lru_cache(maxsize=512)  # a frame that is repeated is hit alike
def _played(keys: tuple[_Alike, ...]) -> _Played:
    parties = [_Party(*key) for key in keys]
    played = _Played(parties, next(party for party in parties if party.is_first))
    played.wire = _wire(parties)
    while (news := _earliest(played)) is not None:
        for party, reading in news:
            _adopt(party, reading)
        played.wire = _wire(parties)
    played.transmitter = _last_transmitter(parties, played.transmitter)
    _conclude(played)
    return played


def _last_transmitter(parties: Sequence[_Party], first: _Party) -> _Party:
    """Whose frame went through, or who has not lost the arbitration: ``first``, the most urgent, if it is one."""
    transmitting = [party for party in (first, *parties) if party.transmits]
    return next((party for party in transmitting if party.is_sent), next(iter(transmitting), first))


def _earliest(played: _Played) -> list[tuple[_Party, Reading]] | None:
    """What the parties do next in the first bit in which any of them does something, or None."""
    first = _NOBODY_YET
    found: list[tuple[_Party, Reading]] = []
    for party in played.parties:
        if party.detection is not None:
            continue
        if party.frame is not None and party.lost_at is None:
            reading = view_of_transmitter(party.frame, played.wire, party.wrong)
        else:
            reading = view_of_receiver(played.wire, party.wrong)
        party.accepts = reading.accepts
        at = _acts_at(party, reading)
        if at is None or at > first:
            continue
        if at < first:
            first, found = at, []
        found.append((party, reading))
    return found or None


def _acts_at(party: _Party, reading: Reading) -> int | None:
    """The bit in which a party's next act begins: it falls silent, acknowledges or sends a flag."""
    if reading.lost_at is not None:
        return reading.lost_at + 1
    if reading.ack_bit is not None and party.ack_bit is None:
        return reading.ack_bit
    return reading.flag_bit


def _adopt(party: _Party, reading: Reading) -> None:
    if reading.lost_at is not None:
        party.lost_at = reading.lost_at
    elif reading.ack_bit is not None and party.ack_bit is None:
        party.ack_bit = reading.ack_bit
    else:
        assert reading.kind is not None
        assert reading.bit is not None
        assert reading.flag_bit is not None
        party.detection = Detection(reading.kind, reading.bit, reading.flag_bit)


def _wire(parties: Sequence[_Party]) -> str:
    """The levels of the pair as far as they are known: what is sent until it stops, acknowledgements, flags."""
    levels = ["1"] * (max(party.frame.length_bits for party in parties if party.frame) + ROOM_BITS)
    for party in parties:
        if party.frame is not None:
            stops = party.detection.flag_bit if party.detection else None
            stops = party.lost_at + 1 if party.lost_at is not None else stops
            for place, level in enumerate(sent_levels(party.frame)[:stops]):
                if level == "0":
                    levels[place] = "0"
    for party in parties:
        if party.ack_bit is not None:
            levels[party.ack_bit] = "0"
        if party.flag_is_dominant and party.detection is not None:
            start = party.detection.flag_bit
            levels[start : start + FLAG_BITS] = "0" * FLAG_BITS
    return "".join(levels)


def _conclude(played: _Played) -> None:
    """From the flags to the times and the counts."""
    transmitter = played.transmitter
    assert transmitter.frame is not None
    played.is_sent = transmitter.is_sent
    dominant = [party.detection.flag_bit for party in played.parties if party.detection and party.flag_is_dominant]
    passive = [party.detection.flag_bit for party in played.parties if party.detection and not party.flag_is_dominant]
    after_flag = DELIMITER_BITS + INTERMISSION_BITS
    if dominant:
        played.flag_bit = min(dominant)
        played.flag_bits = max(dominant) + FLAG_BITS - played.flag_bit
        played.free_bit = played.flag_bit + played.flag_bits + after_flag
    elif played.is_sent:
        played.free_bit = transmitter.frame.length_bits
    else:
        played.flag_bit = min(passive)
        played.free_bit = max(passive) + FLAG_BITS + after_flag
    for party in played.parties:
        if party.detection and not party.flag_is_dominant:
            own = played.wire.find("1", _flag_end(played.wire, party)) + after_flag
            # Dominant flags within its delimiter make it wait like all others; passive ones it does not see.
            party.free_bit = max(played.free_bit, own) if dominant else own
        party.steps = _steps(played, party)


def _flag_end(wire: str, party: _Party) -> int:
    """The bit after a party's own flag; a passive one ends after six equal bits, whosoever they are."""
    assert party.detection is not None
    end = party.detection.flag_bit + FLAG_BITS
    if not party.flag_is_dominant:
        while len(set(wire[end - FLAG_BITS : end])) > 1:
            end += 1
    return end


def _steps(played: _Played, party: _Party) -> tuple[Step, ...]:
    found = party.detection
    is_error = found is not None and found.kind is not Kind.OVERLOAD
    steps = []
    if party.ack_bit is not None and (found is None or found.bit > party.ack_bit):  # it was acknowledged well
        steps.append(Step.RECEIVED)
    if party.is_sent:
        steps.append(Step.TRANSMITTED)
    elif party.transmits:
        assert found is not None
        saw_dominant = "0" in played.wire[found.flag_bit : _flag_end(played.wire, party)]
        excused = found.kind is Kind.ACKNOWLEDGE and excuses_missing_acknowledgement(party.is_passive, saw_dominant)
        held_down = (Step.SENDER_HELD_DOWN,) * _times_held_down(played.wire, party)
        counts = counts_transmit_error(excused, found.kind is Kind.STUFF)
        return (Step.TRANSMIT_ERROR, *held_down) if counts else held_down
    if is_error:
        steps.append(Step.RECEIVE_ERROR)
        if played.wire[_flag_end(played.wire, party)] == "0":
            steps.append(Step.DOMINANT_BEHIND_FLAG)
        steps += [Step.RECEIVER_HELD_DOWN] * _times_held_down(played.wire, party)
    return tuple(steps)


def _times_held_down(wire: str, party: _Party) -> int:
    """How often eight dominant bits follow a party's own flag, each of them a step of its counter."""
    behind = wire[_flag_end(wire, party) :]
    return (len(behind) - len(behind.lstrip("0"))) // DOMINANT_BITS_A_STEP
