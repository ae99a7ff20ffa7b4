"""How fast recorded frames go out again, and waiting for a moment to within microseconds.

A frame is due at a moment on one absolute schedule, so that being late once never makes the next one late. The wait
sleeps, then spins for the last stretch, because a sleep ends some 50 to 100 us late (measured on Linux).
"""

import re
import threading
import time
from array import array
from collections import deque
from dataclasses import dataclass
from fractions import Fraction
from math import ceil
from typing import Final

from busdesign.findings import Refused, shown

WINDOW_NS: Final = 100_000_000
SPIN_NS: Final = 150_000
CHUNK_S: Final = 0.02  # the longest sleep: how soon a stop is noticed
RECORDED, STEP, FLAT_OUT = "recorded", "step", "flat-out"
_TIMES = re.compile(r"([0-9]{1,6}(?:\.[0-9]{1,6})?)x\Z")
MOST_SPEED, LEAST_SPEED = 1000, Fraction(1, 1000)


@dataclass(frozen=True, slots=True)
class Pace:
    """``speed`` times as fast as recorded; None where frames have no moment: a ``step`` each, or flat out."""

    name: str
    speed: Fraction | None

    @property
    def is_stepped(self) -> bool:
        """Whether each frame waits for a word."""
        return self.name == STEP


def read_pace(written: str) -> Pace:
    """``recorded``, ``2x``, ``0.5x``, ``step`` or ``flat-out``. Raises Refused."""
    if written == RECORDED:
        return Pace(RECORDED, Fraction(1))
    if written in (STEP, FLAT_OUT):
        return Pace(written, None)
    match = _TIMES.match(written)
    if not match:
        raise Refused(f"{shown(written)} is no pace", "write `recorded`, `2x`, `0.5x`, `step` or `flat-out`")
    speed = Fraction(match[1])
    if not LEAST_SPEED <= speed <= MOST_SPEED:
        raise Refused(f"{shown(written)} is no pace that can be kept", f"0.001x to {MOST_SPEED}x can be asked for")
    return Pace(written, speed)


def wait_until(due_ns: int, stopped: threading.Event) -> int:
    """Wait until ``time.perf_counter_ns()`` is ``due_ns``, or until ``stopped``; returns that clock's time."""
    clock = time.perf_counter_ns
    while (left_ns := due_ns - clock()) > SPIN_NS:
        if stopped.is_set():
            return clock()
        time.sleep(min((left_ns - SPIN_NS) / 1e9, CHUNK_S))
    while (now_ns := clock()) < due_ns:
        pass
    return now_ns


@dataclass(frozen=True, slots=True)
class Lateness:
    """How late frames were handed to python-can, in us; what adapter and bus add is not in it."""

    frames: int
    median_us: float
    p99_us: float
    worst_us: float


def lateness_of(late_ns: "array[int]") -> Lateness | None:
    """The spread of ``late_ns``; None if there are none."""
    if not late_ns:
        return None
    ordered = sorted(late_ns)
    most = len(ordered) - 1
    median, p99 = ordered[most // 2], ordered[-(-99 * most // 100)]
    return Lateness(len(ordered), median / 1000, p99 / 1000, ordered[-1] / 1000)


class Throttle:
    """Keeps what is sent below ``bits_per_s`` in any 100 ms, also when frames that were held up are caught up on.

    ``is_even``: each frame waits until the one before would have ended at that rate, for frames that have no moment.
    """

    def __init__(self, bits_per_s: float, *, is_even: bool = False) -> None:
        self._bits_per_ns = bits_per_s / 1e9
        self._capacity = bits_per_s * WINDOW_NS / 1e9
        self._is_even = is_even
        self._sent: deque[tuple[int, int]] = deque()
        self._bits_in_window = 0
        self._free_at_ns = 0

    def earliest_ns(self, wanted_ns: int, bits: int) -> int:
        """The moment, ``wanted_ns`` or later, at which a frame of ``bits`` may go; it is counted as sent then."""
        if self._is_even:
            at_ns = max(wanted_ns, self._free_at_ns)
            self._free_at_ns = at_ns + ceil(bits / self._bits_per_ns)
            return at_ns
        at_ns = wanted_ns
        while self._sent and (self._sent[0][0] <= at_ns - WINDOW_NS or self._bits_in_window + bits > self._capacity):
            sent_ns, before = self._sent.popleft()
            at_ns = max(at_ns, sent_ns + WINDOW_NS)
            self._bits_in_window -= before
        self._sent.append((at_ns, bits))
        self._bits_in_window += bits
        return at_ns
