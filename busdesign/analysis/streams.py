"""From a catalogue to the numbers of the analysis: shortest periods, slowest bits, longest frames, exact.

With a clock tolerance declared, a sender may be fast (its periods shorter) and may be slow (its bits longer). The bound
takes both at once, which no real clock does: it holds whichever way the clock errs.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from fractions import Fraction
from math import ceil, lcm

from busdesign.analysis.load import utilisation
from busdesign.analysis.response import Bound, NoBound, Stream, meets_deadline, response_bounds
from busdesign.catalogue.model import Catalogue, Message
from busdesign.wire.arbitration import arbitration_key
from busdesign.wire.lengths import longest_published_bits

LENGTHS: Mapping[str, Callable[[Message], int]] = {
    "published": lambda message: longest_published_bits(message.length_bytes, extended=message.extended),
}


@dataclass(frozen=True, slots=True)
class WorstCase:
    """The worst case of one message, each time rounded up to a nanosecond; None where no bound exists."""

    message: Message
    frame_bits_max: int
    blocking_ns: int
    queuing_ns: int | None
    response_ns: int | None
    meets_deadline: bool | None
    why_not: str = ""


@dataclass(frozen=True, slots=True)
class WorstCases:
    """The worst case of every message that has an identifier, and the load when every frame is at its longest."""

    load: Fraction
    cases: Mapping[str, WorstCase]


def longest_frames(catalogue: Catalogue, lengths: str = "published") -> dict[str, int]:
    """The longest frame of every message in bits, intermission included, by the method named ``lengths``."""
    longest = LENGTHS[lengths]
    return {message.name: longest(message) for message in catalogue.messages}


def worst_cases(catalogue: Catalogue, frame_bits: Mapping[str, int]) -> WorstCases:
    """Bounds for ``catalogue`` if no frame is longer than ``frame_bits`` says.

    Source: Davis, Burns, Bril, Lukkien 2007 (``response``). Messages without an identifier have no case; their frames
    count in the load, and block the others as those of lower priority do.
    """
    bits_ns = {name: catalogue.bus.bit_ns / (1 - node.tolerance) for name, node in catalogue.nodes.items()}
    slowest_bit_ns = max(bits_ns.values())
    periods_ns = {
        message.name: message.period_ns / (1 + catalogue.nodes[message.sender].tolerance)
        for message in catalogue.messages
    }
    ticks = lcm(*(time.denominator for time in (*bits_ns.values(), *periods_ns.values())))
    streams = [
        Stream(
            name=message.name,
            priority=_priority(message),
            period=int(periods_ns[message.name] * ticks),
            jitter=message.jitter_ns * ticks,
            deadline=message.deadline_ns * ticks,
            length=int(frame_bits[message.name] * bits_ns[message.sender] * ticks),
        )
        for message in catalogue.messages
    ]
    placed = [
        stream for stream, message in zip(streams, catalogue.messages, strict=True) if message.identifier is not None
    ]
    # One without an identifier may come below any other: its frame can block them all.
    unplaced = max((stream.length for stream in streams if stream not in placed), default=0)
    bounds = response_bounds(placed, bit=int(slowest_bit_ns * ticks), blocking_at_least=unplaced) if placed else ()
    cases = {
        stream.name: _case(catalogue.message(stream.name), stream, bound, frame_bits[stream.name], ticks)
        for stream, bound in zip(placed, bounds, strict=True)
    }
    return WorstCases(utilisation(streams), cases)


def _priority(message: Message) -> int:
    return -1 if message.identifier is None else arbitration_key(message.identifier, extended=message.extended)


def _case(message: Message, stream: Stream, bound: Bound | NoBound, bits: int, ticks: int) -> WorstCase:
    blocking_ns = ceil(Fraction(bound.blocking, ticks))
    if isinstance(bound, NoBound):
        return WorstCase(message, bits, blocking_ns, None, None, None, bound.reason)
    return WorstCase(
        message,
        bits,
        blocking_ns,
        ceil(Fraction(bound.queuing, ticks)),
        ceil(Fraction(bound.response, ticks)),
        meets_deadline(stream, bound),
    )
