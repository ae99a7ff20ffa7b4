"""The compiled response times against the plain ones, tick by tick."""

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from busdesign.analysis.fast import MOST_TICKS, NONE, Columns, columns_of
from busdesign.analysis.response import Bound, Stream, response_bounds

PERIODS = [500, 1000, 1999, 2500, 5000, 10_000, 33_333, 100_000]


def plain(streams: list[Stream], *, bit: int, blocking_at_least: int = 0) -> list[int]:
    ranked = sorted(streams, key=lambda stream: stream.priority)
    bounds = response_bounds(ranked, bit=bit, blocking_at_least=blocking_at_least)
    return [bound.response if isinstance(bound, Bound) else NONE for bound in bounds]


@st.composite
def networks(draw: st.DrawFn, loads: st.SearchStrategy[float]) -> list[Stream]:
    """Messages whose periods are stretched until they ask for about the load that was drawn."""
    count = draw(st.integers(1, 40))
    rows = st.tuples(st.sampled_from(PERIODS), st.integers(44, 135), st.sampled_from([0, 0, 0.1, 1.5]))
    drawn = draw(st.lists(rows, min_size=count, max_size=count))
    stretch = sum(length / period for period, length, _ in drawn) / draw(loads)
    ranks = draw(st.permutations(range(count)))
    return [
        Stream(f"m{rank}", rank, max(1, round(period * stretch)), round(late * period), 10**6, length)
        for rank, (period, length, late) in zip(ranks, drawn, strict=True)
    ]


@given(networks(st.floats(0.05, 1.2)), st.sampled_from([0, 0, 160]))
@settings(max_examples=80, deadline=None)
def test_at_any_load(streams: list[Stream], blocking: int) -> None:
    found = columns_of(streams, bit=1).response(bit=1, blocking_at_least=blocking)
    assert found.tolist() == plain(streams, bit=1, blocking_at_least=blocking)


REVISED = [Stream("A", 0, 5, 0, 5, 2), Stream("B", 1, 7, 0, 7, 2), Stream("C", 2, 7, 0, 7, 2)]  # Davis et al. 2007


@given(networks(st.floats(0.97, 0.99)))
@example(REVISED)  # the second instance is the worst
@settings(max_examples=60, deadline=None)
def test_at_97_to_99_per_cent_where_busy_periods_hold_several_instances(streams: list[Stream]) -> None:
    assert columns_of(streams, bit=1).response(bit=1).tolist() == plain(streams, bit=1)


HAIR = [Stream("a", 0, 2, 0, 2, 1), Stream("b", 1, 2**31 - 1, 0, 9, 2**30 - 1)]  # all but a hair of the bus


@given(networks(st.floats(0.99999, 1.00001)))
@example([Stream("a", 0, 3, 0, 3, 1), Stream("b", 1, 3, 0, 3, 1), Stream("c", 2, 3, 0, 3, 1)])  # the whole, exactly
@example([Stream("a", 0, 10**7, 0, 9, 10**7 - 1), Stream("b", 1, 10**9, 0, 9, 99)])
@example(HAIR)
@settings(max_examples=15, deadline=None)
def test_at_a_hair_from_the_whole(streams: list[Stream]) -> None:
    assert columns_of(streams, bit=1).response(bit=1).tolist() == plain(streams, bit=1)


@given(networks(st.floats(0.3, 0.99)), st.sampled_from([12, 12_345, 10**6, 10**9, 10**12]))
@settings(max_examples=40, deadline=None)
def test_finer_ticks_change_nothing(streams: list[Stream], ticks: int) -> None:
    finer = [
        Stream(each.name, each.priority, each.period * ticks, each.jitter * ticks, each.deadline, each.length * ticks)
        for each in streams
    ]
    found = columns_of(finer, bit=ticks).response(bit=ticks)
    assert found.tolist() == [time if time == NONE else time * ticks for time in plain(streams, bit=1)]


def test_beyond_what_floats_hold_the_plain_version_answers() -> None:
    tick = MOST_TICKS // 150
    streams = [Stream(str(rank), rank, 3000 * tick, 0, 1, 100 * tick) for rank in range(3)]
    assert columns_of(streams, bit=tick).response(bit=tick).tolist() == plain(streams, bit=tick)


def test_one_after_the_other_they_are_independent() -> None:
    columns = columns_of([Stream("a", 0, 1000, 0, 1000, 100)], bit=1)
    assert [columns.response(bit=1).tolist() for _ in range(3)] == [[100]] * 3


def test_nothing_at_all() -> None:
    nothing = np.array([], dtype=np.int64)
    assert Columns(nothing, nothing, nothing).response(bit=1).tolist() == []


def test_what_the_plain_version_refuses_is_refused() -> None:
    twice = [Stream("a", 1, 1000, 0, 1000, 100), Stream("b", 1, 1000, 0, 1000, 100)]
    with pytest.raises(ValueError, match="same priority"):
        columns_of(twice, bit=1)
    with pytest.raises(ValueError, match="shorter than one bit"):
        columns_of(twice[:1], bit=101)
