"""How full the bus was: over the whole capture, in bins, and in the fullest window of each length.

A frame fills the bus from its start to the end of intermission. A sliding window is fullest where its end meets the end
of a frame, or its start the start of one; both are tried for every frame. Only what the longest window can still reach
is kept from block to block.
"""

from collections.abc import Iterable

import numpy as np
from numpy.typing import NDArray

from busdesign.bench.blocks import Block
from busdesign.compiled import compiled

MOST_BINS = 16_384
FINEST_BIN_NS = 100_000_000


class Loads:
    """Collects loads block by block. ``fullest``: window [ns] to the busy time in it [ns], and where it begins."""

    def __init__(self, windows_ns: Iterable[int], origin_ns: int = 0) -> None:
        """``origin_ns``: where the bins begin, no later than the first frame but for its own length."""
        self.origin_ns = origin_ns
        self.fullest: dict[int, tuple[int, int]] = dict.fromkeys(windows_ns, (0, 0))
        self.busy_ns = 0
        self.frames = 0
        self.start_ns: int | None = None
        self.end_ns = 0
        self.bin_ns = FINEST_BIN_NS
        self._bins = np.zeros(MOST_BINS, np.int64)
        self._starts, self._ends = np.empty(0, np.int64), np.empty(0, np.int64)

    def take(self, block: Block) -> None:
        """Add the frames of ``block``."""
        is_frame = block.bits > 0
        starts, ends = block.start_ns, block.idle_ns
        if not is_frame.all():
            starts, ends = starts[is_frame], ends[is_frame]
        if not len(starts):
            return
        durations = ends - starts
        if self.start_ns is None:
            self.start_ns = int(starts[0])
        # Where stamps are in disorder, a window must still go forward.
        ends = np.maximum.accumulate(np.maximum(ends, self.end_ns))
        starts = ends - durations
        self.busy_ns += int(durations.sum())
        self.frames += len(starts)
        self.end_ns = int(ends[-1])
        self._fill_bins(starts, ends)
        starts, ends = np.concatenate([self._starts, starts]), np.concatenate([self._ends, ends])
        for window, (most, _) in self.fullest.items():
            busy, begin = _fullest(starts, ends, window, self.start_ns)
            if busy > most:
                self.fullest[window] = int(busy), int(begin)
        kept = int(np.searchsorted(ends, self.end_ns - max(self.fullest, default=0)))
        self._starts, self._ends = starts[kept:].copy(), ends[kept:].copy()

    def _fill_bins(self, starts: NDArray[np.int64], ends: NDArray[np.int64]) -> None:
        while (self.end_ns - self.origin_ns) // self.bin_ns >= MOST_BINS:
            half = MOST_BINS // 2
            self._bins[:half] = self._bins[::2] + self._bins[1::2]
            self._bins[half:] = 0
            self.bin_ns *= 2
        begun, over = np.maximum(starts - self.origin_ns, 0), np.maximum(ends - self.origin_ns, 1)
        first, last = begun // self.bin_ns, (over - 1) // self.bin_ns
        before = np.minimum(over, (first + 1) * self.bin_ns) - begun
        self._add(first, before)
        is_split = last > first
        if is_split.any():
            self._add(last[is_split], (over - begun - before)[is_split])

    def _add(self, bins: NDArray[np.int64], times: NDArray[np.int64]) -> None:
        # Sums of whole numbers far below 2**53, so exact as floats.
        self._bins += np.bincount(bins, weights=times, minlength=MOST_BINS)[:MOST_BINS].astype(np.int64)

    @property
    def duration_ns(self) -> int:
        """From the first start of frame to the last end of intermission."""
        return 0 if self.start_ns is None else self.end_ns - self.start_ns

    def mean(self) -> float:
        """Of the whole capture, a fraction of 1."""
        return self.busy_ns / self.duration_ns if self.duration_ns else 0.0

    def of_window(self, window_ns: int) -> tuple[float, int]:
        """The greatest load of any such window, and where it begins; of a shorter capture, that of all of it."""
        if self.duration_ns <= window_ns:
            return self.mean(), self.start_ns or 0
        busy, begin = self.fullest[window_ns]
        return busy / window_ns, begin

    def over_time(self) -> NDArray[np.float64]:
        """Load in each bin of ``bin_ns`` from the origin on; a last bin that is cut short counts by its own width."""
        length_ns = max(self.end_ns - self.origin_ns, 0)
        count = -(-length_ns // self.bin_ns)
        widths = np.full(count, self.bin_ns, np.int64)
        if count:
            widths[-1] = length_ns - (count - 1) * self.bin_ns
        loads: NDArray[np.float64] = self._bins[:count] / widths
        return loads


@compiled
def _fullest(starts: NDArray[np.int64], ends: NDArray[np.int64], width: int, earliest: int) -> tuple[int, int]:
    """The most busy time in a window of ``width`` between ``earliest`` and the last end, and where it begins."""
    count = starts.size
    best, best_begin = 0, 0
    busy, low = 0, 0
    for place in range(count):  # windows that end with a frame
        busy += ends[place] - starts[place]
        begin = ends[place] - width
        while ends[low] <= begin:
            busy -= ends[low] - starts[low]
            low += 1
        if begin >= earliest:
            inside = busy - max(0, begin - starts[low])
            if inside > best:
                best, best_begin = inside, begin
    busy, high = 0, 0
    for place in range(count):  # windows that begin with a frame
        end = starts[place] + width
        if end > ends[count - 1]:
            break
        while high < count and starts[high] < end:
            busy += ends[high] - starts[high]
            high += 1
        if starts[place] >= earliest:
            inside = busy - max(0, ends[high - 1] - end)
            if inside > best:
                best, best_begin = inside, starts[place]
        busy -= ends[place] - starts[place]
    return best, best_begin
