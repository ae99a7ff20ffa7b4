"""Do two boards understand each other: each with its own clock, setting and tolerance, on one harness.

The published conditions speak of equal boards. Here the sender's bits last as long as its own clock and setting
make them, the receiver counts its own quanta, each clock is off to the worst side, and the delay is the real one.
For a receiver (bit of n quanta, phase_seg2, sjw) and a sender, after an edge that synchronised the receiver:

    resynchronisation  the next such edge comes within 10 sender bits; its phase error is at most sjw quanta,
                       whether the sender is slow or fast
    sampled late       the receiver, slow, samples the 13th bit before the fast sender ends it:
                       13 n - phase_seg2 receiver quanta <= 13 sender bits
    sampled early      the receiver, fast, samples the 13th bit after the slow sender has begun it, where the sender
                       itself followed an edge from the receiver's end of the line, so that its bits come late by the
                       delay there and back; and the edge may have fallen at the end of a quantum (one quantum less):
                       12 sender bits + 2 delay <= 13 n - phase_seg2 - 1 receiver quanta

These generalise the two classical conditions of ISO 11898-1 (`oscillator.classical_conditions`). With equal boards:

- resynchronisation becomes df <= sjw / (20 bit) with the whole difference 2 df in the sender's bit time;
- sampled late becomes df <= phase_seg2 / (2 (13 bit - phase_seg2)) with 2 df in the receiver's quantum;
- sampled early becomes df <= phase_seg1 / (2 (13 bit - phase_seg2)) likewise, if the delay there and back fills
  prop_seg, except that the published denominator is longer by the one quantum already set aside (13 bit - phase_seg2
  - 1 is exact).

With the difference shared by two clocks the published limits are first order in df. So they are a little too
generous in resynchronisation and sampling late (by the fraction df of the limit: 1.59 % is 1.56 %), too strict in
sampling early (by up to some 4 % of the limit, and by all of prop_seg that the delay does not fill).

Beyond resynchronisation nothing goes wrong at once: what a jump cannot take up is left over, and adds up over edge
after edge. A pattern of 10 bits without end is sampled wrong in time, one frame of it often is not; so this condition
is strict for a frame. The other two are sampled wrong in the very bit.

Not asked here, as it is not in the published conditions: a sender that itself follows another node begins its bits
up to one of its own quanta early.
"""

from dataclasses import dataclass
from fractions import Fraction

from busdesign.findings import Refused
from busdesign.wire.bit_timing import SYNC_SEG, Setting
from busdesign.wire.oscillator import EDGE_TO_EDGE_BITS, UNSYNCHRONISED_BITS, require_tolerance


@dataclass(frozen=True, slots=True)
class Board:
    """A node by name, its setting, and how far its clock may be off (a fraction of 1). Raises ValueError."""

    name: str
    setting: Setting
    clock_tolerance: int | Fraction = 0

    def __post_init__(self) -> None:
        require_tolerance(self.clock_tolerance)


@dataclass(frozen=True, slots=True)
class PairCondition:
    """One condition between a sender and a receiver at the worst of their clocks.

    ``slack_ns`` is the time left. ``margin`` is by how much more each of the two clocks may be off, a fraction of
    1; below 0 they do not understand each other. Its sign is exact, and so is its size, but where the delay counts:
    there it is a little less than the truth, by about a thousandth of itself.
    """

    name: str
    sender: str
    receiver: str
    sender_is: str
    margin: Fraction
    slack_ns: Fraction

    @property
    def holds(self) -> bool:
        return self.margin >= 0


@dataclass(frozen=True, slots=True)
class Understanding:
    """Every condition in both directions, the tightest first."""

    conditions: tuple[PairCondition, ...]

    @property
    def tightest(self) -> PairCondition:
        return self.conditions[0]

    @property
    def margin(self) -> Fraction:
        return self.tightest.margin

    @property
    def holds(self) -> bool:
        return self.tightest.holds


def understanding(first: Board, second: Board, *, delay_ns: int | Fraction) -> Understanding:
    """Whether the boards understand each other with ``delay_ns`` one way between them, line and nodes.

    That delay is half of a propagation budget, which counts out and back. The rates of the two settings need not be
    equal: what they differ by counts as drift.
    Raises ValueError if the delay is below zero.
    """
    if delay_ns < 0:
        raise Refused(f"a delay of {delay_ns} ns is below zero", "the nearest possible is 0 ns")
    both = [*_one_way(first, second, Fraction(delay_ns)), *_one_way(second, first, Fraction(delay_ns))]
    return Understanding(tuple(sorted(both, key=lambda condition: condition.margin)))


def _one_way(sender: Board, receiver: Board, delay_ns: Fraction) -> list[PairCondition]:
    bit_ns, setting = sender.setting.bit_ns, receiver.setting
    between_edges = EDGE_TO_EDGE_BITS * setting.quanta
    last_sample = UNSYNCHRONISED_BITS * setting.quanta - setting.phase_seg2

    def of_sender(bits: int) -> _Span:
        return _Span(bits * bit_ns, Fraction(sender.clock_tolerance))

    def of_receiver(quanta: int) -> _Span:
        return _Span(quanta * setting.quantum_ns, Fraction(receiver.clock_tolerance))

    def condition(name: str, sender_is: str, slow: _Span, fast: _Span, fixed_ns: Fraction) -> PairCondition:
        left = _left(slow, fast, fixed_ns)
        return PairCondition(name, sender.name, receiver.name, sender_is, *left)

    edge, none = of_sender(EDGE_TO_EDGE_BITS), Fraction(0)
    return [
        condition("resynchronisation", "slow", edge, of_receiver(between_edges + setting.sjw), none),
        condition("resynchronisation", "fast", of_receiver(between_edges - setting.sjw), edge, none),
        condition("sampled late", "fast", of_receiver(last_sample), of_sender(UNSYNCHRONISED_BITS), none),
        condition(
            "sampled early",
            "slow",
            of_sender(UNSYNCHRONISED_BITS - 1),
            of_receiver(last_sample - SYNC_SEG),
            2 * delay_ns,
        ),
    ]


@dataclass(frozen=True, slots=True)
class _Span:
    """A nominal time [ns] and the tolerance of the clock that makes it."""

    nominal_ns: Fraction
    tolerance: Fraction


def _left(slow: _Span, fast: _Span, fixed_ns: Fraction) -> tuple[Fraction, Fraction]:
    """Margin and slack of: the span of a slow clock, and a fixed time, are over before that of a fast clock.

    slow / (1 - t - margin) + fixed <= fast / (1 + t + margin), multiplied out. Of the product with ``fixed`` only
    what does not hold the margin is kept, which makes it linear: the rest is negative, so nothing is promised that
    is not there.
    """
    slowest, fastest = 1 - slow.tolerance, 1 + fast.tolerance
    spare_ns = fast.nominal_ns * slowest - slow.nominal_ns * fastest - fixed_ns * slowest * fastest
    return spare_ns / (fast.nominal_ns + slow.nominal_ns), spare_ns / (slowest * fastest)
