"""Sources of wrong levels that `virtual.disturbances` does not have: frames counted from a moment on, a controller that
is not ready, a transmitter that drives nothing, a clock that slips, an acknowledge out of reach, two senders at once.
"""

from dataclasses import dataclass, field
from fractions import Fraction
from functools import lru_cache

from busdesign.virtual.disturbances import Attempt, BitOfFrame, Hit, SeenBy, Who
from busdesign.virtual.kernel import FAULT, Kernel
from busdesign.virtual.senders import Sender
from busdesign.virtual.wires import wire_of

ACKNOWLEDGE = "acknowledge slot"


@dataclass(slots=True)
class BitSince:
    """A bit of frame ``frame`` (from 0) of those of ``message`` that are released from ``from_ns`` on."""

    message: str
    from_ns: int
    frame: int
    bit: int
    field_name: str
    seen_by: SeenBy
    attempts: int
    _aimed: BitOfFrame | None = None

    def bind(self, kernel: Kernel, senders: dict[str, Sender]) -> None:
        """Look at ``from_ns`` how many frames there have been."""
        sender = senders[self.message]

        def look(_: object) -> None:
            frame = sender.count + self.frame
            self._aimed = BitOfFrame(self.message, frame, self.bit, self.field_name, self.seen_by, self.attempts)

        kernel.at(self.from_ns * kernel.base.ticks_per_ns, FAULT, look)

    def first(self, attempt: Attempt, from_bit: int) -> Hit | None:
        return None if self._aimed is None else self._aimed.first(attempt, from_bit)


@dataclass(frozen=True, slots=True)
class InTime:
    """What is at work from ``from_ns`` until ``until_ns`` only: frames that start then."""

    node: str
    from_ns: int
    until_ns: int

    def _starts_in_time(self, attempt: Attempt) -> bool:
        return self.from_ns * attempt.ticks_per_ns <= attempt.start < self.until_ns * attempt.ticks_per_ns


@dataclass(frozen=True, slots=True)
class NotReady(InTime):
    """``node`` delays what comes after each frame of another node: it sends an overload flag."""

    def first(self, attempt: Attempt, from_bit: int) -> Hit | None:
        if attempt.node == self.node or from_bit > attempt.end_bit or not self._starts_in_time(attempt):
            return None
        return Hit(attempt.end_bit, frozenset({self.node}))


@dataclass(frozen=True, slots=True)
class DrivesNothing(InTime):
    """``node`` does not see its own start of frame."""

    def first(self, attempt: Attempt, from_bit: int) -> Hit | None:
        if attempt.node != self.node or from_bit > 0 or not self._starts_in_time(attempt):
            return None
        return Hit(0, Who.TRANSMITTER)


@dataclass(frozen=True, slots=True)
class Unacknowledged(InTime):
    """The sender of a frame sees no acknowledge: of ``node``'s frames, or with ``of_others`` of all other nodes'."""

    of_others: bool = False

    def first(self, attempt: Attempt, from_bit: int) -> Hit | None:
        if (attempt.node != self.node) is not self.of_others or not self._starts_in_time(attempt):
            return None
        slot = next(laid.first_bit for laid in attempt.wire_of().fields if laid.name == ACKNOWLEDGE)
        return Hit(slot, Who.TRANSMITTER) if from_bit <= slot else None


@dataclass(frozen=True, slots=True)
class Slipping(InTime):
    """``node``'s bits last longer than the bus's by the share ``slow`` of a bit (below zero: shorter).

    Own model. Synchronised hard at the start of frame, it slips by ``slow`` a bit; each recessive-to-dominant edge
    takes back at most ``sjw`` (of a bit). A bit is read wrong once its sample point lies in a neighbour of the other
    level. Of its own frames the others read the same bits wrong.
    """

    slow: Fraction
    sample_point: Fraction
    sjw: Fraction

    def first(self, attempt: Attempt, from_bit: int) -> Hit | None:
        if not self._starts_in_time(attempt):
            return None
        is_own = attempt.node == self.node
        # For the others the node's bits are short by what theirs are long for it.
        slow = -self.slow / (1 + self.slow) if is_own else self.slow
        place = first_misread(attempt.wire_of().bits, slow, self.sample_point, self.sjw, from_bit)
        if place is None or place >= attempt.end_bit:
            return None
        return Hit(place, Who.RECEIVERS if is_own else frozenset({self.node}))


@lru_cache(maxsize=4096)
def first_misread(bits: str, slow: Fraction, sample_point: Fraction, sjw: Fraction, from_bit: int) -> int | None:
    """The first of ``bits`` from ``from_bit`` on that is read wrong; None if all are read right (`Slipping`)."""
    late = Fraction(0)  # how far the node's bit begins behind the bit on the pair
    for place, bit in enumerate(bits):
        if place and bits[place - 1] == "1" and bit == "0":
            late -= max(min(late, sjw), -sjw)
        sampled = late + sample_point * (1 + slow)
        read = place + sampled.__floor__()
        if place >= from_bit and 0 <= read < len(bits) and bits[read] != bit:
            return place
        late += slow
    return None


@dataclass(slots=True)
class Collision:
    """Frames of two senders with one identifier that start at once: both win, up to the first bit that differs."""

    message: str
    _rivals: tuple[Sender, ...] = ()
    _kernel: Kernel | None = field(default=None)

    def bind_to(self, kernel: Kernel, rivals: tuple[Sender, ...]) -> None:
        self._kernel, self._rivals = kernel, rivals

    def first(self, attempt: Attempt, from_bit: int) -> Hit | None:
        kernel = self._kernel
        if kernel is None or attempt.message != self.message:
            return None
        joins_until = attempt.start + kernel.base.join_ticks
        own = attempt.wire_of().bits
        for frame in kernel._pending:  # those that have lost the arbitration, or never took part
            sender = frame[2]
            if sender in self._rivals and sender.node != attempt.node and frame[4] < joins_until:
                other = wire_of(sender.message, frame[5]).bits
                place = next((at for at, pair in enumerate(zip(own, other, strict=False)) if pair[0] != pair[1]), None)
                if place is not None and from_bit <= place:
                    return Hit(place, Who.TRANSMITTER)
        return None
