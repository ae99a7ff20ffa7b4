"""Bounds where nodes do not always offer their most urgent frame: by hand, at the limits, and where there is none."""

from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from busdesign.analysis.offers import Group
from busdesign.analysis.queues import queued_bounds
from busdesign.analysis.response import Bound, Disturbance, NoBound, Stream, response_bounds


def stream(name: str, priority: int, period: int, length: int, *, jitter: int = 0) -> Stream:
    return Stream(name, priority, period, jitter, period, length)


def responses(streams: list[Stream], *groups: Group, **more: Any) -> dict[str, int | None]:
    answers = queued_bounds(streams, groups, bit=1, **more)
    return {answer.name: answer.response if isinstance(answer, Bound) else None for answer in answers}


def fifo(*members: int, node: str = "a") -> Group:
    return Group(node, frozenset(members))


def kept(buffers: int, *members: int, node: str = "a") -> Group:
    return Group(node, frozenset(members), buffers)


TOP, FOREIGN, LOW, LEAST = (
    stream("top", 1, 1000, 10),
    stream("foreign", 2, 1000, 20),
    stream("low", 3, 1000, 30),
    stream("least", 4, 1000, 40),
)


def test_a_fifo_by_hand() -> None:
    found = responses([TOP, FOREIGN, LOW, LEAST], fifo(1, 3))
    # All of the FIFO competes as `low` does: after one frame of `least`, `foreign` and each other.
    assert (found["top"], found["low"]) == (40 + 20 + 30 + 10, 40 + 20 + 10 + 30)
    # `top` may reach the head of its FIFO 90 after its release, but not twice in so short a time.
    assert found["foreign"] == 40 + 10 + 20
    assert found["least"] == 10 + 20 + 30 + 40  # all of the FIFO is above it: nothing is new to it


def test_what_waits_in_a_fifo_comes_in_a_burst() -> None:
    often = stream("often", 1, 100, 10)
    found = responses([often, FOREIGN, LOW, LEAST], fifo(1, 3))
    # `often` waits up to 40 + 20 + 30 in its FIFO, so that two may come within 40 + 10 of each other.
    assert found["foreign"] == 40 + 10 + 10 + 20
    assert responses([often, FOREIGN, LOW, LEAST])["foreign"] == 40 + 10 + 20


def test_buffers_by_hand() -> None:
    streams = [TOP, FOREIGN, LOW, LEAST]
    # One buffer: `low` may be in it, behind `least` and `foreign`; `top` comes after it.
    found = responses(streams, kept(1, 1, 3))
    assert found["top"] == 40 + 20 + 30 + 10
    assert found["low"] == 40 + 10 + 20 + 30
    # Two buffers: one frame of `low` leaves one free.
    assert responses(streams, kept(2, 1, 3)) == responses(streams)
    # With `least` there too, both may be held.
    both = responses(streams, kept(2, 1, 3, 4))
    assert both["top"] is not None
    assert both["top"] > 50
    assert responses(streams, kept(3, 1, 3, 4)) == responses(streams)


def test_two_frames_of_one_message_fill_two_buffers() -> None:
    slow = stream("slow", 5, 60, 30)  # waits longer than its period
    heavy = stream("heavy", 2, 200, 80)
    found = responses([TOP, heavy, slow], kept(2, 1, 5))
    plain = responses([TOP, heavy, slow])
    assert plain["slow"] is not None
    assert plain["slow"] > 60
    assert found["top"] is not None
    assert plain["top"] is not None
    assert found["top"] > plain["top"]


@st.composite
def sets(draw: st.DrawFn) -> list[Stream]:
    count = draw(st.integers(2, 7))
    times = st.sampled_from([100, 150, 300, 700, 1000])
    return [
        stream(f"m{rank}", rank, draw(times), draw(st.integers(5, 40)), jitter=draw(st.sampled_from([0, 0, 20, 170])))
        for rank in range(count)
    ]


