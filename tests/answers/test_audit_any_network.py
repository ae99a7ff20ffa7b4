"""Two roads to one verdict: what a simulated run of any catalogue leaves on the wire, its audit finds in order."""

from collections.abc import Mapping
from fractions import Fraction
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from busdesign.answers.audit_limits import limits_and_bounds, seen_resolution_ns
from busdesign.bench.audit import Audit
from busdesign.bench.limits import Recorder
from busdesign.catalogue.model import Catalogue
from busdesign.findings import Severity
from busdesign.traffic.frames import Traffic
from tests.networks import MS, catalogues, run_of

QUICKLY = settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.too_slow])
WAYS = st.fixed_dictionaries(
    {
        "phases": st.sampled_from(["declared", "random", "aligned"]),
        "jitter": st.sampled_from(["none", "random", "worst"]),
        "drift": st.sampled_from(["none", "random", "worst"]),
        "seed": st.integers(0, 2**32),
    }
)


def broken(catalogue: Catalogue, traffic: Traffic, recorder: Recorder) -> set[tuple[str, str]]:
    limits, _ = limits_and_bounds(catalogue, recorder)
    seen = Audit(catalogue, limits)
    seen.take(traffic[at : at + 50] for at in range(0, len(traffic), 50))
    for window, bound in limits.loads.items():
        load, _ = seen.loads.of_window(window)
        assert bound is None or seen.loads.duration_ns < window or load <= bound
    found = [one for one in seen.sightings() if one.finding.severity is Severity.BROKEN]
    return {(one.finding.rule, one.subject) for one in found}


def starved(catalogue: Catalogue) -> set[tuple[str, str]]:
    """Where the bus is asked for more than it has, some messages never come, and that is true."""
    _, bounds = limits_and_bounds(catalogue, Recorder())
    return {("never-seen", name) for name, case in bounds.cases.items() if case.response_ns is None}


@given(catalogue=catalogues(), way=WAYS)
@QUICKLY
def test_nothing_is_found_in_a_run(catalogue: Catalogue, way: Mapping[str, Any]) -> None:
    run = run_of(catalogue, 150 * MS, **way)
    assert broken(catalogue, run.traffic, Recorder()) <= starved(catalogue)


@given(catalogue=catalogues(), way=WAYS, step_ns=st.sampled_from([100, 1_000, 10_000, 1_000_000]))
@QUICKLY
def test_nor_with_a_coarse_clock_of_which_nobody_said_what_it_stamps(
    catalogue: Catalogue, way: Mapping[str, Any], step_ns: int
) -> None:
    run = run_of(catalogue, 150 * MS, **way)
    if len(run.traffic) < 20:  # so few times may all be multiples of a coarser step by chance
        return
    for stamps in (run.traffic.end_ns, run.start_ns):
        names = ("identifier", "flags", "length", "channel", "payload")
        columns: dict[str, Any] = {name: getattr(run.traffic, name) for name in names}
        coarse = Traffic(end_ns=stamps // step_ns * step_ns, **columns)
        recorder = Recorder(max(seen_resolution_ns(coarse), step_ns), "unknown")
        assert broken(catalogue, coarse, recorder) <= starved(catalogue)


@pytest.mark.parametrize("late_ns", [0, 2 * MS])
def test_a_frame_as_late_as_it_can_be_is_no_finding_and_one_that_is_later_is(late_ns: int) -> None:
    """Alone on the bus with 1 ms of jitter: two frames may be 1 ms more apart than the period, and not 3 ms."""
    from tests.networks import catalogue_of, message_of

    message = message_of("m", 0x100, "a", 0, 10 * MS, jitter_ns=MS)
    catalogue = catalogue_of([message], 250_000, {"a": Fraction(0), "b": Fraction(0)})
    ends = [10 * MS * number + (MS + late_ns if number == 7 else 0) for number in range(1, 20)]
    traffic = Traffic.of_rows([(end, 0x100, 0, 0, 0, 0) for end in ends])
    found = {("period-long", "m"), ("period-short", "m")} if late_ns else set()
    assert broken(catalogue, traffic, Recorder()) == found
