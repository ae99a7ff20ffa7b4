"""Worst-case response times over integer columns, compiled: for searches that ask for thousands of networks.

The same equations, the same starts and the same number of steps as ``response``, which is its oracle: both answer
alike, tick by tick. Import this only where a search runs: it imports numba.

What makes it fast besides compiling: the times stand in floats, of which a processor divides several at once. A whole
number below 2 to the 53rd is exact in a float, and the quotient of two such, rounded as floats are, lies below the next
whole number if the true one does; so all is exact below ``MOST_TICKS``. What would go beyond is left to the plain
version.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import accumulate
from typing import Any

import numpy as np
from numpy.typing import NDArray

from busdesign.analysis.response import MOST_STEPS, Bound, Stream, by_priority, response_bounds
from busdesign.compiled import compiled, compiled_in_lanes

NONE = -1  # in a column of response times: no bound
MOST_TICKS = 1 << 50  # of any window
_SPENT, _LARGE = -1, -2  # in place of the steps left
_NEAR_ONE = 1e-9  # far beyond what the sum of some thousand floats can err

Ticks = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Columns:
    """Messages by priority, highest first; times in ticks."""

    period: Ticks
    jitter: Ticks
    length: Ticks

    def response(self, *, bit: int, blocking_at_least: int = 0) -> Ticks:
        """The worst-case response time of each, ``NONE`` without a bound; as ``response.response_bounds`` has them."""
        bounded = _below_one(self)
        if max(self._greatest(), bit, blocking_at_least) < MOST_TICKS:
            columns = (self.jitter + self.period - 1, self.period, self.length)
            terms = tuple(column.astype(np.float64) for column in columns)
            jitter = self.jitter.astype(np.float64)
            limits = (float(bit), float(blocking_at_least), MOST_STEPS, float(MOST_TICKS))
            found: Ticks = _responses(terms, jitter, bounded, *limits).astype(np.int64)
            if not np.any(found == _LARGE):
                return found
        return self._plainly(bit, blocking_at_least)

    def _greatest(self) -> int:
        return max((int(column.max()) for column in (self.period, self.jitter, self.length) if len(column)), default=0)

    def _plainly(self, bit: int, blocking_at_least: int) -> Ticks:
        rows = zip(self.period.tolist(), self.jitter.tolist(), self.length.tolist(), strict=True)
        streams = [
            Stream(str(rank), rank, period, jitter, 1, length) for rank, (period, jitter, length) in enumerate(rows)
        ]
        bounds = response_bounds(streams, bit=bit, blocking_at_least=blocking_at_least)
        found = [bound.response if isinstance(bound, Bound) else NONE for bound in bounds]
        return np.array(found, dtype=np.int64)


def columns_of(streams: Sequence[Stream], *, bit: int) -> Columns:
    """``streams`` by priority, highest first. Raises ValueError as ``response_bounds`` does.

    Times beyond 64 bits raise OverflowError.
    """
    ranked = by_priority(streams, bit)
    period, jitter, length = (
        np.array([getattr(stream, what) for stream in ranked], dtype=np.int64)
        for what in ("period", "jitter", "length")
    )
    return Columns(period, jitter, length)


def _below_one(columns: Columns) -> int:
    """How many messages, from the highest priority down, ask for less than the whole bus together; exact."""
    asked = np.cumsum(columns.length / columns.period)
    surely = int(np.searchsorted(asked, 1 - _NEAR_ONE))
    if surely == len(asked) or asked[surely] > 1 + _NEAR_ONE:
        return surely
    shares = (Fraction(int(length), int(period)) for length, period in zip(columns.length, columns.period, strict=True))
    return sum(total < 1 for total in accumulate(shares))


@compiled_in_lanes
def _asked(ahead: Any, period: Any, length: Any, window: float) -> float:
    """The sum of ceil((window + J) / T) C; ``ahead`` is J + T - 1."""
    asked = 0.0
    for index in range(len(ahead)):
        asked += np.floor((window + ahead[index]) / period[index]) * length[index]
    return asked


@compiled
def _settle(fixed: float, window: float, terms: Any, reach: float, steps: int, greatest: float) -> Any:
    """The least solution and the steps left: ``_SPENT`` if they ran out, ``_LARGE`` if it is too large for floats."""
    ahead, period, length = terms
    while steps > 0:
        steps -= 1
        following = fixed + _asked(ahead, period, length, window + reach)
        if following == window:
            return window, steps
        window = following
        if window >= greatest:
            return window, _LARGE
    return window, _SPENT


@compiled
def _worst_wait(
    blocking: float, start: float, terms: Any, rank: int, jitter: float, bit: float, steps: int, greatest: float
) -> Any:
    """The longest wait of any instance of the message at ``rank``, its busy period, and the steps left."""
    ahead, periods, lengths = terms
    above = (ahead[:rank], periods[:rank], lengths[:rank])
    own_too = (ahead[: rank + 1], periods[: rank + 1], lengths[: rank + 1])
    period, length = periods[rank], lengths[rank]
    waits, steps = _settle(blocking, start, above, bit, steps, greatest)
    if steps < 0:
        return waits, waits, steps
    busy, steps = _settle(blocking, waits + length, own_too, 0.0, steps, greatest)
    if steps < 0:
        return waits, busy, steps
    longest = waits
    for instance in range(1, int(np.ceil((busy + jitter) / period))):
        waits, steps = _settle(blocking + instance * length, waits + length, above, bit, steps, greatest)
        if steps < 0:
            return waits, busy, steps
        longest = max(longest, waits - instance * period)
    return longest, busy, steps


@compiled
def _responses(
    terms: Any, jitter: Any, bounded: int, bit: float, blocking_at_least: float, steps: int, greatest: float
) -> Any:
    """The response times; ``_LARGE`` where a window was too large, and then it is the last."""
    count, length = len(jitter), terms[2]
    found = np.full(count, float(NONE))
    blockings = np.full(count, blocking_at_least)
    for rank in range(count - 1, 0, -1):
        blockings[rank - 1] = max(blockings[rank], length[rank])
    busy, is_start = 0.0, False
    for rank in range(bounded):
        blocking = blockings[rank]
        is_start = is_start and blocking == blockings[rank - 1]
        start = busy if is_start else blocking
        longest, busy, steps = _worst_wait(blocking, start, terms, rank, jitter[rank], bit, steps, greatest)
        if steps == _LARGE:
            found[rank] = _LARGE
            return found
        is_start = steps >= 0
        if is_start:
            found[rank] = jitter[rank] + longest + length[rank]
        steps = max(steps, 0)
    return found
