"""Counts, periods and loads, held against counting one by one."""

from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from busdesign.catalogue.model import Message
from busdesign.traffic.frames import Traffic
from busdesign.traffic.tallies import (
    Tally,
    busiest_window,
    load,
    load_over_time,
    tally,
    tally_messages,
)
from busdesign.wire.flags import ERROR, REMOTE
from busdesign.wire.frame import INTERMISSION_BITS

BIT_NS = Fraction(4000)  # 250 kbit/s


def at(*end_ns: int) -> Traffic:
    return Traffic.of_rows((time, 0x110, 0, 0, 0, 0) for time in end_ns)


@pytest.mark.parametrize(
    ("end_ns", "expected", "mean_ns"),
    [
        ([], Tally(0), None),
        ([5], Tally(1, 5, 5), None),
        ([10, 30], Tally(2, 10, 30, 20, 20), 20),
        ([31, 0, 10], Tally(3, 0, 31, 10, 21), Fraction(31, 2)),
    ],
)
def test_periods_are_distances_between_frames(end_ns: list[int], expected: Tally, mean_ns: Fraction | None) -> None:
    counted = tally(np.array(end_ns, np.int64))
    assert counted == expected
    assert counted.period_mean_ns == mean_ns


def test_every_message_has_its_tally_even_one_never_seen() -> None:
    messages = [Message(f"m{number}", number, False, 2, "panel", (), (), 10**7) for number in (1, 2)]
    traffic = Traffic.of_rows(
        [(10, 1, 0, 2, 0, 0), (20, 1, 0, 1, 0, 0), (25, 1, REMOTE, 2, 0, 0), (26, 1, ERROR, 0, 0, 0)]
    )
    assert tally_messages(traffic, messages) == {"m1": Tally(2, 10, 20, 10, 10), "m2": Tally(0)}


@st.composite
def buses(draw: st.DrawFn) -> tuple[Traffic, np.ndarray, list[bool], Fraction, int]:
    """Frames on a grid of bits: their traffic, their bits, each bit of time busy or not, the bit time, the start."""
    bit_ns = draw(st.sampled_from([Fraction(4000), Fraction(1000), Fraction(10_000, 3)]))
    start_ns = draw(st.sampled_from([0, 3_000, 1_700_000_000_000_000_000]))
    busy: list[bool] = []
    end_ns, wire_bits = [], []
    for idle, length in draw(st.lists(st.tuples(st.integers(0, 40), st.integers(2, 8)), max_size=12)):
        idle, bits = 3 * idle, 3 * length  # a third of a bit time is a whole ns, so ends are whole
        busy += [False] * idle + [True] * bits
        end_ns.append(start_ns + int((len(busy) - INTERMISSION_BITS) * bit_ns))
        wire_bits.append(bits)
    busy += [False] * 3 * draw(st.integers(1, 40))
    return at(*end_ns), np.array(wire_bits, np.int32), busy, bit_ns, start_ns


