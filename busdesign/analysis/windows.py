"""The most that the bus can carry in any window of a given length, and which messages make it up.

A load over a long time averages out what a short window cannot: jitter and a backlog push frames together. Here the
load of a window is the part of it in which frames are on the wire, intermission included, wherever the window lies, on
a bus without errors.

A frame of message m is on the wire between its nominal release and R after it, its worst-case response time. So the
window W is filled most if one frame comes as late as it can, right at the window's start, and all later ones at once:

    x(j) = W + R - C - j T        what is left of the window for the j-th frame after the first
    work = sum over j = 0, 1 ... while x(j) > 0 of min(C, x(j)), but no more than W

This is the bound of M. Bertogna, M. Cirinei, G. Lipari, "Schedulability analysis of global scheduling algorithms on
multiprocessor platforms", IEEE Transactions on Parallel and Distributed Systems 20(4), 2009, 553-566 (from memory), put
to frames. Shorter frames than C give no more: what the first one leaves, at most one later one can use. All messages
together take no more than W either.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from busdesign.analysis.response import Bound, NoBound, Stream
from busdesign.analysis.streams import OnTheBus


@dataclass(frozen=True, slots=True)
class Share:
    """The most that one message can have of a window: frames that are at least partly in it, and its part of it."""

    name: str
    frames: int
    load: Fraction


@dataclass(frozen=True, slots=True)
class WindowLoad:
    """The most that any window can carry, a fraction of one, and the shares, the greatest first; they may exceed it."""

    load: Fraction
    shares: tuple[Share, ...]


@dataclass(frozen=True, slots=True)
class NoWindowLoad:
    """Nothing can be promised short of a full bus; ``reason`` says why."""

    reason: str


def window_load(bus: OnTheBus, window_ns: int) -> WindowLoad | NoWindowLoad:
    """The load of the fullest window of ``window_ns`` that the messages of ``bus`` can make."""
    unplaced = [stream.name for stream in bus.streams if stream not in bus.placed]
    if unplaced:
        return NoWindowLoad(f"`{unplaced[0]}` has no identifier, so nobody knows how late its frames are")
    return fullest(bus.placed, bus.bounds(), window_ns * bus.ticks)


def fullest(streams: Sequence[Stream], bounds: Sequence[Bound | NoBound], window: int) -> WindowLoad | NoWindowLoad:
    """The load of the fullest window, in ticks, of ``streams`` with these response times. Raises ValueError below 1."""
    if window < 1:
        raise ValueError(f"window is {window} ticks, must be at least 1")
    shares = []
    for stream, bound in zip(streams, bounds, strict=True):
        if isinstance(bound, NoBound):
            return NoWindowLoad(f"`{stream.name}` has no bound: {bound.reason}")
        frames, work = _most(stream, bound.response, window)
        shares.append(Share(stream.name, frames, Fraction(work, window)))
    total = min(sum((share.load for share in shares), Fraction(0)), Fraction(1))
    return WindowLoad(total, tuple(sorted(shares, key=lambda share: (-share.load, share.name))))


def _most(stream: Stream, response: int, window: int) -> tuple[int, int]:
    """How many frames are in the window, at least in part, and how much of it they take."""
    whole, rest = divmod(window + response - stream.length, stream.period)
    work = whole * stream.length + min(stream.length, rest)
    return whole + (rest > 0), min(work, window)
