"""From a catalogue to the numbers of the analysis: shortest periods, slowest bits, longest frames, exact.

With a clock tolerance declared, a sender may be fast (its periods shorter) and may be slow (its bits longer). The bound
takes both at once, which no real clock does: it holds whichever way the clock errs.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from math import ceil, lcm

from busdesign.analysis.controllers import bounds_of
from busdesign.analysis.load import utilisation
from busdesign.analysis.response import Bound, Disturbance, NoBound, Stream, meets_deadline
from busdesign.catalogue.model import Catalogue, Message
from busdesign.wire.arbitration import arbitration_key


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
    fix: str = ""  # of a missing bound, where it is not the load


@dataclass(frozen=True, slots=True)
class WorstCases:
    """The worst case of every message that has an identifier, and the load when every frame is at its longest."""

    load: Fraction
    cases: Mapping[str, WorstCase]


@dataclass(frozen=True, slots=True)
class OnTheBus:
    """The messages of a catalogue as the analysis sees them; times in ticks, ``ticks`` of them in a nanosecond.

    ``bit``: the slowest bit of any node. ``placed``: those of ``streams`` that have an identifier. ``unplaced``: the
    longest frame of those that have none, which may come below any other, and so can block them all.
    """

    ticks: int
    bit: int
    streams: tuple[Stream, ...]
    placed: tuple[Stream, ...]
    unplaced: int
    catalogue: Catalogue

    def bounds(self, disturbances: Sequence[Disturbance] = ()) -> tuple[Bound | NoBound, ...]:
        """Of each message that is placed, with the controllers that its node declares."""
        return bounds_of(
            self.catalogue,
            self.placed,
            bit=self.bit,
            blocking_at_least=self.unplaced,
            disturbances=disturbances,
        )


def on_the_bus(catalogue: Catalogue, frame_bits: Mapping[str, int]) -> OnTheBus:
    """``catalogue`` in ticks fine enough to be exact, if no frame is longer than ``frame_bits`` says."""
    bits_ns = {name: catalogue.bus.bit_ns / (1 - node.tolerance) for name, node in catalogue.nodes.items()}
    periods_ns = {
        message.name: message.period_ns / (1 + catalogue.nodes[message.sender].tolerance)
        for message in catalogue.messages
    }
    ticks = lcm(*(time.denominator for time in (*bits_ns.values(), *periods_ns.values())))
    streams = tuple(
        Stream(
            name=message.name,
            priority=_priority(message),
            period=int(periods_ns[message.name] * ticks),
            jitter=message.jitter_ns * ticks,
            deadline=message.deadline_ns * ticks,
            length=int(frame_bits[message.name] * bits_ns[message.sender] * ticks),
        )
        for message in catalogue.messages
    )
    both = tuple(zip(streams, catalogue.messages, strict=True))
    placed = tuple(stream for stream, message in both if message.identifier is not None)
    unplaced = max((stream.length for stream, message in both if message.identifier is None), default=0)
    return OnTheBus(ticks, int(max(bits_ns.values()) * ticks), streams, placed, unplaced, catalogue)


def worst_cases(catalogue: Catalogue, frame_bits: Mapping[str, int]) -> WorstCases:
    """Bounds for ``catalogue`` if no frame is longer than ``frame_bits`` says, on a bus without errors.

    Source: Davis, Burns, Bril, Lukkien 2007 (``response``); where a node does not queue by priority see ``queues``.
    Messages without an identifier have no case; their frames count in the load, and block the others as those of lower
    priority do.
    """
    bus = on_the_bus(catalogue, frame_bits)
    return WorstCases(utilisation(bus.streams), cases_of(catalogue, frame_bits, bus, bus.bounds()))


def cases_of(
    catalogue: Catalogue, frame_bits: Mapping[str, int], bus: OnTheBus, bounds: Iterable[Bound | NoBound]
) -> dict[str, WorstCase]:
    """``bounds`` of the messages of ``bus`` that are placed, by their names and in nanoseconds."""
    return {
        stream.name: _case(catalogue.message(stream.name), stream, bound, frame_bits[stream.name], bus.ticks)
        for stream, bound in zip(bus.placed, bounds, strict=True)
    }


def _priority(message: Message) -> int:
    if message.identifier is None:
        return -1
    return arbitration_key(message.identifier, extended=message.extended, remote=message.is_remote)


def _case(message: Message, stream: Stream, bound: Bound | NoBound, bits: int, ticks: int) -> WorstCase:
    blocking_ns = ceil(Fraction(bound.blocking, ticks))
    if isinstance(bound, NoBound):
        return WorstCase(message, bits, blocking_ns, None, None, None, bound.reason, bound.fix)
    return WorstCase(
        message,
        bits,
        blocking_ns,
        ceil(Fraction(bound.queuing, ticks)),
        ceil(Fraction(bound.response, ticks)),
        meets_deadline(stream, bound),
    )
