"""How the clocks of two recordings lie to each other, found from the frames themselves.

Frames that say the same in both vote for the distance of their times; the distance with the most votes is the offset,
and the line through the votes near it tells how much faster the second clock runs. Where nothing is said twice, as
between a bench and a simulation with other payloads, all frames of one identifier vote.
"""

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from busdesign.traffic.frames import Traffic

MOST_OF_A_KIND = 64  # frames that say the same: so many of each recording vote
MOST_FRAMES = 20_000  # of each recording that are looked at
CLUSTER_NS = 2_000_000  # votes no further apart than this are for one offset
ENOUGH_NS = 1_000_000_000  # of common time, before a line through the votes says anything of the clocks
FEW = 8  # votes, below which chance may have made them
HARDLY, SURE = 0.2, 0.9  # parts of a beginning with partners: below, it may be chance; above, nothing else can be


@dataclass(frozen=True, slots=True)
class Clocks:
    """A moment t of the first recording is ``anchor_ns + offset_ns + (t - anchor_ns) (1 + drift)`` in the second."""

    anchor_ns: int
    offset_ns: float
    drift: float = 0.0

    def in_first(self, times_ns: NDArray[np.int64]) -> NDArray[np.int64]:
        """Times of the second recording on the clock of the first one."""
        since = times_ns - np.int64(self.anchor_ns + round(self.offset_ns))
        gained: NDArray[np.int64] = np.rint(since * (self.drift / (1 + self.drift))).astype(np.int64)
        return self.anchor_ns + since - gained


@dataclass(frozen=True, slots=True)
class Found:
    """``part`` of the shorter beginning has partners that say the same, 0 to 1; 0.0 where only identifiers tell it."""

    clocks: Clocks
    part: float


def find_clocks(old: Traffic, new: Traffic) -> Found | None:
    """The clocks as the beginnings of two recordings show them; None if no identifier is in both."""
    old, new = old[:MOST_FRAMES], new[:MOST_FRAMES]
    told = _told_by(_said(old), _said(new), old.end_ns, new.end_ns)
    if told is not None and told.part >= HARDLY:
        return told
    guessed = _told_by(_kinds(old), _kinds(new), old.end_ns, new.end_ns)
    return None if guessed is None else Found(guessed.clocks, 0.0)


def search(blocks: Iterable[Traffic], beginning: Traffic) -> Found | None:
    """Where in a recording another one begins, which was started much later: the clocks from the first of them to the
    second, which begins so; None if nothing of it is there.
    """
    beginning = beginning[:MOST_FRAMES]
    wanted = np.unique(_said(beginning))
    best: Found | None = None
    for whole in blocks:
        block = whole[np.flatnonzero(np.isin(_said(whole), wanted))]
        told = _told_by(_said(block), _said(beginning), block.end_ns, beginning.end_ns, is_whole=True)
        if told is not None and told.part >= HARDLY and (best is None or told.part > best.part):
            best = told
        if best is not None and best.part >= SURE:
            break
    return best


def turned(clocks: Clocks) -> Clocks:
    """The same seen from the second recording."""
    anchor = clocks.anchor_ns + round(clocks.offset_ns)
    return Clocks(anchor, clocks.anchor_ns - anchor, -clocks.drift / (1 + clocks.drift))


def _told_by(
    old: NDArray[np.uint64],
    new: NDArray[np.uint64],
    old_ns: NDArray[np.int64],
    new_ns: NDArray[np.int64],
    *,
    is_whole: bool = False,
) -> Found | None:
    """The clocks by frames alike; None if there are none. ``is_whole``: all of the second should have partners."""
    in_old, in_new = _first_of_each(old), _first_of_each(new)
    times, distances = _votes(in_old, in_new, old_ns, new_ns)
    best = _densest(distances)
    if best is None:
        return None
    times, distances = times[best[0] : best[1]], distances[best[0] : best[1]]
    offset = int(np.median(distances))
    ours, others = (sum(map(len, found.values())) for found in (in_old, in_new))
    part = len(times) / (others if is_whole else min(ours, others)) if len(times) >= FEW else 0.0
    return Found(through(times, distances - offset, offset), min(part, 1.0))


def through(times_ns: NDArray[np.int64], residuals_ns: NDArray[np.int64], offset_ns: int) -> Clocks:
    """The line through ``offset_ns`` and what remains of it at some times of the first recording."""
    anchor = int(times_ns.min())
    since = (times_ns - anchor).astype(np.float64)
    if len(times_ns) < FEW or since.max() < ENOUGH_NS:
        return Clocks(anchor, offset_ns + float(np.median(residuals_ns)))
    slope, at_zero = np.polyfit(since, residuals_ns.astype(np.float64), 1)
    return Clocks(anchor, offset_ns + float(at_zero), float(slope))


def _said(traffic: Traffic) -> NDArray[np.uint64]:
    """One number for what each frame says: two that are alike are so in all but very few cases."""
    return _kinds(traffic) * np.uint64(0x9E37_79B9_7F4A_7C15) ^ traffic.payload


def _kinds(traffic: Traffic) -> NDArray[np.uint64]:
    return traffic.identifier.astype(np.uint64) | traffic.flags.astype(np.uint64) << np.uint64(29)


Alike = dict[int, NDArray[np.int64]]


def _votes(
    in_old: Alike, in_new: Alike, old_ns: NDArray[np.int64], new_ns: NDArray[np.int64]
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Time in the first recording and distance to the second, of frames alike; in the order of the distances."""
    times, distances = [np.empty(0, np.int64)], [np.empty(0, np.int64)]
    for key in in_old.keys() & in_new.keys():
        one, other = old_ns[in_old[key]], new_ns[in_new[key]]
        times.append(np.repeat(one, len(other)))
        distances.append((other[None, :] - one[:, None]).reshape(-1))
    found = np.concatenate(distances)
    order = np.argsort(found, kind="stable")
    return np.concatenate(times)[order], found[order]


def _first_of_each(said: NDArray[np.uint64]) -> Alike:
    """By what they say the rows of frames, but no more than some of each."""
    order = np.argsort(said, kind="stable")
    keys = said[order]
    begins = np.flatnonzero(np.append(True, keys[1:] != keys[:-1])) if len(keys) else np.empty(0, np.int64)
    parts = np.split(order, begins[1:]) if len(keys) else []
    return {int(keys[begin]): part[:MOST_OF_A_KIND] for begin, part in zip(begins.tolist(), parts, strict=True)}


def _densest(distances: NDArray[np.int64]) -> tuple[int, int] | None:
    """From which to which of ``distances``, ascending, most lie within a cluster; of several, the nearest to zero."""
    if not len(distances):
        return None
    ends = np.searchsorted(distances, distances + CLUSTER_NS, side="right")
    counts = ends - np.arange(len(distances))
    most = np.flatnonzero(counts == counts.max())
    begin = int(most[np.abs(distances[most]).argmin()])
    return begin, int(ends[begin])
