"""One bit in time: its segments, the setting of a controller, and the register ranges that it must fit.

    |sync|   prop_seg   | phase_seg1 | phase_seg2 |       lengths in quanta, sync is always 1
                                     ^ sample point

A quantum is ``prescaler`` cycles of the controller's clock. Everything here is exact: whole quanta, and fractions
where a time or a ratio is not whole. A quantum is never rounded to nanoseconds.

Sources: Bosch CAN Specification 2.0 (1991), part A, "Bit timing requirements"; F. Hartwich and A. Bassemir, "The
Configuration of the CAN Bit Timing", 6th international CAN Conference, 1999; ISO 11898-1:2015 for the ranges.
Titles and ranges are from memory.
"""

from dataclasses import dataclass
from fractions import Fraction

from busdesign.findings import Refused
from busdesign.units import NS_PER_S

SYNC_SEG = 1  # quantum, in every controller

_RECOMMENDED = ((800_000, Fraction(3, 4)), (500_000, Fraction(4, 5)))  # above this rate, that sample point
_RECOMMENDED_BELOW = Fraction(7, 8)


@dataclass(frozen=True, slots=True)
class Segments:
    """The parts of a bit after its sync segment, and the jump width ``sjw``, all in quanta.

    ``sjw`` is the most by which one resynchronisation lengthens phase_seg1 or shortens phase_seg2.
    Raises ValueError if a part is below 1 or ``sjw`` exceeds phase_seg2.
    """

    prop_seg: int
    phase_seg1: int
    phase_seg2: int
    sjw: int

    def __post_init__(self) -> None:
        if self.prop_seg < 1 or self.phase_seg1 < 1 or self.phase_seg2 < 1 or self.sjw < 1:
            name, found = min(
                ((name, getattr(self, name)) for name in ("prop_seg", "phase_seg1", "phase_seg2", "sjw")),
                key=lambda part: part[1],
            )
            raise Refused(f"{name} of {found} quanta is too short", "the nearest possible is 1 quantum")
        if self.sjw > self.phase_seg2:
            raise Refused(
                f"sjw of {self.sjw} quanta exceeds phase_seg2, which is {self.phase_seg2}",
                f"the nearest possible is {self.phase_seg2}",
            )

    @property
    def sample_quanta(self) -> int:
        """From the start of the bit to its sample point."""
        return SYNC_SEG + self.prop_seg + self.phase_seg1

    @property
    def quanta(self) -> int:
        """The whole bit."""
        return self.sample_quanta + self.phase_seg2

    @property
    def sample_point(self) -> Fraction:
        """(sync + prop_seg + phase_seg1) / quanta, a fraction of 1."""
        return Fraction(self.sample_quanta, self.quanta)


@dataclass(frozen=True, slots=True)
class Setting:
    """What a controller is set to: its clock [Hz], the cycles of it in a quantum, and the segments.

    Raises ValueError if the clock or the prescaler is not above zero.
    """

    clock_hz: int | Fraction
    prescaler: int
    segments: Segments

    def __post_init__(self) -> None:
        if self.clock_hz <= 0:
            raise Refused(f"a clock of {self.clock_hz} Hz does not run", "a clock is above zero, such as 16000000 Hz")
        if self.prescaler < 1:
            raise Refused(f"prescaler {self.prescaler} is too small", "the nearest possible is 1")

    @property
    def prop_seg(self) -> int:
        return self.segments.prop_seg

    @property
    def phase_seg1(self) -> int:
        return self.segments.phase_seg1

    @property
    def phase_seg2(self) -> int:
        return self.segments.phase_seg2

    @property
    def sjw(self) -> int:
        return self.segments.sjw

    @property
    def quanta(self) -> int:
        return self.segments.quanta

    @property
    def sample_point(self) -> Fraction:
        return self.segments.sample_point

    @property
    def quantum_ns(self) -> Fraction:
        return Fraction(self.prescaler * NS_PER_S) / self.clock_hz

    @property
    def bit_ns(self) -> Fraction:
        return self.quanta * self.quantum_ns

    @property
    def bit_rate_bit_s(self) -> Fraction:
        return Fraction(self.clock_hz) / (self.prescaler * self.quanta)

    @property
    def longest_delay_ns(self) -> Fraction:
        """The longest delay one way that prop_seg covers there and back: prop_seg >= 2 * delay.

        The delay is that of the line and of the two nodes: out through one transceiver, in through the other.
        Source: Hartwich and Bassemir 1999, propagation delay segment.
        """
        return self.prop_seg * self.quantum_ns / 2


