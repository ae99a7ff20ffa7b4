"""Which settings make a wanted bit rate from a clock, and which of them is best.

A setting is known by its prescaler, its number of quanta and its phase_seg2. The rest follows, exactly: prop_seg is
the shortest that covers the delay, since what it takes is lost to phase_seg1, and sjw the longest allowed, since both
published conditions only gain by it. Any other split has no more margin.

The order is the one in which a person decides: margin left, the conditions from the weakest on, sample point, rate
error, number of quanta, and the register numbers last.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from fractions import Fraction

from busdesign.findings import Refused
from busdesign.units import NS_PER_S, format_bit_rate, percent
from busdesign.wire.bit_timing import (
    SYNC_SEG,
    Limits,
    Segments,
    Setting,
    quanta_for,
    recommended_sample_point,
)
from busdesign.wire.oscillator import (
    EDGE_TO_EDGE_BITS,
    UNSYNCHRONISED_BITS,
    Assessment,
    require_tolerance,
)

AROUND = Fraction(1, 100)  # of a bit to either side of the wanted sample point, where the caller says nothing
# No tolerance reaches 1/50: the smaller phase is under half a bit, and over 12.5 bits pass until the sample.
_WORST_RATE_ERROR = 50


class OutOfReach(Refused):
    """No setting makes what is wanted; ``nearest`` is the value that one would make, None if none at all."""

    def __init__(self, text: str, fix: str, nearest: Fraction | None) -> None:
        super().__init__(text, fix)
        self.nearest = nearest


def settings_for(
    clock_hz: int | Fraction,
    bit_rate_bit_s: int | Fraction,
    limits: Limits,
    *,
    sample_point: Fraction | None = None,
    sample_point_within: Fraction | None = None,
    delay_ns: int | Fraction = 0,
    clock_tolerance: int | Fraction = 0,
) -> tuple[Assessment, ...]:
    """Every setting within ``limits`` that carries the delay and whose tolerance exceeds its rate error, best first.

    ``sample_point`` is a fraction of 1, by default the recommended one of the rate; wanted are those at most
    ``sample_point_within`` away. By default that is 0.01, or as far as the nearest that the clock and the limits can
    make. ``delay_ns`` is the longest way, line and nodes. ``clock_tolerance`` lowers every margin alike, below 0
    where it is too much: such settings are given all the same.
    Raises OutOfReach, with the nearest possible value, for a rate, a sample point or a delay that no setting makes;
    ValueError for a value that makes no sense.
    """
    wanted = _Wanted.checked(clock_hz, bit_rate_bit_s, limits, sample_point, delay_ns)
    require_tolerance(clock_tolerance)
    within = AROUND if sample_point_within is None else sample_point_within
    if within < 0:
        raise Refused(f"a sample point cannot lie within {within} of another", "the nearest possible is 0")
    found = list(_splits(wanted, within))
    if not found:
        if not any(_splits(wanted.without_delay(), within)):
            within = _within_reach(wanted, sample_point_within)
            found = list(_splits(wanted, within))
        if not found:
            raise _delay_out_of_reach(wanted, within)
    found.sort(key=_rank(wanted))
    return tuple(Assessment(_setting(wanted, split), bit_rate_bit_s, delay_ns, clock_tolerance) for split in found)


@dataclass(frozen=True, slots=True)
class _Wanted:
    clock_hz: int | Fraction
    bit_rate_bit_s: Fraction
    limits: Limits
    sample_point: Fraction
    delay_ns: Fraction
    cycles: Fraction  # of the clock in a bit

    @classmethod
    def checked(
        cls,
        clock_hz: int | Fraction,
        bit_rate_bit_s: int | Fraction,
        limits: Limits,
        sample_point: Fraction | None,
        delay_ns: int | Fraction,
    ) -> "_Wanted":
        fewest, most = limits.quanta_range
        if bit_rate_bit_s <= 0:
            slowest = Fraction(clock_hz) / (limits.prescalers[-1] * most) if clock_hz > 0 else None
            nearest = f"the nearest possible is {_rate(slowest)}" if slowest else "a bit rate is above zero"
            raise OutOfReach(f"a bit rate of {bit_rate_bit_s} bit/s carries nothing", nearest, slowest)
        if clock_hz <= 0:
            slowest_clock = Fraction(bit_rate_bit_s) * limits.prescalers[0] * fewest
            raise OutOfReach(
                f"a clock of {_frequency(clock_hz)} does not run",
                f"the nearest possible for this bit rate is {_frequency(slowest_clock)}",
                slowest_clock,
            )
        if delay_ns < 0:
            raise OutOfReach(f"a delay of {delay_ns} ns is below zero", "the nearest possible is 0 ns", Fraction(0))
        aim = recommended_sample_point(bit_rate_bit_s) if sample_point is None else sample_point
        if not 0 < aim < 1:
            raise Refused(f"a sample point of {aim} is outside the bit", "it lies between 0 and 1, such as 7/8")
        rate = Fraction(bit_rate_bit_s)
        return cls(clock_hz, rate, limits, Fraction(aim), Fraction(delay_ns), clock_hz / rate)

    def without_delay(self) -> "_Wanted":
        return _Wanted(self.clock_hz, self.bit_rate_bit_s, self.limits, self.sample_point, Fraction(0), self.cycles)


@dataclass(slots=True)
class _Split:
    """One way to divide the bit; all in quanta but the prescaler."""

    prescaler: int
    quanta: int
    prop_seg: int
    phase_seg1: int
    phase_seg2: int
    sjw: int


def _lengths(wanted: _Wanted) -> Iterator[tuple[int, int]]:
    """Prescaler and quanta whose rate error any tolerance could pay at all."""
    fewest, most = wanted.limits.quanta_range
    longest = wanted.cycles * _WORST_RATE_ERROR / (_WORST_RATE_ERROR - 1)
    shortest = wanted.cycles * _WORST_RATE_ERROR / (_WORST_RATE_ERROR + 1)
    for prescaler in wanted.limits.prescalers:
        if prescaler * fewest > longest:
            return
        for quanta in range(max(fewest, -(-shortest // prescaler)), min(most, longest // prescaler) + 1):
            yield prescaler, quanta


def _phases2(wanted: _Wanted, quanta: int, within: Fraction) -> range:
    """The lengths of phase_seg2 that put the sample point near the wanted one and fit the registers."""
    limits, early, late = wanted.limits, wanted.sample_point - within, wanted.sample_point + within
    least1, most1 = limits.segment1_range
    shortest = max(limits.shortest_phase_seg2, quanta - SYNC_SEG - most1, -((late - 1) * quanta // 1))
    longest = min(limits.phase_seg2[1], quanta - SYNC_SEG - least1, (1 - early) * quanta // 1)
    return range(shortest, longest + 1)


def _splits(wanted: _Wanted, within: Fraction) -> Iterator[_Split]:
    limits = wanted.limits
    prop_least, prop_most = limits.prop_range
    phase1_least, phase1_most = limits.phase1_range
    cycles, scale = wanted.cycles.numerator, wanted.cycles.denominator
    for prescaler, quanta in _lengths(wanted):
        made = prescaler * quanta * scale
        error = abs(cycles - made)
        covering = quanta_for(wanted.delay_ns, wanted.clock_hz, prescaler) if wanted.delay_ns else 1
        for phase_seg2 in _phases2(wanted, quanta, within):
            segment1 = quanta - SYNC_SEG - phase_seg2
            prop_seg = max(covering, prop_least, segment1 - phase1_most)
            phase_seg1 = segment1 - prop_seg
            if prop_seg > prop_most or phase_seg1 < phase1_least:
                continue
            smaller = min(phase_seg1, phase_seg2)
            sjw = min(limits.sjw, smaller)
            pays_jump = error * 2 * EDGE_TO_EDGE_BITS * quanta <= sjw * made
            if pays_jump and error * 2 * (UNSYNCHRONISED_BITS * quanta - phase_seg2) <= smaller * made:
                yield _Split(prescaler, quanta, prop_seg, phase_seg1, phase_seg2, sjw)


def _rank(wanted: _Wanted) -> Callable[[_Split], tuple[int, ...]]:
    """The order of splits as integers: each ratio times a number above the square of every denominator, cut off.

    Two different ratios with denominators up to D are at least 1 / D**2 apart, so what is cut off decides nothing.
    """
    cycles, scale = wanted.cycles.numerator, wanted.cycles.denominator
    aim = wanted.sample_point
    longest = wanted.limits.quanta_range[1]
    largest = max(2 * UNSYNCHRONISED_BITS * longest * 2 * cycles, longest * aim.denominator)
    unit = largest * largest

    def rank(split: _Split) -> tuple[int, ...]:
        quanta, phase_seg2 = split.quanta, split.phase_seg2
        made = split.prescaler * quanta * scale
        error = abs(cycles - made)
        jump_bits, flag_bits = 2 * EDGE_TO_EDGE_BITS * quanta, 2 * (UNSYNCHRONISED_BITS * quanta - phase_seg2)
        margins = sorted(
            (
                (split.sjw * made - error * jump_bits) * unit // (jump_bits * made),
                (min(split.phase_seg1, phase_seg2) * made - error * flag_bits) * unit // (flag_bits * made),
            )
        )
        off = abs((quanta - phase_seg2) * aim.denominator - aim.numerator * quanta)
        return (
            -margins[0],
            -margins[1],
            off * unit // (quanta * aim.denominator),
            error * unit // made,
            -quanta,
            split.prescaler,
        )

    return rank


def _setting(wanted: _Wanted, split: _Split) -> Setting:
    segments = Segments(split.prop_seg, split.phase_seg1, split.phase_seg2, split.sjw)
    return Setting(wanted.clock_hz, split.prescaler, segments)


def _within_reach(wanted: _Wanted, within: Fraction | None) -> Fraction:
    """How far from the wanted sample point to look, if there were no delay. Raises OutOfReach for a rate or a point."""
    points = {Fraction(one.quanta - one.phase_seg2, one.quanta) for one in _splits(wanted.without_delay(), Fraction(1))}
    if not points:
        nearest_rate = _nearest_rate(wanted)
        raise OutOfReach(
            f"{_rate(wanted.bit_rate_bit_s)} cannot be made from a clock of {_frequency(wanted.clock_hz)} "
            f"within the limits `{wanted.limits.name}`",
            f"the nearest possible is {_rate(nearest_rate)}",
            nearest_rate,
        )
    nearest = min(points, key=lambda point: abs(point - wanted.sample_point))
    distance = abs(nearest - wanted.sample_point)
    if within is None:
        return max(AROUND, distance)
    if distance > within:
        raise OutOfReach(
            f"no sample point within {percent(within)} of {percent(wanted.sample_point)} can be made",
            f"the nearest possible is {percent(nearest)}",
            nearest,
        )
    return within


def _nearest_rate(wanted: _Wanted) -> Fraction:
    fewest, most = wanted.limits.quanta_range
    rates = {
        wanted.clock_hz / Fraction(prescaler * min(max(quanta, fewest), most))
        for prescaler in wanted.limits.prescalers
        for quanta in (wanted.cycles // prescaler, wanted.cycles // prescaler + 1)
    }
    return min(rates, key=lambda rate: (abs(rate - wanted.bit_rate_bit_s), rate))


def _delay_out_of_reach(wanted: _Wanted, within: Fraction) -> OutOfReach:
    longest = max(_longest_delay_ns(wanted, split) for split in _splits(wanted.without_delay(), within))
    return OutOfReach(
        f"a delay of {float(wanted.delay_ns):.6g} ns one way does not fit there and back before the sample point "
        f"at {_rate(wanted.bit_rate_bit_s)}",
        f"the nearest possible is {float(longest):.6g} ns; a lower bit rate or a later sample point allows more",
        longest,
    )


def _longest_delay_ns(wanted: _Wanted, split: _Split) -> Fraction:
    """The longest delay of this bit: phase_seg1 is left what the registers ask and what the rate error costs."""
    limits, quanta = wanted.limits, split.quanta
    error = abs(wanted.cycles / (split.prescaler * quanta) - 1)
    least = max(
        limits.phase1_range[0],
        -(-error * 2 * EDGE_TO_EDGE_BITS * quanta // 1),
        -(-error * 2 * (UNSYNCHRONISED_BITS * quanta - split.phase_seg2) // 1),
    )
    prop_seg = min(limits.prop_range[1], split.prop_seg + split.phase_seg1 - least)
    return Fraction(prop_seg * split.prescaler * NS_PER_S) / wanted.clock_hz / 2


def _rate(bit_rate_bit_s: Fraction) -> str:
    return format_bit_rate(bit_rate_bit_s)


def _frequency(clock_hz: int | Fraction) -> str:
    unit, scale = next(
        each for each in (("MHz", 10**6), ("kHz", 10**3), ("Hz", 1)) if clock_hz >= each[1] or each[1] == 1
    )
    return f"{float(Fraction(clock_hz) / scale):.12g} {unit}"
