"""A capture of what the catalogue says shows nothing: every scenario, seeds, jitter, drifts, coarse clocks."""

from pathlib import Path

import pytest

from busdesign.traffic.facts import RecordingFacts
from busdesign.traffic.frames import Traffic
from tests.answers.captures import EXACT, SCENARIOS, audited, rows_of, traffic_of

NAMES = [path.stem for path in SCENARIOS]


def nothing_in(traffic: Traffic, folder: Path, facts: RecordingFacts | None = EXACT) -> None:
    answer = audited(traffic, folder, facts=facts)
    assert [(found.rule, found.text) for found in answer.findings] == []
    assert answer.holds
    assert {offer.key for offer in answer.suggestions if "seen" not in offer.why} == set()
    assert all(function.within_bound for function in answer.functions)
    assert all(window.within_bound for window in answer.windows)


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("drift", ["none", "worst"])
def test_every_scenario(name: str, drift: str, tmp_path: Path) -> None:
    nothing_in(traffic_of(name, drift=drift, jitter="worst" if drift == "worst" else "random"), tmp_path)


@pytest.mark.parametrize("seed", range(4))
def test_random_clocks_and_phases(seed: int, tmp_path: Path) -> None:
    nothing_in(traffic_of("retract", seed=seed, drift="random", phases="random"), tmp_path)
    nothing_in(traffic_of("power_up", seed=seed, drift="random", jitter="random"), tmp_path)


@pytest.mark.parametrize("step_ns", [1_000, 10_000, 1_000_000])
@pytest.mark.parametrize("told", [True, False])
def test_a_coarse_clock_is_no_fault_of_the_bus(step_ns: int, told: bool, tmp_path: Path) -> None:
    coarse = [(row[0] // step_ns * step_ns, *row[1:]) for row in rows_of(traffic_of())]
    facts = RecordingFacts("end", step_ns) if told else None
    nothing_in(Traffic.of_rows(coarse), tmp_path, facts)


def test_stamps_at_the_start_of_frame(tmp_path: Path) -> None:
    from tests.answers.captures import run_of

    run = run_of("power_up", phases="aligned").run
    rows = [(int(start), *row[1:]) for start, row in zip(run.start_ns, rows_of(run.traffic), strict=True)]
    nothing_in(Traffic.of_rows(rows), tmp_path, RecordingFacts("start", 1))
    nothing_in(Traffic.of_rows(rows), tmp_path, None)
    taken_for_ends = audited(Traffic.of_rows(rows), tmp_path, facts=RecordingFacts("end", 1))
    assert {found.rule for found in taken_for_ends.findings} == {"impossible-gap"}


def test_absolute_times(tmp_path: Path) -> None:
    at_ns = 1_700_000_000_123_456_789
    rows = [(row[0] + at_ns, *row[1:]) for row in rows_of(traffic_of())]
    nothing_in(Traffic.of_rows(rows), tmp_path)
    answer = audited(Traffic.of_rows(rows), tmp_path)
    assert answer.zero_ns == rows[0][0]
    assert answer.duration_s == pytest.approx(audited(traffic_of(), tmp_path).duration_s)


def test_errors_as_declared_are_no_broken_promise(tmp_path: Path) -> None:
    """Frames that are hit and sent again come late, as the declared errors allow; without them that is a finding."""
    from dataclasses import replace

    from busdesign.answers.simulate import simulate
    from busdesign.catalogue.model_errors import ErrorModel
    from busdesign.findings import Severity
    from tests.answers.test_audit import story

    hits = ", ".join(
        f"{{at: {at} s, kind: flipped_bit, message: {message}, frame: 1, bit: 30}}"
        for at in range(2, 12)
        for message in ("leg_demand", "lamp_report")
    )
    plain = story("{name: x, never: leg_report_nose.state == fault}", more=f"faults: [{hits}]\n")
    catalogue = plain.catalogue  # type: ignore[attr-defined]
    errors = ErrorModel(at_least_apart_ns=5_000_000, burst=2)
    declared = replace(catalogue, bus=replace(catalogue.bus, errors=errors))
    run = simulate(plain)  # type: ignore[arg-type]
    traffic = run.run.recorded()
    answer = audited(traffic, tmp_path, catalogue=declared)
    assert answer.errors.count == len(run.run.error_frames) >= 20
    assert answer.errors.closest_ms is not None
    assert [found.rule for found in answer.findings if found.severity is not Severity.ADVICE] == []
    assert [found.rule for found in answer.findings] == ["error-frames"]
    few = replace(catalogue, bus=replace(catalogue.bus, errors=replace(errors, at_least_apart_ns=2 * 10**9, burst=1)))
    assert {found.rule for found in audited(traffic, tmp_path, catalogue=few).findings} == {
        "error-frames",
        "errors-beyond-declared",
    }
