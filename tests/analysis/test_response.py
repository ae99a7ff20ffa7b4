"""What callers rely on: order of the answers, blocking, what has no bound, what is refused."""

import re
from collections.abc import Callable
from typing import Any

import pytest

from busdesign.analysis import response
from busdesign.analysis.response import Bound, NoBound, Stream, meets_deadline, response_1994, response_bounds


def stream(name: str, priority: int, period: int, length: int, *, jitter: int = 0, deadline: int = 1_000) -> Stream:
    return Stream(name, priority, period, jitter, deadline, length)


FAST = stream("fast", 1, 100, 10, jitter=7)
LONG = stream("long", 2, 200, 30)
LAST = stream("last", 3, 400, 20, jitter=4)


def responses(streams: list[Stream], *, blocking_at_least: int = 0) -> dict[str, int | None]:
    answers = response_bounds(streams, bit=1, blocking_at_least=blocking_at_least)
    return {answer.name: answer.response if isinstance(answer, Bound) else None for answer in answers}


def test_a_light_bus_by_hand() -> None:
    fast, long, last = response_bounds([FAST, LONG, LAST], bit=1)
    # One longer frame below has just begun; the busy period then holds one frame of each message at or above.
    assert fast == Bound("fast", 30, 30, 7 + 30 + 10, 1, 0, 40)
    assert long == Bound("long", 20, 20 + 10, 20 + 10 + 30, 1, 0, 60)
    assert last == Bound("last", 0, 10 + 30, 4 + 10 + 30 + 20, 1, 0, 60)


def test_answers_come_in_the_order_given() -> None:
    forward, backward = response_bounds([FAST, LONG, LAST], bit=1), response_bounds([LAST, LONG, FAST], bit=1)
    assert backward == forward[::-1]
    assert response_1994([LAST, LONG, FAST], bit=1) == response_1994([FAST, LONG, LAST], bit=1)[::-1] == (60, 60, 40)


def test_no_messages_no_answers() -> None:
    assert response_bounds([], bit=1) == ()
    assert response_1994([], bit=1) == ()


def test_foreign_frames_block_the_lowest_too() -> None:
    assert responses([FAST, LONG, LAST], blocking_at_least=25) == {"fast": 47, "long": 65, "last": 89}


def test_one_bit_more_decides_who_joins() -> None:
    """A frame queued within one bit of another's start still takes part in that arbitration."""
    pair = [stream("high", 1, 30, 10, jitter=19), stream("low", 2, 1_000, 5)]
    assert responses(pair)["low"] == 10 + 5  # the second `high` is queued at 11, a tick too late to join at 10
    assert response_bounds(pair, bit=2)[1] == Bound("low", 0, 20, 25, 1, 0, 25)


def test_a_deadline_may_exceed_the_period() -> None:
    late = stream("late", 1, 50, 10, jitter=90, deadline=120)
    (bound,) = response_bounds([late], bit=1)
    # Released at -90, -40 and 10, queued at 0, 0 and 10 at the earliest: three frames in a row.
    assert bound == Bound("late", 0, 0, 100, 3, 0, 30)
    assert meets_deadline(late, bound)
    assert not meets_deadline(stream("late", 1, 50, 10, jitter=90, deadline=99), bound)


@pytest.mark.parametrize("length", [60, 61], ids=["exactly full", "above full"])
def test_a_full_bus_has_no_bound_from_there_down(length: int) -> None:
    streams = [stream("safe", 1, 100, 40), stream("filler", 2, 100, length), stream("below", 3, 9_999, 1)]
    safe, filler, below = response_bounds(streams, bit=1)
    assert isinstance(safe, Bound)
    for answer in (filler, below):
        assert isinstance(answer, NoBound)
        assert re.search(r"ask for 10\d\.\d % of the bus", answer.reason)
        assert not meets_deadline(streams[1], answer)
    assert (filler.blocking, below.blocking) == (1, 0)


def test_1994_has_no_answer_only_where_higher_priorities_fill_the_bus() -> None:
    streams = [stream("safe", 1, 100, 40), stream("filler", 2, 100, 60), stream("below", 3, 9_999, 1)]
    assert response_1994(streams, bit=1) == (100, 101, None)


def test_a_hair_below_full_ends_with_a_number_or_a_reason(monkeypatch: pytest.MonkeyPatch) -> None:
    """0.15 % of the bus is left: hundreds of instances, all looked at; with few steps allowed, no number at all."""
    streams = [stream("filler", 1, 1_000, 500), stream("thin", 2, 1_001, 499), stream("rare", 3, 10**9, 400)]
    (_, thin, rare) = response_bounds(streams, bit=1)
    assert isinstance(thin, Bound)
    assert thin.instances > 100
    assert isinstance(rare, Bound)
    monkeypatch.setattr(response, "MOST_STEPS", 100)
    safe, thin_cut, rare_cut = response_bounds(streams, bit=1)
    assert isinstance(safe, Bound)
    assert isinstance(thin_cut, NoBound)
    assert "100 steps" in thin_cut.reason
    assert isinstance(rare_cut, NoBound)


@pytest.mark.parametrize(
    ("field", "value"), [("period", 0), ("jitter", -1), ("deadline", 0), ("length", 0)], ids=lambda value: str(value)
)
def test_an_impossible_message_is_refused(field: str, value: int) -> None:
    fields: dict[str, Any] = {"name": "odd", "priority": 1, "period": 9, "jitter": 0, "deadline": 9, "length": 3}
    with pytest.raises(ValueError, match=f"odd: {field} is {value}, must be at least"):
        Stream(**(fields | {field: value}))


@pytest.mark.parametrize("analyse", [response_bounds, response_1994])
def test_what_the_equations_do_not_cover_is_refused(analyse: Callable[..., object]) -> None:
    with pytest.raises(ValueError, match="fast and twin have the same priority 1"):
        analyse([FAST, stream("twin", 1, 100, 10)], bit=1)
    with pytest.raises(ValueError, match="bit is 0 ticks"):
        analyse([FAST], bit=0)
    with pytest.raises(ValueError, match="fast: length is 10, shorter than one bit"):
        analyse([FAST], bit=11)
