"""The fullest window: by hand, as laws, and against the small bus and the simulator."""

from fractions import Fraction
from random import Random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from busdesign.analysis.frame_lengths import longest_frames
from busdesign.analysis.response import Stream, response_bounds
from busdesign.analysis.streams import on_the_bus
from busdesign.analysis.windows import NoWindowLoad, WindowLoad, fullest, window_load
from busdesign.catalogue.model import Catalogue
from busdesign.traffic.tallies import busiest_window
from tests.analysis.disturbed_bus import Calm, Sent, releases, run
from tests.networks import MS, catalogues, run_of


def stream(rank: int, period: int, length: int, jitter: int = 0) -> Stream:
    return Stream(f"m{rank}", rank, period, jitter, period, length)


def load_of(streams: list[Stream], window: int) -> WindowLoad:
    found = fullest(streams, response_bounds(streams, bit=1), window)
    assert isinstance(found, WindowLoad)
    return found


@pytest.mark.parametrize(
    ("window", "frames", "work"),
    [(50, 1, 50), (100, 1, 100), (1000, 1, 100), (1001, 2, 101), (1050, 2, 150), (1100, 2, 200), (3000, 3, 300)],
)
def test_a_message_alone_that_never_waits(window: int, frames: int, work: int) -> None:
    """100 bits each 1000: response 100, so frames start on the dot."""
    found = load_of([stream(0, 1000, 100)], window)
    assert found.load == Fraction(work, window)
    assert [share.frames for share in found.shares] == [frames]


def test_jitter_and_waiting_push_frames_together() -> None:
    """The lower waits for 200 at most, and is late by 300 at most: R = 300 + 200 + 100, so 500 come on top of W."""
    streams = [stream(0, 1000, 200), stream(1, 1000, 100, jitter=300)]
    found = load_of(streams, 600)
    by_name = {share.name: share for share in found.shares}
    assert (by_name["m1"].frames, by_name["m1"].load) == (2, Fraction(200, 600))
    assert (by_name["m0"].frames, by_name["m0"].load) == (1, Fraction(200, 600))
    assert found.load == Fraction(400, 600)


def test_a_short_window_may_be_full_and_no_more() -> None:
    found = load_of([stream(0, 1000, 100), stream(1, 1000, 100)], 120)
    assert found.load == 1
    assert sum(share.load for share in found.shares) > 1


def test_a_bus_without_bounds_has_no_fullest_window() -> None:
    streams = [stream(0, 1000, 100), stream(1, 100, 95)]
    found = fullest(streams, response_bounds(streams, bit=1), 1000)
    assert isinstance(found, NoWindowLoad)
    assert found.reason.startswith("`m1` has no bound: this message and those of higher priority ask for 105.0 %")


def test_no_window_is_shorter_than_a_tick() -> None:
    with pytest.raises(ValueError, match="window is 0"):
        fullest([], [], 0)


@st.composite
def networks(draw: st.DrawFn) -> list[Stream]:
    periods, jitters = st.sampled_from([700, 1000, 2000, 5000]), st.sampled_from([0, 0, 300, 1500])
    rows = draw(st.lists(st.tuples(periods, st.integers(44, 135), jitters), min_size=1, max_size=6))
    streams = [stream(rank, *row) for rank, row in enumerate(rows)]
    return streams if sum(each.utilisation for each in streams) < 1 else streams[:3]


@given(networks(), st.integers(1, 20_000))
@settings(max_examples=200, deadline=None)
def test_long_windows_come_down_to_the_worst_load(streams: list[Stream], window: int) -> None:
    worst = sum((each.utilisation for each in streams), Fraction(0))
    found, longer = load_of(streams, window), load_of(streams, window + 1)
    assert found.load >= worst
    assert found.load * window <= longer.load * (window + 1)  # more time carries no less
    assert load_of(streams, 10**9).load - worst < Fraction(1, 1000)


def most_in_a_window(sent: list[Sent], window: int) -> int:
    """The most that any window of these frames carries: it begins at a frame's start or ends at a frame's end."""
    starts = {start for _, start, _ in sent} | {end - window for *_, end in sent}
    return max(sum(max(0, min(end, start + window) - max(begin, start)) for _, begin, end in sent) for start in starts)


def test_no_window_of_a_small_bus_is_fuller_and_some_are_nearly_as_full() -> None:
    rng = Random(5)
    nearest = 0.0
    for _ in range(400):
        count = rng.randint(1, 5)
        streams = [
            stream(rank, rng.choice([700, 1000, 2000]), rng.randint(44, 135), rng.choice([0, 300]))
            for rank in range(count)
        ]
        offers = [
            releases(each, rng.randint(0, each.period), 6000, rng.choice(["first", "random"]), rng) for each in streams
        ]
        _, sent = run(streams, offers, Calm())
        window = rng.randint(50, 3000)
        carried, bound = most_in_a_window(sent, window), load_of(streams, window).load * window
        assert carried <= bound
        nearest = max(nearest, float(carried / bound)) if bound < window else nearest
    assert nearest > 0.9


@given(catalogue=catalogues(), window_ms=st.sampled_from([1, 10, 37]), seed=st.integers(0, 2**32))
@settings(max_examples=80, deadline=None)
def test_no_window_of_a_simulated_run_is_fuller(catalogue: Catalogue, window_ms: int, seed: int) -> None:
    found = window_load(on_the_bus(catalogue, longest_frames(catalogue)), window_ms * MS)
    if isinstance(found, NoWindowLoad):
        return
    simulated = run_of(catalogue, 100 * MS, phases="random", jitter="random", seed=seed)
    bit_ns = catalogue.bus.bit_ns
    share, _ = busiest_window(simulated.traffic, simulated.wire_bits, bit_ns, 0, 100 * MS, window_ms * MS)
    # A recorded end is a whole number of nanoseconds, so either edge of a window may cut a frame by half of one.
    assert share <= float(found.load) + 1 / (window_ms * MS) + 1e-9
