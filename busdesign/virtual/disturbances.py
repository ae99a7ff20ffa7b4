"""What hits the bus in a run: bits that are read wrong, wires that are shorted or open, nodes that are off.

    Conditions(
        sources=(
            BitOfFrame("leg_demand", frame=3, bit=20),                    # one bit of its fourth frame, seen by all
            BitOfFrame("leg_demand", 0, 5, "end of frame", frozenset({"panel"})),
            Instant(at_ns=1_200_000, seen_by=Who.TRANSMITTER),
            RandomBits(rate=1e-5, seed=7),
            Burst(from_ns=2_000_000, until_ns=2_100_000),
            Stuck(Level.DOMINANT, from_ns=5_000_000, until_ns=9_000_000),
        ),
        off=(Off("strut_left", 3_000_000, None),),
        parted=(Parted((frozenset({"panel"}), frozenset({"strut_left", "strut_right"})), 4_000_000, 6_000_000),),
        stay_off=frozenset({"panel"}),
    )

All times are nanoseconds from the start of the run; ``until_ns`` is the first instant that is good again, None the end
of the run. A source depends on nothing but its own fields and the frame it is asked about: the order in which it is
asked does not matter, nor what other sources there are.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from enum import Enum
from hashlib import blake2b
from math import floor, log
from typing import Protocol, TypeAlias

from busdesign.wire.frame import INTERMISSION_BITS, WireFrame


class Who(Enum):
    """Who samples a wrong level, where it is not a set of nodes by their names."""

    ALL = "all"
    TRANSMITTER = "transmitter"  # of the frame that is hit, alone
    RECEIVERS = "receivers"  # all but the transmitter


class Level(Enum):
    """What a shorted pair is read as, whatever the nodes send."""

    DOMINANT = "dominant"
    RECESSIVE = "recessive"


SeenBy: TypeAlias = Who | frozenset[str]


class Attempt:
    """One try to send a frame, as a source is asked about it. Times are ticks of the run."""

    __slots__ = ("bit", "bits", "count", "message", "node", "start", "ticks_per_ns", "tried", "wire_of")

    def __init__(
        self,
        message: str,
        node: str,
        count: int,
        tried: int,
        start: int,
        bit: int,
        bits: int,
        ticks_per_ns: int,
        wire_of: Callable[[], WireFrame],
    ) -> None:
        self.message = message
        self.node = node  # that sends it
        self.count = count  # which frame of its message, from 0
        self.tried = tried  # times that it was broken off before
        self.start = start  # of its start of frame
        self.bit = bit  # how long a bit takes
        self.bits = bits  # start of frame to the end of intermission
        self.ticks_per_ns = ticks_per_ns
        self.wire_of = wire_of  # its bits on the pair, worked out only when asked

    @property
    def end_bit(self) -> int:
        """The first bit after its end of frame."""
        return self.bits - INTERMISSION_BITS

    def bit_at(self, at_ns: int) -> int:
        """Which of its bits is on the pair at that instant: below 0 before it, ``bits`` or more after it."""
        return (at_ns * self.ticks_per_ns - self.start) // self.bit

    def first_bit_from(self, at_ns: int) -> int:
        """The first of its bits that is on the pair at that instant or after it."""
        return max(self.bit_at(at_ns), 0)

    def bits_until(self, at_ns: int) -> int:
        """How many of its bits have begun before that instant."""
        return -((self.start - at_ns * self.ticks_per_ns) // self.bit)


@dataclass(frozen=True, slots=True)
class Hit:
    """A bit of an attempt that is read wrong, 0 for its start of frame, and by whom."""

    bit: int
    seen_by: SeenBy = Who.ALL


class Source(Protocol):
    """Whatever makes nodes read wrong levels."""

    def first(self, attempt: Attempt, from_bit: int) -> Hit | None:
        """The first bit of ``attempt`` at or after ``from_bit`` that is read wrong, or None."""
        ...


@dataclass(frozen=True, slots=True)
class BitOfFrame:
    """Bit ``bit`` of frame ``frame`` of ``message`` (both counted from 0) in each of its first ``attempts`` tries.

    Bits are counted from the start of frame, stuff bits included; with a ``field`` (its name as in ``wire.frame``) from
    that field's first bit. A frame that has no such bit is not hit.
    """

    message: str
    frame: int
    bit: int
    field: str = ""
    seen_by: SeenBy = Who.ALL
    attempts: int = 1

    def first(self, attempt: Attempt, from_bit: int) -> Hit | None:
        if attempt.message != self.message or attempt.count != self.frame or attempt.tried >= self.attempts:
            return None
        place, bits = self.bit, attempt.bits
        if self.field:
            found = [field for field in attempt.wire_of().fields if field.name == self.field]
            if not found:
                return None
            place, bits = found[0].first_bit + self.bit, found[0].first_bit + len(found[0].bits)
        return Hit(place, self.seen_by) if from_bit <= place < bits else None


@dataclass(frozen=True, slots=True)
class Instant:
    """The one bit that is on the pair at ``at_ns``; nothing if the bus is idle then, or carries an error frame."""

    at_ns: int
    seen_by: SeenBy = Who.ALL

    def first(self, attempt: Attempt, from_bit: int) -> Hit | None:
        place = attempt.bit_at(self.at_ns)
        return Hit(place, self.seen_by) if from_bit <= place < attempt.bits else None


@dataclass(frozen=True, slots=True)
class RandomBits:
    """Every bit of every frame with the probability ``rate``, 0 up to but not including 1, independently.

    Each try of each frame has random numbers of its own, from ``seed`` and its place; so has each ``name``.
    """

    rate: float
    seed: int
    seen_by: SeenBy = Who.ALL
    from_ns: int = 0
    until_ns: int | None = None
    name: str = ""

    def first(self, attempt: Attempt, from_bit: int) -> Hit | None:
        if self.rate <= 0:
            return None
        if not 0 < self.rate < 1:
            raise ValueError(f"rate must be from 0 up to but not including 1, got {self.rate}")
        from_bit = max(from_bit, attempt.bit_at(self.from_ns))
        place = f"{self.seed}/{self.name}/{attempt.message}/{attempt.count}/{attempt.tried}/{from_bit}"
        drawn = int.from_bytes(blake2b(place.encode(), digest_size=8).digest()) + 1
        bit = from_bit + floor(log(drawn / 2**64) / log(1 - self.rate))  # geometric: the good bits before a bad one
        if bit >= attempt.bits or (self.until_ns is not None and bit >= attempt.bits_until(self.until_ns)):
            return None
        return Hit(bit, self.seen_by)


@dataclass(frozen=True, slots=True)
class Burst:
    """Every bit of frames from ``from_ns`` until ``until_ns`` is read wrong.

    If everybody sees it, nothing gets through: error frames are read wrong as well, and the bus is held until its end.
    """

    from_ns: int
    until_ns: int | None = None
    seen_by: SeenBy = Who.ALL

    def first(self, attempt: Attempt, from_bit: int) -> Hit | None:
        place = max(from_bit, attempt.first_bit_from(self.from_ns))
        is_over = self.until_ns is not None and place >= attempt.bits_until(self.until_ns)
        return Hit(place, self.seen_by) if place < attempt.bits and not is_over else None


@dataclass(frozen=True, slots=True)
class Stuck:
    """The pair is read as ``level`` by everybody from ``from_ns`` until ``until_ns``, whatever is sent.

    A pair shorted together is recessive; one line shorted to ground or to the supply may be either (common practice,
    no source).
    """

    level: Level
    from_ns: int
    until_ns: int | None = None
    seen_by: SeenBy = Who.ALL

    def first(self, attempt: Attempt, from_bit: int) -> Hit | None:
        place = max(from_bit, attempt.first_bit_from(self.from_ns))
        end = attempt.bits if self.until_ns is None else min(attempt.bits, attempt.bits_until(self.until_ns))
        other = "1" if self.level is Level.DOMINANT else "0"
        found = attempt.wire_of().bits.find(other, place, end) if place < end else -1
        return Hit(found, self.seen_by) if found >= 0 else None


@dataclass(frozen=True, slots=True)
class Off:
    """``node`` has no power: it sends nothing, hears nothing, acknowledges nothing, and comes back with counters 0."""

    node: str
    from_ns: int
    until_ns: int | None = None


@dataclass(frozen=True, slots=True)
class Parted:
    """Wires are open: only the nodes of one group hear each other, and each group is a bus of its own.

    A node of no group is alone. While several of these last, two nodes hear each other only if all of them let them.
    """

    groups: tuple[frozenset[str], ...]
    from_ns: int
    until_ns: int | None = None


@dataclass(frozen=True, slots=True)
class Conditions:
    """Everything that is wrong with one bus in one run; without any of it nothing ever goes wrong on the wire.

    ``stay_off``: the nodes that remain bus off when they have come to it, until their recovery is asked for; all
    others begin to recover at once.
    """

    sources: tuple[Source, ...] = ()
    off: tuple[Off, ...] = ()
    parted: tuple[Parted, ...] = ()
    stay_off: frozenset[str] = frozenset()

    def __bool__(self) -> bool:
        return bool(self.sources or self.off or self.parted)


UNDISTURBED = Conditions()


def hears_it(seen_by: SeenBy, node: str, sender: str) -> bool:
    """Whether ``node`` is among those that see a wrong level in a frame of ``sender``."""
    if isinstance(seen_by, frozenset):
        return node in seen_by
    return seen_by is Who.ALL or (seen_by is Who.TRANSMITTER) == (node == sender)


def first_hits(sources: Iterable[Source], attempt: Attempt, from_bit: int = 0) -> list[Hit]:
    """The hits of all ``sources`` in the first bit of ``attempt`` that any of them hits; empty if none does."""
    found = [hit for source in sources if (hit := source.first(attempt, from_bit)) is not None]
    earliest = min((hit.bit for hit in found), default=0)
    return [hit for hit in found if hit.bit == earliest]
