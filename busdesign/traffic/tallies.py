"""How often and how densely: counts and periods of messages, and how much of the time frames fill the bus.

A frame keeps the bus busy from its start of frame to the end of the three bits of intermission, that is ``wire_bits``
bits that end three bits after its ``end_ns``. Loads are fractions of 1. A load above 1 is not cut off: it says that the
frames cannot have been sent at that bit rate.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from fractions import Fraction
from typing import Any

import numpy as np
from numpy.typing import NDArray

from busdesign.catalogue.model import Message
from busdesign.traffic.frames import Traffic
from busdesign.traffic.select import rows_of
from busdesign.wire.frame import INTERMISSION_BITS

BUSIEST_WINDOW_NS = 100_000_000
_LARGEST = 1 << 62


@dataclass(frozen=True, slots=True)
class Tally:
    """How often one message was seen. A period is the distance between two of its frames; none if fewer than two."""

    count: int
    first_ns: int | None = None
    last_ns: int | None = None
    period_min_ns: int | None = None
    period_max_ns: int | None = None

    @property
    def period_mean_ns(self) -> Fraction | None:
        """Mean distance, exact: from the first to the last frame, over the number of distances."""
        if self.first_ns is None or self.last_ns is None or self.count < 2:
            return None
        return Fraction(self.last_ns - self.first_ns, self.count - 1)


def tally(end_ns: NDArray[np.int64]) -> Tally:
    """The tally of frames that ended at ``end_ns``, shape [m], in any order."""
    if len(end_ns) == 0:
        return Tally(0)
    times_ns = np.sort(end_ns)
    first_ns, last_ns = int(times_ns[0]), int(times_ns[-1])
    if len(times_ns) == 1:
        return Tally(1, first_ns, last_ns)
    distances_ns = np.diff(times_ns)
    return Tally(len(times_ns), first_ns, last_ns, int(distances_ns.min()), int(distances_ns.max()))


def tally_messages(traffic: Traffic, messages: Iterable[Message]) -> dict[str, Tally]:
    """For each message, by name, the tally of its data frames of any length; count 0 for those never seen."""
    return {message.name: tally(traffic.end_ns[rows_of(traffic, message)]) for message in messages}


def load(traffic: Traffic, wire_bits: NDArray[Any], bit_ns: Fraction, start_ns: int, end_ns: int) -> float:
    """Share of the time from ``start_ns`` to ``end_ns`` in which frames keep the bus busy, exact before its rounding.

    ``wire_bits``: integers of shape [n], bits of each frame, intermission included; 0 for what shall not count.
    Raises ValueError for another shape, or unless the end is after the start.
    """
    busy = _busy(traffic, wire_bits, bit_ns, start_ns, end_ns)
    return int(busy.until(np.array([busy.span]))[0]) / busy.span


def busiest_window(
    traffic: Traffic,
    wire_bits: NDArray[Any],
    bit_ns: Fraction,
    start_ns: int,
    end_ns: int,
    window_ns: int = BUSIEST_WINDOW_NS,
) -> tuple[float, int]:
    """The greatest load of any window of ``window_ns`` from ``start_ns`` to ``end_ns``, and where it starts [ns].

    Exact: a sliding window is fullest where its start meets the start of a frame or its end meets the end of one, so
    those windows are tried, and the first and the last. Of equal ones the earliest is given, its start rounded down. A
    time shorter than the window is itself the window. Raises ValueError as ``load``.
    """
    if window_ns <= 0:
        raise ValueError(f"window_ns must be above 0, got {window_ns}")
    busy = _busy(traffic, wire_bits, bit_ns, start_ns, end_ns)
    width = min(window_ns * busy.per_ns, busy.span)
    latest = busy.span - width
    begins = np.concatenate([np.array([0, latest]), busy.starts, busy.ends - width])
    begins = np.unique(begins.clip(0, latest))
    sums = busy.until(begins + width) - busy.until(begins)
    best = int(np.argmax(sums))
    return int(sums[best]) / width, start_ns + int(begins[best]) // busy.per_ns


def load_over_time(
    traffic: Traffic, wire_bits: NDArray[Any], bit_ns: Fraction, start_ns: int, end_ns: int, bin_ns: int
) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    """Load in consecutive bins, for a plot: start of each bin int64 [ns] and its load float64, both of shape [k].

    A last bin that ``end_ns`` cuts short counts by its own width. Raises ValueError as ``load``.
    """
    if bin_ns <= 0:
        raise ValueError(f"bin_ns must be above 0, got {bin_ns}")
    busy = _busy(traffic, wire_bits, bit_ns, start_ns, end_ns)
    starts_ns = np.arange(start_ns, end_ns, bin_ns, dtype=np.int64)
    edges = np.append((starts_ns - start_ns) * busy.per_ns, busy.span)
    return starts_ns, np.diff(busy.until(edges)) / np.diff(edges)


@dataclass(frozen=True, eq=False, slots=True)
class _Busy:
    """When frames keep the bus busy, in steps of 1 / ``per_ns`` ns from the start, cut off at start and ``span``.

    Starts and ends are each in ascending order, shape [n]; their running sums have shape [n + 1].
    """

    per_ns: int
    span: int
    starts: NDArray[np.int64]
    ends: NDArray[np.int64]
    start_sums: NDArray[np.int64]
    end_sums: NDArray[np.int64]

    def until(self, at: NDArray[np.int64]) -> NDArray[np.int64]:
        """Busy steps before each of ``at``: (at - start) summed over frames begun, less (at - end) over those ended.

        Frames that overlap, as rounded time stamps make them, count twice. The sums may wrap around; their
        difference is right, since it is itself far below 2**63.
        """
        begun = np.searchsorted(self.starts, at)
        ended = np.searchsorted(self.ends, at)
        running: NDArray[np.int64] = at * (begun - ended) - (self.start_sums[begun] - self.end_sums[ended])
        return running


def _busy(traffic: Traffic, wire_bits: NDArray[Any], bit_ns: Fraction, start_ns: int, end_ns: int) -> _Busy:
    if end_ns <= start_ns:
        raise ValueError(f"the end must be after the start, got {start_ns} .. {end_ns} ns")
    if wire_bits.shape != (len(traffic),):
        raise ValueError(f"wire_bits must have the shape ({len(traffic)},), got {wire_bits.shape}")
    bits = wire_bits.astype(np.int64)
    longest_ns = int(max(bits.max(initial=0), INTERMISSION_BITS) * bit_ns) + 1
    # Frames far outside are left out first: their times from the start could be too large to scale.
    near = (traffic.end_ns > start_ns - longest_ns) & (traffic.end_ns < end_ns + longest_ns)
    relative_ns, bits = traffic.end_ns[near] - start_ns, bits[near]
    steps, per_ns = bit_ns.numerator, bit_ns.denominator
    if (end_ns - start_ns + 2 * longest_ns) * per_ns < _LARGEST:
        ends = relative_ns * per_ns + INTERMISSION_BITS * steps
        starts = ends - bits * steps
    else:  # hours of a bit rate such as 33 333 bit/s: each frame's start and end to the nearest ns
        ends = relative_ns + round(INTERMISSION_BITS * bit_ns)
        starts = ends - (2 * bits * steps + per_ns) // (2 * per_ns)
        per_ns = 1
    span = (end_ns - start_ns) * per_ns
    starts, ends = np.sort(starts.clip(0, span)), np.sort(ends.clip(0, span))
    return _Busy(per_ns, span, starts, ends, _running_sums(starts), _running_sums(ends))


def _running_sums(values: NDArray[np.int64]) -> NDArray[np.int64]:
    return np.concatenate([np.zeros(1, np.int64), np.cumsum(values)])
