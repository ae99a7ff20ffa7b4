"""Pace: what can be asked for, waiting for a moment, the spread of lateness, the throttle."""

import threading
import time
from array import array

import pytest
from hypothesis import given
from hypothesis import strategies as st

from busdesign.bench.pace import WINDOW_NS, Throttle, lateness_of, read_pace, wait_until


@pytest.mark.parametrize(
    ("written", "speed"),
    [("recorded", 1), ("2x", 2), ("0.5x", 0.5), ("1000x", 1000), ("step", None), ("flat-out", None)],
)
def test_a_pace(written: str, speed: float | None) -> None:
    assert read_pace(written).speed == speed


def test_a_moment_is_never_early() -> None:
    for left_ns in (-5, 0, 10_000, 400_000, 3_000_000):
        due_ns = time.perf_counter_ns() + left_ns
        assert wait_until(due_ns, threading.Event()) >= due_ns


def test_a_stop_ends_a_long_wait() -> None:
    stopped = threading.Event()
    threading.Timer(0.05, stopped.set).start()
    began_s = time.monotonic()
    wait_until(time.perf_counter_ns() + 10**11, stopped)
    assert time.monotonic() - began_s < 1


def test_the_spread() -> None:
    late = lateness_of(array("q", [1000 * step for step in range(101)]))
    assert late is not None
    assert (late.frames, late.median_us, late.p99_us, late.worst_us) == (101, 50, 99, 100)
    assert lateness_of(array("q")) is None


@given(
    st.lists(st.tuples(st.integers(0, 30_000_000), st.integers(44, 160)), min_size=1, max_size=300),
    st.integers(20_000, 1_000_000),
)
def test_no_window_is_fuller_than_allowed(frames: list[tuple[int, int]], bits_per_s: int) -> None:
    throttle, wanted_ns, sent = Throttle(bits_per_s), 0, []
    for gap_ns, bits in frames:
        wanted_ns += gap_ns
        at_ns = throttle.earliest_ns(wanted_ns, bits)
        assert at_ns >= wanted_ns
        wanted_ns = at_ns
        sent.append((at_ns, bits))
    for at_ns, _ in sent:
        inside = sum(bits for other_ns, bits in sent if at_ns <= other_ns < at_ns + WINDOW_NS)
        assert inside <= bits_per_s * WINDOW_NS / 10**9


@given(st.lists(st.integers(44, 160), min_size=2, max_size=100))
def test_even_frames_follow_at_the_rate(bits: list[int]) -> None:
    throttle = Throttle(100_000, is_even=True)
    moments = [throttle.earliest_ns(0, one) for one in bits]
    assert all(b - a == one * 10_000 for a, b, one in zip(moments, moments[1:], bits, strict=False))
