"""When messages are released: offset, period, jitter, phases and drifted clocks, held against fractions."""

from fractions import Fraction
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from busdesign.virtual.run import Run
from tests.networks import MS, catalogue_of
from tests.virtual.small_buses import bus, half_up, message, played, rows

QUICK_BIT_RATE = 1_000_000  # so that short periods fit
DRIFTS = st.sampled_from(
    [Fraction(0), Fraction(3, 1000), Fraction(-3, 1000), Fraction(1, 10**6), Fraction(-1, 7), Fraction(1, 10)]
)


def nominal(run: Run, name: str) -> list[int]:
    return sorted(int(run.release_ns[row]) for row in rows(run, name))


def lateness(run: Run, name: str) -> list[int]:
    """From the nominal release to the handing over, in the order of the wire."""
    return [int(run.ready_ns[row] - run.release_ns[row]) for row in rows(run, name)]


@given(drift=DRIFTS, offset_ns=st.integers(0, 3 * MS), period_ns=st.integers(MS // 10, 3 * MS))
@settings(max_examples=40)
def test_nominal_releases_lie_on_the_senders_own_clock(drift: Fraction, offset_ns: int, period_ns: int) -> None:
    """A clock that is fast by d makes a period of p / (1 + d)."""
    sent = message("m", 0x123, "a", length=0, period=period_ns, offset_ns=offset_ns)
    run = played(bus(sent, bit_rate=QUICK_BIT_RATE), 6 * MS, drift={"a": drift})
    exact = [(offset_ns + number * period_ns) / (1 + drift) for number in range(len(run.traffic) + 1)]
    assert run.release_ns.tolist() == run.ready_ns.tolist() == [half_up(time) for time in exact[:-1]]
    assert run.released["m"] == len(run.traffic) + run.unfinished["m"] <= len(exact)
    assert exact[-1] > 6 * MS - 100_000  # none is left out: the next one is too late to end within the run


def test_drifting_releases_do_not_gather_rounding() -> None:
    """Two thousand periods of a clock that is a third of a ppm fast."""
    drift = Fraction(1, 3_000_000)
    sent = message("m", 0x123, "a", length=0, period=MS)
    run = played(bus(sent, bit_rate=QUICK_BIT_RATE), 2_000 * MS + MS // 2, drift={"a": drift})
    assert len(run.traffic) == 2_001
    assert run.release_ns.tolist() == [half_up(number * MS / (1 + drift)) for number in range(2_001)]
    assert run.release_ns[2_000] == 1_999_999_333


def test_worst_drift_makes_every_clock_fast_by_its_tolerance() -> None:
    tolerances = {"a": Fraction(3, 1000), "b": Fraction(50, 10**6), "c": Fraction(0)}
    messages = [message(f"of_{node}", 0x100 + rank, node, length=0, period=MS) for rank, node in enumerate("abc")]
    run = played(catalogue_of(messages, QUICK_BIT_RATE, tolerances), 10 * MS, drift="worst")
    assert run.drifts == tolerances
    for node, tolerance in tolerances.items():
        expected = [half_up(number * MS / (1 + tolerance)) for number in range(9)]
        assert nominal(run, f"of_{node}")[:9] == expected


@given(seed=st.integers(0, 2**40))
@settings(max_examples=30)
def test_random_drift_stays_within_the_tolerance(seed: int) -> None:
    tolerances = {"a": Fraction(3, 1000), "b": Fraction(50, 10**6), "c": Fraction(1, 3_000_000)}
    sent = message("m", 0x123, "a", length=0, period=MS)
    run = played(catalogue_of([sent], QUICK_BIT_RATE, tolerances), 3 * MS, drift="random", seed=seed)
    assert all(abs(run.drifts[node]) <= tolerance for node, tolerance in tolerances.items())
    assert run.release_ns.tolist() == [half_up(number * MS / (1 + run.drifts["a"])) for number in range(3)]


def test_random_drift_uses_both_sides_of_the_tolerance() -> None:
    tolerances = {"a": Fraction(100, 10**6), "b": Fraction(100, 10**6)}
    catalogue = catalogue_of([message("m", 1, "a")], 250_000, tolerances)
    found = [played(catalogue, MS, drift="random", seed=seed).drifts for seed in range(60)]
    ppm = [drift * 10**6 for drifts in found for drift in drifts.values()]
    assert min(ppm) < -70
    assert max(ppm) > 70
    assert any(drifts["a"] != drifts["b"] for drifts in found)


def test_a_mapping_names_the_clocks_that_are_wrong() -> None:
    run = played(bus(message("m", 1, "a")), MS, drift={"b": Fraction(-3, 1000)})
    assert run.drifts == {"a": 0, "b": Fraction(-3, 1000), "c": 0}


def test_phases_as_declared_or_aligned() -> None:
    first = message("first", 0x100, "a", length=0, period=2 * MS, offset_ns=300_000)
    second = message("second", 0x200, "b", length=0, period=5 * MS, offset_ns=1_700_000)
    declared = played(bus(first, second), 9 * MS)
    assert nominal(declared, "first") == [300_000 + number * 2 * MS for number in range(5)]
    assert nominal(declared, "second") == [1_700_000, 6_700_000]
    aligned = played(bus(first, second), 9 * MS, phases="aligned")
    assert nominal(aligned, "first") == [number * 2 * MS for number in range(5)]
    assert nominal(aligned, "second") == [0, 5 * MS]


@given(seed=st.integers(0, 2**40))
@settings(max_examples=30)
def test_random_phases_shift_a_node_as_a_whole(seed: int) -> None:
    """By less than its longest period, so that offsets between its own messages keep their meaning."""
    catalogue = bus(
        message("a1", 0x100, "a", length=0, period=2 * MS, offset_ns=300_000),
        message("a2", 0x101, "a", length=0, period=5 * MS, offset_ns=1_000_000),
        message("b1", 0x200, "b", length=0, period=3 * MS),
    )
    run = played(catalogue, 12 * MS, phases="random", seed=seed)
    shift_ns = nominal(run, "a1")[0] - 300_000
    assert nominal(run, "a2")[0] - 1_000_000 == shift_ns
    assert 0 <= shift_ns < 5 * MS
    assert 0 <= nominal(run, "b1")[0] < 3 * MS


def test_random_phases_differ_between_nodes_and_seeds() -> None:
    catalogue = bus(*(message(f"of_{node}", 0x100 + rank, node, period=5 * MS) for rank, node in enumerate("abc")))
    first, second = (
        [nominal(played(catalogue, 12 * MS, phases="random", seed=seed), f"of_{node}")[0] for node in "abc"]
        for seed in (1, 2)
    )
    assert len({*first, *second}) == 6


def test_without_jitter_none_is_late() -> None:
    catalogue = bus(message("m", 0x123, "a", period=MS, jitter_ns=500_000))
    assert lateness(played(catalogue, 20 * MS, jitter="none"), "m") == [0] * 20


def test_worst_jitter_delays_the_first_release_only() -> None:
    """So the first two lie as near together as they can."""
    catalogue = bus(message("m", 0x123, "a", period=MS, jitter_ns=400_000), message("exact", 0x124, "b", period=MS))
    run = played(catalogue, 20 * MS, jitter="worst")
    assert lateness(run, "m")[:5] == [400_000, 0, 0, 0, 0]
    assert not any(lateness(run, "exact"))


@given(jitter_ns=st.integers(1, 900_000), seed=st.integers(0, 2**40))
@settings(max_examples=30)
def test_random_jitter_stays_within_what_is_declared(jitter_ns: int, seed: int) -> None:
    catalogue = bus(message("m", 0x123, "a", length=0, period=MS, jitter_ns=jitter_ns), bit_rate=QUICK_BIT_RATE)
    run = played(catalogue, 40 * MS, jitter="random", seed=seed)
    assert nominal(run, "m") == [number * MS for number in range(len(run.traffic))]
    assert min(lateness(run, "m")) >= 0
    assert max(lateness(run, "m")) <= jitter_ns


def test_random_jitter_uses_the_whole_of_it() -> None:
    catalogue = bus(message("m", 0x123, "a", length=0, period=MS, jitter_ns=10), bit_rate=QUICK_BIT_RATE)
    found = lateness(played(catalogue, 400 * MS, jitter="random"), "m")
    assert set(found) == set(range(11))


@pytest.mark.parametrize("way", ["random", "worst"])
@pytest.mark.parametrize("jitter_ns", [MS, 2 * MS - 1, 2 * MS, 5 * MS // 2])
def test_jitter_beyond_the_period_keeps_every_instance_and_their_order(way: str, jitter_ns: int) -> None:
    """Late by at most the jitter, none before the one that was due before it, and none missing or said twice."""
    catalogue = bus(message("m", 0x123, "a", length=0, period=MS, jitter_ns=jitter_ns), bit_rate=QUICK_BIT_RATE)
    run = played(catalogue, 60 * MS, jitter=way)
    assert run.release_ns.tolist() == [number * MS for number in range(len(run.traffic))]
    assert len(run.traffic) >= 60 - jitter_ns // MS - 1
    assert all(earlier <= later for earlier, later in pairwise(run.ready_ns.tolist()))
    assert all(0 <= late <= jitter_ns for late in lateness(run, "m"))
    assert max(lateness(run, "m")) > MS // 2


def test_jitter_beyond_the_period_can_bring_several_at_once() -> None:
    """Worst: the first is 2.5 periods late, and the next two wait for it."""
    catalogue = bus(message("m", 0x123, "a", length=0, period=MS, jitter_ns=5 * MS // 2), bit_rate=QUICK_BIT_RATE)
    run = played(catalogue, 10 * MS, jitter="worst")
    assert run.ready_ns.tolist()[:5] == [2_500_000, 2_500_000, 2_500_000, 3 * MS, 4 * MS]


def test_jitter_is_true_time_and_the_period_is_the_nodes_own() -> None:
    drift = Fraction(1, 10)
    sent = message("m", 0x123, "a", length=0, period=MS, jitter_ns=333_333)
    run = played(bus(sent, bit_rate=QUICK_BIT_RATE), 5 * MS, jitter="worst", drift={"a": drift})
    assert run.ready_ns.tolist()[:3] == [333_333, half_up(MS / (1 + drift)), half_up(2 * MS / (1 + drift))]


def test_columns_are_in_the_order_of_the_wire() -> None:
    catalogue = bus(*(message(f"m{rank}", 0x100 - rank, "abc"[rank % 3], period=MS) for rank in range(9)))
    run = played(catalogue, 20 * MS, phases="aligned")
    assert np.all(np.diff(run.start_ns) > 0)
    assert np.all(np.diff(run.traffic.end_ns) > 0)