@given(buses(), st.data())
def test_mean_load_is_the_share_of_busy_bits(
    bus: tuple[Traffic, np.ndarray, list[bool], Fraction, int], data: st.DataObject
) -> None:
    traffic, wire_bits, busy, bit_ns, start_ns = bus
    thirds = len(busy) // 3
    first = 3 * data.draw(st.integers(0, thirds - 1))
    last = 3 * data.draw(st.integers(first // 3 + 1, thirds))
    window = start_ns + int(first * bit_ns), start_ns + int(last * bit_ns)
    assert load(traffic, wire_bits, bit_ns, *window) == sum(busy[first:last]) / (last - first)


@given(buses(), st.integers(1, 100))
def test_the_busiest_window_is_the_fullest_run_of_bits(
    bus: tuple[Traffic, np.ndarray, list[bool], Fraction, int], thirds: int
) -> None:
    traffic, wire_bits, busy, bit_ns, start_ns = bus
    width = min(3 * thirds, len(busy))
    sums = [sum(busy[first : first + width]) for first in range(len(busy) - width + 1)]
    end_ns = start_ns + int(len(busy) * bit_ns)
    found, found_start_ns = busiest_window(traffic, wire_bits, bit_ns, start_ns, end_ns, int(3 * thirds * bit_ns))
    assert found == max(sums) / width
    assert found_start_ns == start_ns + int(sums.index(max(sums)) * bit_ns)


@given(buses(), st.integers(1, 50))
def test_load_over_time_is_the_share_of_busy_bits_in_each_bin(
    bus: tuple[Traffic, np.ndarray, list[bool], Fraction, int], thirds: int
) -> None:
    traffic, wire_bits, busy, bit_ns, start_ns = bus
    bins = [busy[first : first + 3 * thirds] for first in range(0, len(busy), 3 * thirds)]
    end_ns = start_ns + int(len(busy) * bit_ns)
    starts_ns, loads = load_over_time(traffic, wire_bits, bit_ns, start_ns, end_ns, int(3 * thirds * bit_ns))
    assert loads.tolist() == [sum(bits) / len(bits) for bits in bins]
    assert starts_ns.tolist() == [start_ns + int(3 * thirds * number * bit_ns) for number in range(len(bins))]


def test_a_window_finds_the_burst_between_the_bins() -> None:
    ends_ns = [100_000_000 + 400_000 * number for number in range(-10, 10)]  # 20 frames of 100 bits across a bin's edge
    traffic, wire_bits = at(*ends_ns), np.full(20, 100)
    _, bins = load_over_time(traffic, wire_bits, BIT_NS, 0, 200_000_000, 8_000_000)
    found, start_ns = busiest_window(traffic, wire_bits, BIT_NS, 0, 200_000_000, 8_000_000)
    assert found == 1.0
    assert start_ns == ends_ns[0] - 97 * 4000
    assert max(bins) < 1.0


def test_the_usual_window_is_100_ms() -> None:
    traffic, wire_bits = at(50_000_000, 149_000_000, 260_000_000), np.array([100, 100, 125])
    assert busiest_window(traffic, wire_bits, BIT_NS, 0, 300_000_000) == (200 * 4000 / 100_000_000, 49_012_000)


def test_frames_without_bits_do_not_count() -> None:
    traffic = at(500_000, 900_000)
    assert load(traffic, np.array([100, 0]), BIT_NS, 0, 1_000_000) == 0.4


def test_frames_outside_count_by_what_reaches_in() -> None:
    # Ends at 400 and 1400 us with intermission: half of each lies between 200 and 1200 us.
    traffic = at(400_000 - 12_000, 1_400_000 - 12_000)
    assert load(traffic, np.array([100, 100]), BIT_NS, 200_000, 1_200_000) == 0.4


def test_a_wrong_bit_rate_shows_as_a_load_above_one() -> None:
    traffic, wire_bits = at(*range(400_000, 4_000_001, 400_000)), np.full(10, 100)
    assert load(traffic, wire_bits, 2 * BIT_NS, 0, 4_000_000) > 1.5


def test_days_at_an_odd_bit_rate_are_right_to_a_ns_a_frame() -> None:
    bit_ns, day_ns = Fraction(10**9, 33_331), 86_400 * 10**9
    ends_ns = [second * 10**9 for second in range(1, 100 * 86_400, 86_400)]
    traffic, wire_bits = at(*ends_ns), np.full(len(ends_ns), 123)
    found = load(traffic, wire_bits, bit_ns, 0, 100 * day_ns)
    assert found == pytest.approx(float(100 * 123 * bit_ns / (100 * day_ns)), abs=100 / (100 * day_ns))


def test_no_traffic_is_no_load() -> None:
    nothing = np.empty(0, np.int32)
    assert load(Traffic.empty(), nothing, BIT_NS, 0, 10) == 0.0
    assert busiest_window(Traffic.empty(), nothing, BIT_NS, 5, 10) == (0.0, 5)


@pytest.mark.parametrize(
    ("wire_bits", "start_ns", "end_ns", "window_ns", "complaint"),
    [
        (np.zeros(2, np.int32), 0, 10, 5, "shape"),
        (np.zeros(1, np.int32), 10, 10, 5, "end must be after"),
        (np.zeros(1, np.int32), 0, 10, 0, "window_ns must be above 0"),
    ],
)
def test_what_makes_no_sense_is_refused(
    wire_bits: np.ndarray, start_ns: int, end_ns: int, window_ns: int, complaint: str
) -> None:
    with pytest.raises(ValueError, match=complaint):
        busiest_window(at(5), wire_bits, BIT_NS, start_ns, end_ns, window_ns)


def test_bins_of_no_width_are_refused() -> None:
    with pytest.raises(ValueError, match="bin_ns must be above 0"):
        load_over_time(at(5), np.zeros(1, np.int32), BIT_NS, 0, 10, 0)
