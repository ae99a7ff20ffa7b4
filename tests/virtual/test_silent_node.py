"""A silent transmitter: what it drops, what it completes, what it still hears, and how it comes back."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from busdesign.scenario.model import Fault
from tests.networks import MS
from tests.virtual.small_buses import BIT_NS, Ear, bits_of, bus, data, ends, message, order, played, rows, silent

STEADY = message("steady", 0x100, "a", period=10 * MS, to=["b"])
OTHER = message("other", 0x200, "b", period=10 * MS, to=["a"], offset_ns=5 * MS)


def releases(*faults: Fault, run_for_ns: int = 95 * MS) -> list[int]:
    run = played(bus(STEADY, OTHER), run_for_ns, faults=faults)
    assert len(rows(run, "other")) == -(-(run_for_ns - 5 * MS) // (10 * MS))  # nobody else is touched
    return [int(run.release_ns[row]) // MS for row in rows(run, "steady")]


def test_it_says_nothing_and_resumes_with_its_next_release() -> None:
    assert releases(silent("a", 25 * MS, 55 * MS)) == [0, 10, 20, 60, 70, 80, 90]


def test_it_stays_silent_to_the_end_if_no_end_is_given() -> None:
    assert releases(silent("a", 25 * MS)) == [0, 10, 20]


def test_a_release_that_falls_into_the_silence_is_not_one() -> None:
    run = played(bus(STEADY, OTHER), 95 * MS, faults=(silent("a", 25 * MS, 55 * MS),))
    assert run.released["steady"] == 7
    assert run.unfinished["steady"] == 0


def test_the_limits_of_the_silence_are_exact() -> None:
    assert releases(silent("a", 20 * MS, 40 * MS)) == [0, 10, 40, 50, 60, 70, 80, 90]
    assert releases(silent("a", 20 * MS, 40 * MS + 1)) == [0, 10, 50, 60, 70, 80, 90]
    assert releases(silent("a", 0, 1)) == [10, 20, 30, 40, 50, 60, 70, 80, 90]


@given(
    spans=st.lists(st.tuples(st.integers(1, 190), st.integers(1, 90)), max_size=5),
    endless=st.none() | st.integers(100, 190),
)
@settings(max_examples=40)
def test_overlapping_faults_act_as_their_union(spans: list[tuple[int, int]], endless: int | None) -> None:
    """Limits on half milliseconds between and on the releases."""
    half = MS // 2
    faults = [silent("a", at * half, (at + length) * half) for at, length in sorted(spans)]
    if endless is not None:
        faults = sorted([*faults, silent("a", endless * half)], key=lambda fault: fault.at_ns)
    muted = [
        any(fault.at_ns <= time < (fault.until_ns or 95 * MS) for fault in faults)
        for time in range(0, 95 * MS, 10 * MS)
    ]
    assert releases(*faults) == [10 * number for number, is_muted in enumerate(muted) if not is_muted]


def test_faults_that_touch_leave_no_gap() -> None:
    assert releases(silent("a", 15 * MS, 40 * MS), silent("a", 40 * MS, 55 * MS)) == [0, 10, 60, 70, 80, 90]


def test_what_waits_is_dropped_and_counted_as_unfinished() -> None:
    blocks = message("blocks", 0x001, "b", length=8)
    waiting = [message(f"m{rank}", 0x100 + rank, "a", offset_ns=1_000) for rank in range(3)]
    of_another = message("of_another", 0x200, "c", offset_ns=1_000)
    run = played(bus(blocks, *waiting, of_another), 5 * MS, faults=(silent("a", 2_000),))
    assert order(run) == ["blocks", "of_another"]
    assert [run.unfinished[f"m{rank}"] for rank in range(3)] == [1, 1, 1]
    assert run.unfinished["of_another"] == 0


def test_what_waits_is_dropped_for_good_however_short_the_silence() -> None:
    blocks = message("blocks", 0x001, "b", length=8)
    run = played(bus(blocks, message("m", 0x100, "a", offset_ns=1_000)), 5 * MS, faults=(silent("a", 2_000, 2_001),))
    assert order(run) == ["blocks"]
    assert (run.released["m"], run.unfinished["m"]) == (1, 1)


def test_the_frame_on_the_pair_is_completed() -> None:
    bits = bits_of(STEADY)
    for at_ns in (BIT_NS, bits * BIT_NS // 2, (bits - 3) * BIT_NS - 1, (bits - 3) * BIT_NS):
        run = played(bus(STEADY, OTHER), 4 * MS, faults=(silent("a", at_ns),))
        assert order(run) == ["steady"]
        assert run.wire_bits.tolist() == [bits]


def test_a_silent_node_still_hears_and_misses_and_works() -> None:
    ear, watched = Ear(), message("watched", 0x201, "b", to=["a"], offset_ns=900 * MS, lost_after_ns=40 * MS)
    run = played(bus(STEADY, OTHER, watched), 95 * MS, {"a": ear}, faults=(silent("a", 0),))
    assert [time for time, _ in ear.arrivals] == ends(run, "other")
    assert ear.absences == [(40 * MS, "watched")]
    assert data(run, "steady") == []


def test_each_node_is_silent_for_itself() -> None:
    run = played(bus(STEADY, OTHER), 95 * MS, faults=(silent("a", 15 * MS, 55 * MS), silent("b", 35 * MS, 75 * MS)))
    assert [int(time) // MS for time in run.release_ns[rows(run, "steady")]] == [0, 10, 60, 70, 80, 90]
    assert [int(time) // MS for time in run.release_ns[rows(run, "other")]] == [5, 15, 25, 75, 85]


def test_the_receiver_counts_the_silence_from_the_last_frame() -> None:
    ear = Ear()
    steady = message("steady", 0x100, "a", period=10 * MS, to=["b"], lost_after_ns=25 * MS)
    run = played(bus(steady, OTHER), 95 * MS, {"b": ear}, faults=(silent("a", 35 * MS, 75 * MS),))
    assert ear.absences == [(ends(run, "steady")[3] + 25 * MS, "steady")]


@pytest.mark.parametrize("after_ns", [1, 1_000, 3_499])
def test_a_frame_whose_start_is_on_the_pair_when_the_fault_begins_is_completed(after_ns: int) -> None:
    """The frame in progress completes, from its first bit on, not only from its first sample point on."""
    catalogue = bus(message("m", 0x100, "a", offset_ns=MS), message("other", 0x200, "b", offset_ns=900 * MS))
    run = played(catalogue, 5 * MS, faults=(silent("a", MS + after_ns),))
    assert order(run) == ["m"]
    assert run.start_ns.tolist() == [MS]


@pytest.mark.parametrize(("identifier", "expected"), [(0x300, ["shortly"]), (0x050, ["faulty", "shortly"])])
def test_a_start_of_frame_that_was_sent_is_there_to_be_joined(identifier: int, expected: list[str]) -> None:
    """The fault begins a nanosecond after the start of frame; then another node joins, which may win or lose."""
    faulty = message("faulty", identifier, "a", offset_ns=MS)
    run = played(
        bus(faulty, message("shortly", 0x100, "b", offset_ns=MS + 2_000)), 5 * MS, faults=(silent("a", MS + 1),)
    )
    assert order(run) == expected
    assert run.start_ns[0] == MS
    assert run.unfinished["faulty"] == 2 - len(expected)
