"""``each`` and ``now_ns``: duties on a node's own clock."""

from collections.abc import Callable
from fractions import Fraction

import pytest

from busdesign.virtual.node import Arrival, Node
from tests.networks import MS
from tests.virtual.small_buses import bus, half_up, message, played


class Ticker(Node):
    """Writes down the time of every call of its duties."""

    def __init__(self, **periods: str) -> None:
        self.periods = periods
        self.calls: list[tuple[int, str]] = []

    def begin(self) -> None:
        self.begun_ns = self.now_ns
        for name, period in self.periods.items():
            self.each(period, self.noting(name))

    def noting(self, name: str) -> Callable[[], None]:
        return lambda: self.calls.append((self.now_ns, name))


def ticks(run_for_ns: int, drift: Fraction = Fraction(0), **periods: str) -> list[tuple[int, str]]:
    ticker = Ticker(**periods)
    played(bus(message("m", 0x1, "a")), run_for_ns, {"b": ticker}, drift={"b": drift})
    assert ticker.begun_ns == 0
    return ticker.calls


def test_the_first_call_comes_one_period_after_the_start() -> None:
    assert ticks(45 * MS, duty="10 ms") == [(number * 10 * MS, "duty") for number in range(1, 5)]


def test_a_call_in_the_last_instant_of_the_run_is_made() -> None:
    assert len(ticks(40 * MS, duty="10 ms")) == 4
    assert len(ticks(40 * MS - 1, duty="10 ms")) == 3


@pytest.mark.parametrize("drift", [Fraction(3, 1000), Fraction(-3, 1000), Fraction(1, 7), Fraction(-1, 10)])
def test_a_period_is_one_of_the_nodes_own_clock(drift: Fraction) -> None:
    """Exact: the call number n comes at n periods / (1 + d), told as the nearest nanosecond."""
    called = ticks(3_000 * MS, drift, duty="10 ms")
    assert [time for time, _ in called] == [
        half_up(number * 10 * MS / (1 + drift)) for number in range(1, int(300 * (1 + drift)) + 1)
    ]


def test_duties_of_one_instant_come_in_the_order_in_which_they_were_asked_for() -> None:
    called = ticks(30 * MS, b="10 ms", a="10 ms", c="20 ms")
    assert [name for time, name in called if time == 10 * MS] == ["b", "a"]
    assert [name for time, name in called if time == 30 * MS] == ["b", "a"]
    assert sorted(name for time, name in called if time == 20 * MS) == ["a", "b", "c"]


def test_a_nanosecond_is_the_shortest_period() -> None:
    assert [time for time, _ in ticks(5, duty="1 ns")] == [1, 2, 3, 4, 5]


@pytest.mark.parametrize("period", ["20", "0 ms", "-1 ms", "20 kHz", "soon", ""])
def test_a_period_that_is_none_is_refused(period: str) -> None:
    with pytest.raises(ValueError, match=r"has no unit|longer than zero|negative|not a duration|expected a duration"):
        ticks(MS, duty=period)


class Late(Node):
    """Starts a duty when it hears the first frame, and another one from within that."""

    def begin(self) -> None:
        self.calls: list[tuple[int, str]] = []
        self.started_ns: int | None = None

    def heard(self, message: Arrival) -> None:
        if self.started_ns is None:
            self.started_ns = self.now_ns
            self.each("3 ms", self.outer)

    def outer(self) -> None:
        self.calls.append((self.now_ns, "outer"))
        if len(self.calls) == 1:
            self.each("2 ms", lambda: self.calls.append((self.now_ns, "inner")))


def test_a_duty_may_be_started_at_any_time_and_counts_from_then() -> None:
    late = Late()
    run = played(bus(message("m", 0x1, "a", period=7 * MS, to=["b"])), 10 * MS, {"b": late})
    start_ns = int(run.traffic.end_ns[0])
    assert late.started_ns == start_ns
    assert late.calls == [
        (start_ns + after * MS, name)
        for after, name in [(3, "outer"), (5, "inner"), (6, "outer"), (7, "inner"), (9, "outer"), (9, "inner")]
    ]


def test_a_duty_started_by_another_comes_after_it() -> None:
    class Nested(Node):
        def begin(self) -> None:
            self.calls: list[str] = []
            self.each("3 ms", self.outer)

        def outer(self) -> None:
            self.calls.append("outer")
            if len(self.calls) == 1:
                self.each("3 ms", lambda: self.calls.append("inner"))

    nested = Nested()
    played(bus(message("m", 0x1, "a")), 9 * MS, {"b": nested})
    assert nested.calls == ["outer", "outer", "inner", "outer", "inner"]


def test_duties_go_on_while_the_bus_is_busy_all_the_time() -> None:
    ticker = Ticker(duty="1 ms")
    catalogue = bus(message("m", 0x1, "a", length=8, period=100_000), nodes="ab")
    played(catalogue, 20 * MS, {"b": ticker})
    assert [time for time, _ in ticker.calls] == [number * MS for number in range(1, 21)]


def test_a_duty_does_not_hold_up_the_bus() -> None:
    catalogue = bus(message("m", 0x1, "a", period=700_000), message("n", 0x2, "c", period=300_000))
    without = played(catalogue, 20 * MS)
    beside = played(catalogue, 20 * MS, {"b": Ticker(fast="1 us", slow="7 ms")})
    assert without.traffic.equal(beside.traffic)
    assert without.response_ns.tolist() == beside.response_ns.tolist()
