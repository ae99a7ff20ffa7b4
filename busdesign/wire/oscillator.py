"""How far a clock may be off: the published conditions, and what they leave of a setting.

Each clock runs within (1 - df) and (1 + df) of its nominal frequency. The standard bounds df by conditions on the
segments; the tightest is the oscillator tolerance. A classical frame has the two here; the ones of an FD frame also
look at the segments of its data phase, and yield the same `Condition`.

Source: ISO 11898-1, oscillator tolerance, as Hartwich and Bassemir 1999 and controller manuals print it.
"""

from dataclasses import dataclass
from fractions import Fraction

from busdesign.findings import Refused
from busdesign.wire.bit_timing import Segments, Setting

EDGE_TO_EDGE_BITS = 10  # with bit stuffing: five dominant and five recessive bits, then the next edge
UNSYNCHRONISED_BITS = 13  # from the last edge to the bit after superposed error flags


@dataclass(frozen=True, slots=True)
class Condition:
    """One published condition and the largest df that it allows, a fraction of 1."""

    name: str
    tolerance: Fraction
    text: str


def classical_conditions(segments: Segments) -> tuple[Condition, Condition]:
    """The two conditions of a classical frame, or of the nominal phase of any frame.

        resynchronisation   df <= sjw / (2 * 10 * bit)
        error flag          df <= min(phase_seg1, phase_seg2) / (2 * (13 * bit - phase_seg2))

    with all lengths in quanta. The first lets one jump take up what two clocks drift apart between two edges that
    synchronise; the second keeps the thirteenth bit after such an edge sampled within itself.
    They are first order in df, and count prop_seg as filled by the delay: `compatibility` does neither.
    """
    bit, smaller = segments.quanta, min(segments.phase_seg1, segments.phase_seg2)
    return (
        Condition(
            "resynchronisation",
            Fraction(segments.sjw, 2 * EDGE_TO_EDGE_BITS * bit),
            f"a jump of {_quanta(segments.sjw)} takes up the drift of {EDGE_TO_EDGE_BITS} bits",
        ),
        Condition(
            "error flag",
            Fraction(smaller, 2 * (UNSYNCHRONISED_BITS * bit - segments.phase_seg2)),
            f"{_smaller_phase(segments)} takes up the drift until bit {UNSYNCHRONISED_BITS} after an edge is sampled",
        ),
    )


def _smaller_phase(segments: Segments) -> str:
    if segments.phase_seg1 == segments.phase_seg2:
        return f"each phase segment, of {_quanta(segments.phase_seg1)},"
    name = "phase_seg1" if segments.phase_seg1 < segments.phase_seg2 else "phase_seg2"
    return f"{name}, of {_quanta(min(segments.phase_seg1, segments.phase_seg2))},"


def _quanta(count: int) -> str:
    return "1 quantum" if count == 1 else f"{count} quanta"


@dataclass(frozen=True, slots=True)
class Assessment:
    """A setting held against what is wanted of it.

    ``bit_rate_bit_s`` is the wanted rate, ``delay_ns`` the longest delay one way, line and nodes, and
    ``clock_tolerance`` how far the board's clock may be off (a fraction of 1).
    Raises ValueError if the rate is not above zero, the delay is below zero, or the tolerance is not in 0..1.
    """

    setting: Setting
    bit_rate_bit_s: int | Fraction
    delay_ns: int | Fraction = 0
    clock_tolerance: int | Fraction = 0

    def __post_init__(self) -> None:
        if self.bit_rate_bit_s <= 0:
            raise Refused(
                f"a bit rate of {self.bit_rate_bit_s} bit/s carries nothing",
                f"the nearest possible, of this setting, is {float(self.setting.bit_rate_bit_s):.9g} bit/s",
            )
        if self.delay_ns < 0:
            raise Refused(f"a delay of {self.delay_ns} ns is below zero", "the nearest possible is 0 ns")
        require_tolerance(self.clock_tolerance)

    @property
    def conditions(self) -> tuple[Condition, ...]:
        """All published conditions, the weakest first."""
        return tuple(sorted(classical_conditions(self.setting.segments), key=lambda condition: condition.tolerance))

    @property
    def weakest(self) -> Condition:
        return self.conditions[0]

    @property
    def oscillator_tolerance(self) -> Fraction:
        """The largest df that every published condition allows."""
        return self.weakest.tolerance

    @property
    def rate_error(self) -> Fraction:
        """How far the setting's own rate is off the wanted one, with its sign, a fraction of the wanted one."""
        return self.setting.bit_rate_bit_s / self.bit_rate_bit_s - 1

    @property
    def margin(self) -> Fraction:
        """What the weakest condition leaves after the rate error and the tolerance of the clock; below 0: too little.

        A rate error is a clock that is always off, so it is paid from the same tolerance.
        """
        return self.oscillator_tolerance - abs(self.rate_error) - self.clock_tolerance

    @property
    def delay_slack_ns(self) -> Fraction:
        """How much longer the delay one way could be before prop_seg no longer covers it twice."""
        return self.setting.longest_delay_ns - self.delay_ns

    @property
    def holds(self) -> bool:
        return self.margin >= 0 and self.delay_slack_ns >= 0


def require_tolerance(tolerance: int | Fraction) -> None:
    """Raise ValueError unless ``tolerance`` of a clock is at least 0 and below 1."""
    if not 0 <= tolerance < 1:
        nearest = "0 %" if tolerance < 0 else "below 100 %"
        text = f"a clock tolerance of {float(tolerance) * 100:.6g} % is not from 0 % to below 100 %"
        raise Refused(text, f"the nearest possible is {nearest}")
