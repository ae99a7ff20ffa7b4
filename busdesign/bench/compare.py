"""Two recordings of one bus beside each other, block by block: frames in one only, what they say, when they came.

Memory does not grow with their length: of either only what the other has not come to yet is kept. Only the time in
which both were listening is compared. Importing this module loads numba.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from busdesign.bench.alignment import Clocks, through
from busdesign.bench.pairing import NOTHING, pair
from busdesign.traffic.frames import Traffic, concatenate
from busdesign.wire.flags import ERROR

MARGIN_NS = 2_000_000_000  # more than clocks can go apart from one block to the next
LEAST_REACH_NS, MOST_REACH_NS = 1_000_000, 1_000_000_000
MOST_FOR_USUAL = 4096  # frames of a message, from which its usual distance is taken
FLAGS_SHIFT = 29

Look = Callable[[int, Traffic, Traffic], NDArray[np.bool_]]


@dataclass(slots=True)
class First:
    """How often something was seen, and the first time: moment on the first clock, number of the frame in each."""

    count: int = 0
    at_ns: int | None = None
    old_frame: int | None = None
    new_frame: int | None = None

    def note(self, times: NDArray[np.int64], old: NDArray[np.int64] | None, new: NDArray[np.int64] | None) -> None:
        """So many more, in the order of time; frames count from 0 here, and from 1 in what is told."""
        if self.at_ns is None and len(times):
            self.at_ns = int(times[0])
            self.old_frame = None if old is None else int(old[0]) + 1
            self.new_frame = None if new is None else int(new[0]) + 1
        self.count += len(times)


@dataclass(slots=True)
class Compared:
    """One kind of frame (identifier, width, remote or not) in both recordings."""

    old_usual_ns: int | None = None
    new_usual_ns: int | None = None
    paired: int = 0
    missing: First = field(default_factory=First)
    extra: First = field(default_factory=First)
    changed: First = field(default_factory=First)
    changed_data: tuple[bytes, bytes] = (b"", b"")
    moved: First = field(default_factory=First)
    most_apart_ns: int = 0
    phase: NDArray[np.float64] = field(default_factory=lambda: np.zeros(2))


class Side:
    """One of the two recordings: what of it was read and is not paired yet."""

    def __init__(self, blocks: Iterator[Traffic]) -> None:
        self._blocks = blocks
        self.is_done = False
        self.frames = self.error_frames = 0
        self.first_ns: int | None = None
        self.last_ns = 0
        self.waiting: dict[int, list[tuple[Traffic, NDArray[np.int64]]]] = {}

    def read(self) -> None:
        """One block more, dealt out to its kinds of frames."""
        block = next(self._blocks, None)
        if block is None:
            self.is_done = True
            return
        numbers = np.arange(self.frames, self.frames + len(block))
        self.frames += len(block)
        is_error = (block.flags & np.uint8(ERROR)) != 0
        if is_error.any():
            self.error_frames += int(is_error.sum())
            block, numbers = block[~is_error], numbers[~is_error]
        if not len(block):
            return
        self.first_ns = int(block.end_ns[0]) if self.first_ns is None else self.first_ns
        self.last_ns = max(self.last_ns, int(block.end_ns.max()))
        keys = block.identifier.astype(np.int64) | block.flags.astype(np.int64) << FLAGS_SHIFT
        order = np.argsort(keys, kind="stable")
        begins = np.flatnonzero(np.diff(keys[order], prepend=-1))
        for rows in np.split(order, begins[1:]):
            self.waiting.setdefault(int(keys[rows[0]]), []).append((block[rows], numbers[rows]))

    def take(self, key: int) -> tuple[Traffic, NDArray[np.int64]]:
        """What waits of one kind, in the order of time, and the numbers of these frames."""
        parts = self.waiting.pop(key, [])
        if not parts:
            return Traffic.empty(), np.empty(0, np.int64)
        traffic = parts[0][0] if len(parts) == 1 else concatenate([part for part, _ in parts])
        numbers = np.concatenate([numbers for _, numbers in parts])
        if (np.diff(traffic.end_ns) < 0).any():
            order = np.argsort(traffic.end_ns, kind="stable")
            traffic, numbers = traffic[order], numbers[order]
        return traffic, numbers


class Comparison:
    """Pairs the frames of two recordings; ``look`` is given frames whose bytes differ, and tells which of
    them count."""

    def __init__(
        self,
        old: Iterator[Traffic],
        new: Iterator[Traffic],
        clocks: Clocks,
        within_ns: Callable[[int], int],
        usual_ns: Callable[[int], int | None],
        *,
        follows: bool,
        fixed: bool,
        look: Look,
    ) -> None:
        """Of each kind of frame ``within_ns`` it may come earlier or later, and ``usual_ns``, its usual distance.

        ``follows``: each message has a phase and a clock of its own, as beside a simulation. ``fixed``: the clocks
        are as told, but for their drift.
        """
        self.old, self.new, self.clocks = Side(old), Side(new), clocks
        self.kinds: dict[int, Compared] = {}
        self._within_ns, self._usual_ns, self._follows, self._fixed, self._look = (
            within_ns, usual_ns, follows, fixed, look,
        )  # fmt: skip

    def run(self) -> None:
        """Go through both to their ends."""
        while not (self.old.is_done and self.new.is_done):
            ahead = self._new_ns(self.new.last_ns) - self.old.last_ns
            side = self.old if not self.old.is_done and (self.new.is_done or ahead > 0) else self.new
            side.read()
            self._pair()
        self._pair(to_the_end=True)

    @property
    def span_ns(self) -> tuple[int, int]:
        """From when to when both were listening, on the first clock."""
        assert self.old.first_ns is not None
        assert self.new.first_ns is not None
        begin = max(self.old.first_ns, self._new_ns(self.new.first_ns))
        return begin, min(self.old.last_ns, self._new_ns(self.new.last_ns))

    def _new_ns(self, time_ns: int) -> int:
        return int(self.clocks.in_first(np.array([time_ns]))[0])

    def _pair(self, *, to_the_end: bool = False) -> None:
        if self.old.first_ns is None or self.new.first_ns is None:
            return
        begin, end = self.span_ns
        new_last = self._new_ns(self.new.last_ns)
        if abs(self.old.last_ns - new_last) > MARGIN_NS:  # one of them has been read past the end of the other
            over = self.new if self.old.last_ns > new_last else self.old
            to_the_end = to_the_end or over.is_done
        if not to_the_end:
            end -= MARGIN_NS
            if end < begin:
                self._forget_before(begin - MARGIN_NS)
                return
        times, residuals = [], []
        for key in sorted(self.old.waiting.keys() | self.new.waiting.keys()):
            found = self._pair_kind(key, begin, end, is_end=to_the_end)
            if found is not None:
                times.append(found[0])
                residuals.append(found[1])
        if to_the_end:
            self.old.waiting.clear()
            self.new.waiting.clear()
        if times and not self._follows:
            self._follow(np.concatenate(times), np.concatenate(residuals))

    def _forget_before(self, begin: int) -> None:
        """What one recording has from before the other began is not compared, and need not be kept."""
        for side, last_ns in ((self.old, self.old.last_ns), (self.new, self._new_ns(self.new.last_ns))):
            if last_ns < begin:
                side.waiting.clear()

    def _follow(self, times: NDArray[np.int64], residuals: NDArray[np.int64]) -> None:
        """The clocks from here on, from the pairs of this round."""
        if len(times) < 64:
            return
        middle = int(np.median(residuals))
        usual = np.abs(residuals - middle) <= max(3 * int(np.median(np.abs(residuals - middle))), 1000)
        line = through(times[usual], residuals[usual], 0)
        old, since = self.clocks, line.anchor_ns - self.clocks.anchor_ns
        offset = old.offset_ns + old.drift * since + (0.0 if self._fixed else line.offset_ns)
        self.clocks = Clocks(line.anchor_ns, offset, old.drift + line.drift)

    def _pair_kind(
        self, key: int, begin: int, end: int, *, is_end: bool
    ) -> tuple[NDArray[np.int64], NDArray[np.int64]] | None:
        """Pair one kind up to ``end``; give the times and the distances of its pairs, if there are any."""
        (old, old_numbers), (new, new_numbers) = self.old.take(key), self.new.take(key)
        kind = self.kinds.setdefault(key, Compared())
        old_ns, new_ns = old.end_ns, self.clocks.in_first(new.end_ns)
        if kind.old_usual_ns is None:
            kind.old_usual_ns = _usual(old_ns)
        if kind.new_usual_ns is None:
            kind.new_usual_ns = _usual(new_ns)
        usual = self._usual_ns(key) or kind.old_usual_ns or kind.new_usual_ns or 0
        reach = min(max(usual // 2, LEAST_REACH_NS), MOST_REACH_NS)
        pairs = np.empty((len(old) + len(new), 2), np.int64)
        apart = np.empty(len(old) + len(new), np.int64)
        used_old, used_new, rows = pair(old_ns, new_ns, end, reach, self._follows, kind.phase, pairs, apart)
        self._keep(self.old, key, old, old_numbers, used_old)
        self._keep(self.new, key, new, new_numbers, used_new)
        pairs, apart = pairs[:rows], apart[:rows]
        both = (pairs != NOTHING).all(axis=1)
        for which, seen, column, traffic_ns, numbers in (
            (0, kind.missing, pairs[:, 1], old_ns, old_numbers),
            (1, kind.extra, pairs[:, 0], new_ns, new_numbers),
        ):
            alone = pairs[column == NOTHING, which]
            # At the edges its partner may lie just beyond what the other recording has.
            alone = alone[(traffic_ns[alone] >= begin + reach) & (traffic_ns[alone] <= end - reach * is_end)]
            seen.note(traffic_ns[alone], *((numbers[alone], None) if which == 0 else (None, numbers[alone])))
        one, other, apart = pairs[both, 0], pairs[both, 1], apart[both]
        kind.paired += len(one)
        self._compare(key, kind, old[one], new[other], old_numbers[one], new_numbers[other], apart)
        return (old_ns[one], apart) if len(one) else None

    @staticmethod
    def _keep(side: Side, key: int, traffic: Traffic, numbers: NDArray[np.int64], used: int) -> None:
        if used < len(traffic):
            side.waiting[key] = [(traffic[used:], numbers[used:])]

    def _compare(
        self,
        key: int,
        kind: Compared,
        old: Traffic,
        new: Traffic,
        old_numbers: NDArray[np.int64],
        new_numbers: NDArray[np.int64],
        apart: NDArray[np.int64],
    ) -> None:
        if not len(apart):
            return
        other = np.flatnonzero((old.payload != new.payload) | (old.length != new.length))
        if len(other):
            other = other[self._look(key, old[other], new[other])]
        if len(other):
            if kind.changed.at_ns is None:
                kind.changed_data = old.data(int(other[0])), new.data(int(other[0]))
            kind.changed.note(old.end_ns[other], old_numbers[other], new_numbers[other])
        moved = np.flatnonzero(np.abs(apart) > self._within_ns(key))
        kind.moved.note(old.end_ns[moved], old_numbers[moved], new_numbers[moved])
        kind.most_apart_ns = max(kind.most_apart_ns, int(np.abs(apart).max()))


def _usual(times_ns: NDArray[np.int64]) -> int | None:
    """The median distance of a message's frames."""
    return int(np.median(np.diff(times_ns[:MOST_FOR_USUAL]))) if len(times_ns) > 2 else None