@dataclass(frozen=True, slots=True)
class Limits:
    """What the registers of a controller can hold: smallest and largest, in quanta where not said otherwise.

    ``time_segment1`` is prop_seg + phase_seg1 together, which most controllers keep in one register. The prescaler
    goes up by ``prescaler_step``: 2 where the controller halves its clock first. ``information_processing`` is the
    time that the controller needs after the sample point, below which phase_seg2 cannot go.
    Raises ValueError for an empty or impossible range.
    """

    name: str
    prescaler: tuple[int, int]
    time_segment1: tuple[int, int]
    phase_seg2: tuple[int, int]
    sjw: int
    quanta: tuple[int, int]
    prop_seg: tuple[int, int] | None = None
    phase_seg1: tuple[int, int] | None = None
    prescaler_step: int = 1
    information_processing: int = 0

    def __post_init__(self) -> None:
        for name in ("prescaler", "time_segment1", "phase_seg2", "quanta", "prop_seg", "phase_seg1"):
            low, high = getattr(self, name) or (1, 1)
            if not 1 <= low <= high:
                raise Refused(f"{name} from {low} to {high} is no range", "a range goes up, from 1 or more")
        for name, value in (("sjw", self.sjw), ("prescaler_step", self.prescaler_step)):
            if value < 1:
                raise Refused(f"{name} {value} is too small", "the nearest possible is 1")
        if self.shortest_phase_seg2 > self.phase_seg2[1]:
            raise Refused(
                f"information processing of {self.information_processing} quanta leaves no phase_seg2",
                f"the nearest possible is {self.phase_seg2[1]}",
            )
        for name, (low, high) in (
            ("time_segment1", self.segment1_range),
            ("quanta", self.quanta_range),
        ):
            if low > high:
                raise Refused(f"the segments leave nothing for {name}: from {low} to {high}", "widen a range")

    @property
    def prescalers(self) -> range:
        return range(self.prescaler[0], self.prescaler[1] + 1, self.prescaler_step)

    @property
    def prop_range(self) -> tuple[int, int]:
        return self.prop_seg or (1, self.time_segment1[1])

    @property
    def phase1_range(self) -> tuple[int, int]:
        return self.phase_seg1 or (1, self.time_segment1[1])

    @property
    def segment1_range(self) -> tuple[int, int]:
        """What prop_seg + phase_seg1 can be, by its own range and by those of its parts."""
        (prop_least, prop_most), (phase1_least, phase1_most) = self.prop_range, self.phase1_range
        least, most = self.time_segment1
        return max(least, prop_least + phase1_least), min(most, prop_most + phase1_most)

    @property
    def quanta_range(self) -> tuple[int, int]:
        """The fewest and the most quanta of a bit, by its own range and by those of its segments."""
        least, most = self.segment1_range
        shortest, longest = SYNC_SEG + least + self.shortest_phase_seg2, SYNC_SEG + most + self.phase_seg2[1]
        return max(self.quanta[0], shortest), min(self.quanta[1], longest)

    @property
    def shortest_phase_seg2(self) -> int:
        return max(self.phase_seg2[0], self.information_processing)

    def allow(self, setting: Setting) -> bool:
        """Whether ``setting`` fits every range."""
        segments = setting.segments
        within = (
            (segments.prop_seg + segments.phase_seg1, self.time_segment1),
            (segments.prop_seg, self.prop_range),
            (segments.phase_seg1, self.phase1_range),
            (segments.phase_seg2, (self.shortest_phase_seg2, self.phase_seg2[1])),
            (segments.sjw, (1, self.sjw)),
            (segments.quanta, self.quanta),
        )
        return setting.prescaler in self.prescalers and all(low <= value <= high for value, (low, high) in within)


# The ranges below are those of common families of controllers, without their names (from memory).
SMALL = Limits("small", (1, 64), (2, 16), (1, 8), sjw=4, quanta=(8, 25))
SMALL_HALVED = Limits("small_halved", (2, 128), (2, 16), (1, 8), 4, (8, 25), prescaler_step=2)
SEPARATE = Limits(
    "separate",
    (2, 128),
    (2, 16),
    (2, 8),
    sjw=4,
    quanta=(8, 25),
    prop_seg=(1, 8),
    phase_seg1=(1, 8),
    prescaler_step=2,
    information_processing=2,
)
LEAST_FD = Limits(  # what ISO 11898-1:2015 asks of every FD controller in its nominal phase
    "least_fd",
    (1, 32),
    (2, 64),
    (2, 16),
    sjw=16,
    quanta=(8, 80),
    prop_seg=(1, 48),
    phase_seg1=(1, 16),
    information_processing=2,
)
LARGE = Limits("large", (1, 512), (2, 256), (2, 128), sjw=128, quanta=(8, 385))

GENERIC_LIMITS = {
    "small": SMALL,
    "small_halved": SMALL_HALVED,
    "separate": SEPARATE,
    "least_fd": LEAST_FD,
    "large": LARGE,
}


def quanta_for(delay_ns: int | Fraction, clock_hz: int | Fraction, prescaler: int) -> int:
    """The fewest quanta of prop_seg, at least 1, that cover ``delay_ns`` (one way, line and nodes) there and back.

    Raises ValueError if a delay is below zero.
    """
    if delay_ns < 0:
        raise Refused(f"a delay of {delay_ns} ns is below zero", "the nearest possible is 0 ns")
    return max(1, -(-Fraction(2 * delay_ns) * clock_hz // (prescaler * NS_PER_S)))


def recommended_sample_point(bit_rate_bit_s: int | Fraction) -> Fraction:
    """75 % above 800 kbit/s, 80 % above 500 kbit/s, 87.5 % below.

    Source: the CAN in Automation recommendation as the Linux kernel prints it (drivers/net/can/dev/calc_bittiming.c).
    """
    for above_bit_s, sample_point in _RECOMMENDED:
        if bit_rate_bit_s > above_bit_s:
            return sample_point
    return _RECOMMENDED_BELOW