@given(sets(), st.integers(0, 3))
@settings(max_examples=60, deadline=None)
def test_without_queues_it_is_the_revised_analysis(streams: list[Stream], errors: int) -> None:
    disturbances = [Disturbance(2000 + 500 * number, 31, burst=1 + number % 2) for number in range(errors)]
    found = queued_bounds(streams, [], bit=1, disturbances=disturbances, blocking_at_least=7)
    expected = response_bounds(streams, bit=1, disturbances=disturbances, blocking_at_least=7)
    assert found == expected


@given(sets(), st.data())
@settings(max_examples=60, deadline=None)
def test_one_message_alone_in_its_queue_waits_as_ever(streams: list[Stream], data: st.DataObject) -> None:
    """A FIFO of one message is a priority queue of one message, as long as no two of its frames wait together."""
    plain = queued_bounds(streams, [], bit=1)
    chosen = data.draw(st.sampled_from(streams))
    answer = plain[streams.index(chosen)]
    if isinstance(answer, Bound) and answer.response <= chosen.period:
        for group in (fifo(chosen.priority), kept(1, chosen.priority)):
            found = queued_bounds(streams, [group], bit=1)
            assert [getattr(each, "response", None) for each in found] == [
                getattr(each, "response", None) for each in plain
            ]


@given(sets(), st.integers(1, 3), st.data())
@settings(max_examples=60, deadline=None)
def test_more_buffers_never_raise_a_bound(streams: list[Stream], buffers: int, data: st.DataObject) -> None:
    members = data.draw(st.sets(st.sampled_from([each.priority for each in streams]), min_size=1))
    fewer, more = (responses(streams, kept(count, *members)) for count in (buffers, buffers + 1))
    plain = responses(streams)
    for name, bound in fewer.items():
        if bound is not None:
            for better in (more[name], plain[name]):
                assert better is not None
                assert better <= bound


def test_the_least_urgent_message_of_a_full_bus_takes_its_fifo_with_it() -> None:
    flood = stream("flood", 3, 40, 39)
    top, foreign, low = queued_bounds([TOP, FOREIGN, flood], [fifo(1, 3)], bit=1)
    assert isinstance(top, NoBound)
    assert isinstance(low, NoBound)
    assert top.reason.startswith("the FIFO of `a` and what has priority over its least urgent message ask for 100")
    # It is above `top` that `foreign` has to wait for, and those may come in any number once the FIFO moves.
    assert isinstance(foreign, NoBound)
    assert foreign.reason == "`top` may wait in `a` without limit before it takes part"


def test_buffers_held_for_ever_leave_nothing_to_promise() -> None:
    flood = stream("flood", 3, 40, 39)
    top, _, low = queued_bounds([TOP, FOREIGN, flood], [kept(1, 1, 3)], bit=1)
    assert isinstance(low, NoBound)
    assert isinstance(top, NoBound)
    assert top.reason == "`top` may wait in `a` without limit before it takes part"


def test_two_fifos_that_hold_each_other_up_still_have_a_bound() -> None:
    """Their waits raise each other without end, but no wait is longer than the busy period that both are part of."""
    names = [stream(f"m{rank}", rank, 150, 20) for rank in range(6)]
    found = responses(names, fifo(0, 3, 4, node="a"), fifo(1, 2, 5, node="b"))
    assert None not in found.values()
    assert max(bound or 0 for bound in found.values()) <= 6 * 20 + 20


def test_a_queue_of_which_nothing_is_known() -> None:
    group = Group("a", frozenset({1, 3}), unknown="`m`, which waits in `a` too, has no identifier")
    top, foreign, low, least = queued_bounds([TOP, FOREIGN, LOW, LEAST], [group], bit=1)
    for answer in (top, low):
        assert isinstance(answer, NoBound)
        assert answer.reason == group.unknown
    assert isinstance(foreign, NoBound)
    assert isinstance(least, NoBound)


@pytest.mark.parametrize("group", [fifo(1, 3), kept(1, 1, 3)])
def test_errors_come_on_top(group: Group) -> None:
    streams = [TOP, FOREIGN, LOW, LEAST]
    calm = responses(streams, group)
    rough = responses(streams, group, disturbances=[Disturbance(10_000, 31)])
    for each in streams:
        before, after = calm[each.name], rough[each.name]
        assert before is not None
        assert after is not None
        assert after >= before + 31 + 10
