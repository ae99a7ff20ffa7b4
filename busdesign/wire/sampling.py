"""What a receiver samples: bit timing acted out, quantum by quantum.

The receiver looks at the pair once a quantum. The first recessive-to-dominant edge starts its bit anew (hard
synchronisation): the quantum in which it fell becomes the sync segment. At each later such edge after a recessive
sample, once between two samples, an edge before the sample point lengthens phase_seg1 and one after it shortens
phase_seg2, by its distance from the sync segment and at most by sjw.

Nothing here knows the formulas of `oscillator` or `compatibility`: it is what those are held against.

Modelled: quanta of an off clock, the place of an edge within a quantum, hard synchronisation once, resynchronisation.
Not modelled: three samples a bit, glitches, the time that a controller needs after its sample point.

Source: Bosch CAN Specification 2.0 (1991), part A, "Synchronization" (title from memory).
"""

from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise
from math import ceil, lcm

from busdesign.findings import Refused
from busdesign.wire.bit_timing import SYNC_SEG, Setting

DOMINANT, RECESSIVE = "0", "1"


@dataclass(frozen=True, slots=True)
class Sample:
    """When the receiver looked, and what it saw: `0` dominant, `1` recessive."""

    time_ns: Fraction
    level: str


@dataclass(frozen=True, slots=True)
class SampledBit:
    """A sample, the sender's bit that it fell into (counted from 0), and whether that is the bit meant."""

    time_ns: Fraction
    level: str
    bit: int
    is_right: bool


def sampled(
    receiver: Setting,
    bits: str,
    sender_bit_ns: int | Fraction,
    *,
    delay_ns: int | Fraction = 0,
    clock_error: int | Fraction = 0,
    edge_in_quantum: int | Fraction = 0,
) -> tuple[SampledBit, ...]:
    """One sample of ``receiver`` for each of the sender's ``bits``, which begin at time 0 after an idle bus.

    ``sender_bit_ns`` is the sender's real bit time, ``delay_ns`` the way to the receiver. The receiver's frequency is
    ``1 + clock_error`` times its nominal one. ``edge_in_quantum`` is how much of the receiver's quantum was over when
    the first edge came, from 0 up to but not 1.

    A sample at the very boundary of two bits still falls into the earlier one.
    Raises ValueError unless ``bits`` are of `0` and `1` and begin with a dominant one, and times are above zero.
    """
    if sender_bit_ns <= 0:
        raise Refused(f"a bit of {sender_bit_ns} ns does not last", "a bit time is above zero")
    edges_ns = edges_of(bits, sender_bit_ns, delay_ns)
    seen = sample(receiver, edges_ns, len(bits), clock_error=clock_error, edge_in_quantum=edge_in_quantum)
    return tuple(
        SampledBit(one.time_ns, one.level, bit, bit == meant)
        for meant, one in enumerate(seen)
        for bit in [ceil((one.time_ns - delay_ns) / sender_bit_ns) - 1]
    )


def edges_of(bits: str, bit_ns: int | Fraction, delay_ns: int | Fraction = 0) -> list[Fraction]:
    """When the level of the pair changes, recessive before the first bit; the first change is to dominant.

    Raises ValueError unless ``bits`` are of `0` and `1` and begin with a dominant one.
    """
    if not bits.startswith(DOMINANT) or set(bits) - {DOMINANT, RECESSIVE}:
        raise Refused(f"{bits[:20]!r} cannot follow an idle bus", "write `0` and `1`, the first `0` (dominant)")
    before = RECESSIVE + bits
    return [Fraction(delay_ns) + place * Fraction(bit_ns) for place, bit in enumerate(bits) if bit != before[place]]


def sample(
    receiver: Setting,
    edges_ns: Sequence[Fraction],
    samples: int,
    *,
    clock_error: int | Fraction = 0,
    edge_in_quantum: int | Fraction = 0,
) -> tuple[Sample, ...]:
    """The first ``samples`` samples of ``receiver`` on a pair that changes level at ``edges_ns``.

    The pair is recessive before the first edge, where the receiver synchronises hard; edges at the receiver's own end
    of the line, whoever caused them. See `sampled` for the clock error and the place of the first edge in a quantum.
    Raises ValueError if there is no edge, the edges do not rise, or the clock would stand still.
    """
    _require(edges_ns, clock_error, edge_in_quantum)
    quantum_ns = receiver.quantum_ns / (1 + Fraction(clock_error))
    # Places in the receiver's quanta: quantum 0 is the one in which the first edge fell. Whole parts of a quantum are
    # counted, as many parts as make every place exact.
    exact = [(edge - edges_ns[0]) / quantum_ns + edge_in_quantum for edge in edges_ns]
    parts = lcm(*(place.denominator for place in exact))
    places = [int(place * parts) for place in exact]
    to_dominant = [place // parts for place in places[2::2]]
    segments = receiver.segments
    seen: list[Sample] = []
    level, start, is_synchronised = RECESSIVE, 0, True
    for _ in range(samples):
        look = start + SYNC_SEG + segments.prop_seg + segments.phase_seg1
        if level == RECESSIVE and not is_synchronised:
            late = _first_within(to_dominant, start, look)
            look += min(late - start, segments.sjw) if late is not None else 0
        level = DOMINANT if bisect_left(places, look * parts) % 2 else RECESSIVE
        seen.append(Sample(edges_ns[0] + (look - edge_in_quantum) * quantum_ns, level))
        start = look + segments.phase_seg2
        early = _first_within(to_dominant, look, start) if level == RECESSIVE else None
        is_synchronised = early is not None
        if early is not None:
            start -= min(start - early, segments.sjw)
    return tuple(seen)


def _first_within(quanta: list[int], start: int, end: int) -> int | None:
    """The first of the rising ``quanta`` in start..end, without the end."""
    place = bisect_left(quanta, start)
    return quanta[place] if place < len(quanta) and quanta[place] < end else None


def _require(edges_ns: Sequence[Fraction], clock_error: int | Fraction, edge_in_quantum: int | Fraction) -> None:
    if not edges_ns:
        raise Refused("without an edge nothing is synchronised", "give at least the edge of the start of frame")
    if any(earlier >= later for earlier, later in pairwise(edges_ns)):
        raise Refused("the edges do not rise in time", "sort them, each once")
    if clock_error <= -1:
        raise Refused(f"a clock off by {clock_error} stands still", "the nearest possible is above -1")
    if not 0 <= edge_in_quantum < 1:
        raise Refused(f"{edge_in_quantum} of a quantum is not within it", "from 0 up to but not 1")
