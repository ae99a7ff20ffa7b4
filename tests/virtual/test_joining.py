"""Who takes part in an arbitration: ready before the sample point of a foreign start of frame, to the nanosecond."""

from fractions import Fraction
from math import ceil

import pytest

from tests.networks import MS
from tests.virtual.small_buses import BIT_NS, JOIN_NS, bits_of, bus, half_up, message, order, played

RATES_AND_SAMPLE_POINTS = [
    (250_000, Fraction(7, 8)),
    (125_000, Fraction(2, 3)),  # 5333 1/3 ns
    (83_333, Fraction(7, 8)),  # a bit is 12000.048 ns
    (83_333, Fraction(4, 5)),
    (1_000_000, Fraction(1, 2)),
]


@pytest.mark.parametrize(("late_ns", "winner"), [(0, "high"), (JOIN_NS - 1, "high"), (JOIN_NS, "low")])
def test_on_an_idle_bus(late_ns: int, winner: str) -> None:
    catalogue = bus(message("low", 0x200, "a"), message("high", 0x100, "b", offset_ns=late_ns))
    assert order(played(catalogue, 5 * MS))[0] == winner


def test_one_that_joins_shares_the_start_of_frame_of_the_first() -> None:
    low, high = message("low", 0x200, "a"), message("high", 0x100, "b", offset_ns=JOIN_NS - 1)
    run = played(bus(low, high), 5 * MS)
    assert list(run.start_ns) == [0, bits_of(high) * BIT_NS]
    assert list(run.ready_ns) == [JOIN_NS - 1, 0]
    assert list(run.response_ns) == [bits_of(high) * BIT_NS - (JOIN_NS - 1), (bits_of(high) + bits_of(low)) * BIT_NS]


def test_one_that_comes_later_waits_for_the_end_of_intermission() -> None:
    low, high = message("low", 0x200, "a"), message("high", 0x100, "b", offset_ns=JOIN_NS)
    run = played(bus(low, high), 5 * MS)
    assert list(run.start_ns) == [0, bits_of(low) * BIT_NS]


@pytest.mark.parametrize(("bit_rate", "sample_point"), RATES_AND_SAMPLE_POINTS)
def test_the_limit_is_exact_where_a_bit_is_no_whole_number_of_nanoseconds(
    bit_rate: int, sample_point: Fraction
) -> None:
    join_ns = Fraction(10**9, bit_rate) * sample_point
    winners = {}
    for late_ns in (ceil(join_ns) - 1, ceil(join_ns)):
        catalogue = bus(
            message("low", 0x200, "a"),
            message("high", 0x100, "b", offset_ns=late_ns),
            bit_rate=bit_rate,
            sample_point=sample_point,
        )
        winners[late_ns] = order(played(catalogue, 20 * MS))[0]
    assert list(winners.values()) == ["high", "low"]


@pytest.mark.parametrize(("bit_rate", "sample_point"), RATES_AND_SAMPLE_POINTS)
def test_right_after_an_intermission(bit_rate: int, sample_point: Fraction) -> None:
    """``low`` waits while ``first`` is sent, and starts at the very end of its intermission."""
    bit_ns = Fraction(10**9, bit_rate)
    first = message("first", 0x001, "c", length=8)
    starts_ns = bits_of(first) * bit_ns
    limit_ns = ceil(starts_ns + bit_ns * sample_point)
    for late_ns, expected in ((limit_ns - 1, ["first", "high", "low"]), (limit_ns, ["first", "low", "high"])):
        low = message("low", 0x200, "a", offset_ns=1_000)
        high = message("high", 0x100, "b", offset_ns=late_ns)
        catalogue = bus(first, low, high, bit_rate=bit_rate, sample_point=sample_point)
        run = played(catalogue, 20 * MS)
        assert order(run) == expected
        assert run.start_ns[1] == half_up(starts_ns)


@pytest.mark.parametrize("after_end_bits", [0, 1, 2])
def test_a_frame_that_is_ready_during_the_intermission_starts_at_its_end(after_end_bits: int) -> None:
    first = message("first", 0x001, "c")
    ready_ns = (bits_of(first) - 3 + after_end_bits) * BIT_NS
    run = played(bus(first, message("next", 0x200, "a", offset_ns=ready_ns)), 5 * MS)
    assert list(run.start_ns) == [0, bits_of(first) * BIT_NS]


def test_a_frame_that_is_ready_as_the_intermission_ends_starts_at_once() -> None:
    first = message("first", 0x001, "c")
    idle_ns = bits_of(first) * BIT_NS
    for ready_ns in (idle_ns - 1, idle_ns, idle_ns + 1):
        run = played(bus(first, message("next", 0x200, "a", offset_ns=ready_ns)), 5 * MS)
        assert run.start_ns[1] == max(idle_ns, ready_ns)


def test_several_join_and_the_smallest_identifier_wins() -> None:
    catalogue = bus(
        message("first", 0x300, "a"),
        message("joins", 0x200, "b", offset_ns=1),
        message("wins", 0x100, "c", offset_ns=JOIN_NS - 1),
    )
    run = played(catalogue, 5 * MS)
    assert order(run) == ["wins", "joins", "first"]
    assert list(run.waiting) == [2, 1, 0]


def test_one_that_loses_to_a_joiner_keeps_its_place_by_priority() -> None:
    """After the joiner all three compete again."""
    catalogue = bus(
        message("first", 0x300, "a"),
        message("wins", 0x200, "b", offset_ns=JOIN_NS - 1),
        message("late", 0x100, "c", offset_ns=JOIN_NS),
    )
    assert order(played(catalogue, 5 * MS)) == ["wins", "late", "first"]


def test_only_a_foreign_start_of_frame_is_joined() -> None:
    """A node that has sent its start of frame is committed to that frame; its own stronger one waits."""
    weak, strong = message("weak", 0x200, "a"), message("strong", 0x100, "a", offset_ns=100)
    run = played(bus(weak, strong), 5 * MS)
    assert order(run) == ["weak", "strong"]
    assert run.start_ns.tolist() == [0, bits_of(weak) * BIT_NS]


def test_a_committed_node_does_not_change_its_frame_while_others_join() -> None:
    catalogue = bus(
        message("committed", 0x300, "a"),
        message("joins", 0x200, "b", offset_ns=100),
        message("too_late", 0x100, "a", offset_ns=200),
    )
    assert order(played(catalogue, 5 * MS)) == ["joins", "too_late", "committed"]
