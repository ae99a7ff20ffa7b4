"""What was measured of the distances of a message: all of them together, and in bins of time."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from busdesign.bench.walk import (
    COUNT,
    FIRST_END,
    GOOD,
    GOOD_RUNS,
    GOOD_SUM,
    LAST_END,
    NEVER_LESS,
    NEVER_MORE,
    STAMP_LEAST,
    STAMP_MOST,
    STEP_LEAST,
    STEP_MOST,
    STEPS,
    STEPS_SUM,
)

MOST_BINS = 16_384
FINEST_BIN_NS = 100_000_000


@dataclass(frozen=True, slots=True)
class Measured:
    """The distances of one message. ``steps``: those of about one period, on which jitter is measured.

    ``stamps_*``: between time stamps, as they stand in the capture; all others between starts of frame. ``good``: those
    within the limits, in so many runs without one that is not.
    """

    count: int
    first_end_ns: int
    last_end_ns: int
    stamps_least_ns: int | None
    stamps_most_ns: int | None
    steps: int
    steps_sum_ns: int
    step_least_ns: int | None
    step_most_ns: int | None
    good: int
    good_sum_ns: int
    good_runs: int
    histogram: NDArray[np.int64]

    @property
    def step_mean_ns(self) -> float | None:
        """The mean distance of those of about one period."""
        return self.steps_sum_ns / self.steps if self.steps else None

    @property
    def spread_ns(self) -> int | None:
        """The furthest that such a distance was from their mean: at least that much jitter, waits included."""
        if not self.steps or self.step_least_ns is None or self.step_most_ns is None:
            return None
        mean = round(self.steps_sum_ns / self.steps)
        return max(self.step_most_ns - mean, mean - self.step_least_ns)


class OverTime:
    """Least and greatest distance of each message in bins of time; the bins grow so that there are never many."""

    def __init__(self, messages: int, origin_ns: int) -> None:
        self.bin_ns = FINEST_BIN_NS
        self.origin_ns = origin_ns
        self.least_ns = np.full((messages, MOST_BINS), NEVER_MORE)
        self.most_ns = np.full((messages, MOST_BINS), NEVER_LESS)

    def make_room(self, end_ns: int) -> None:
        """Let there be a bin for ``end_ns``."""
        while (end_ns - self.origin_ns) // self.bin_ns >= MOST_BINS:
            half = MOST_BINS // 2
            for column, empty, merge in (
                (self.least_ns, NEVER_MORE, np.minimum),
                (self.most_ns, NEVER_LESS, np.maximum),
            ):
                column[:, :half] = merge(column[:, ::2], column[:, 1::2])
                column[:, half:] = empty
            self.bin_ns *= 2

    def of(self, index: int) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.int64]]:
        """Start of each bin that holds something [ns from the origin], its least and its greatest distance."""
        used = np.flatnonzero(self.most_ns[index] >= self.least_ns[index])
        return used * self.bin_ns, self.least_ns[index][used], self.most_ns[index][used]


def measured_of(state: NDArray[np.int64], histogram: NDArray[np.int64]) -> Measured:
    """What ``state``, a message's row of it, says."""
    own = [int(value) for value in state]

    def known(column: int) -> int | None:
        return None if own[column] in (NEVER_LESS, NEVER_MORE) else own[column]

    return Measured(
        count=own[COUNT],
        first_end_ns=own[FIRST_END],
        last_end_ns=own[LAST_END],
        stamps_least_ns=known(STAMP_LEAST),
        stamps_most_ns=known(STAMP_MOST),
        steps=own[STEPS],
        steps_sum_ns=own[STEPS_SUM],
        step_least_ns=known(STEP_LEAST),
        step_most_ns=known(STEP_MOST),
        good=own[GOOD],
        good_sum_ns=own[GOOD_SUM],
        good_runs=own[GOOD_RUNS],
        histogram=histogram,
    )
