"""What the referee is given: stations with the frames that they have ready, and what disturbs them.

Times are whole ticks; `running` says how long one is. A tick may be a bit.
"""

from dataclasses import dataclass, field
from fractions import Fraction

from busdesign.wire.bit_timing import Setting
from busdesign.wire.confinement import Counters
from busdesign.wire.frame import Frame

DOMINANT, RECESSIVE = 0, 1


@dataclass(frozen=True, slots=True)
class Offer:
    """A frame and the tick from which it is ready in its station."""

    ready: int
    frame: Frame


@dataclass(frozen=True, slots=True)
class Station:
    """A node on the bus: the frames it gets to send, and how it starts.

    ``offers`` may be in any order. ``recovers`` says whether it leaves bus off on its own; if not, it does on the
    first of the ticks ``requests`` that comes after it went bus off. One that is switched on at tick ``on_at`` first
    integrates; None stands for one that is on, and on an idle bus, from the start.
    Raises ValueError if a time is below 0.
    """

    name: str
    offers: tuple[Offer, ...] = ()
    recovers: bool = True
    requests: tuple[int, ...] = ()
    on_at: int | None = None
    counters: Counters = field(default_factory=Counters)

    def __post_init__(self) -> None:
        earliest = min((*self.requests, self.on_at or 0, *(offer.ready for offer in self.offers)))
        if earliest < 0:
            raise ValueError(f"station `{self.name}` has a time of {earliest} ticks, a run starts at 0")


@dataclass(frozen=True, slots=True)
class Flip:
    """The bit in which tick ``at`` lies is taken for the other level, by one station or (None) by all."""

    at: int
    station: str | None = None


@dataclass(frozen=True, slots=True)
class FlipInFrame:
    """The same for bit ``bit`` after the ``start``-th start of frame that the station counts, both from 0.

    Bits are counted on through flags and delimiters, stuff bits included, until the next start of frame, which is bit
    0 itself and cannot be named so.
    Raises ValueError for bit 0 or a number below.
    """

    start: int
    bit: int
    station: str | None = None

    def __post_init__(self) -> None:
        if self.start < 0 or self.bit < 1:
            raise ValueError(
                f"start {self.start}, bit {self.bit} cannot be flipped, the first possible is start 0, bit 1"
            )


@dataclass(frozen=True, slots=True)
class Stuck:
    """A transmitter that drives ``level`` in all its bits that begin from tick ``since`` on and before ``until``.

    Raises ValueError if there is no such tick, or the level is neither DOMINANT nor RECESSIVE.
    """

    station: str
    level: int
    since: int
    until: int

    def __post_init__(self) -> None:
        if not 0 <= self.since < self.until or self.level not in (DOMINANT, RECESSIVE):
            raise ValueError(f"stuck at {self.level} from {self.since} until {self.until} says nothing")


@dataclass(frozen=True, slots=True)
class Clockwork:
    """The bit timing of a station and its own clock.

    The frequency is ``1 + clock_error`` times the nominal one. ``offset`` is how much of a quantum its clock is late
    at the start of the run, from 0 up to but not 1.
    Raises ValueError if the clock would stand still, or the offset is no part of a quantum.
    """

    setting: Setting
    clock_error: int | Fraction = 0
    offset: int | Fraction = 0

    def __post_init__(self) -> None:
        if self.clock_error <= -1 or not 0 <= self.offset < 1:
            raise ValueError(
                f"clock error {self.clock_error} and offset {self.offset} are not above -1 and within 0..1"
            )

    @property
    def quantum_ns(self) -> Fraction:
        """A quantum of the real clock."""
        return self.setting.quantum_ns / (1 + Fraction(self.clock_error))
