"""The door ``audit``: scenarios, facts of the recorder, the assumptions, and what cannot be used."""

import json
from dataclasses import replace
from pathlib import Path

import pytest

from busdesign.answers.audit import audit
from busdesign.answers.audit_answer import refused
from busdesign.answers.plain import as_plain
from busdesign.errors import CaptureError, CatalogueError, ScenarioError
from busdesign.scenario.reader import parse_scenario
from busdesign.traffic.files import write_traffic
from busdesign.traffic.frames import Traffic
from busdesign.traffic.tallies import tally_messages
from tests.answers.captures import CATALOGUE, EXACT, ROOT, audited, numbers_of, rows_of, rules_of, run_of, traffic_of

STORY = """\
scenario: tried
catalogue: ../../messages/saltmarsh.yaml
run_for: 13 s
"""


def story(*expectations: str, more: str = "") -> object:
    lines = "".join(f"  - {expected}\n" for expected in expectations)
    return parse_scenario(f"{STORY}{more}expect:\n{lines}", str(ROOT / "sim" / "scenarios" / "tried.yaml"))


def test_what_is_measured_is_what_is_in_the_capture(tmp_path: Path) -> None:
    run, answer = run_of("retract"), audited(traffic_of(), tmp_path)
    tallies = tally_messages(run.run.traffic, run.run.catalogue.messages)
    for message in answer.messages:
        tally = tallies[message.name]
        assert message.count == tally.count
        assert (message.period_ms is None) == (tally.period_min_ns is None)
        if message.period_ms is not None and tally.period_mean_ns is not None:
            assert message.period_ms.min * 1e6 == pytest.approx(tally.period_min_ns)
            assert message.period_ms.max * 1e6 == pytest.approx(tally.period_max_ns)
            assert message.period_ms.mean * 1e6 == pytest.approx(float(tally.period_mean_ns))
    busiest = next(window for window in answer.windows if window.window_ms == 100)
    assert busiest.load == pytest.approx(run.load_busiest_100ms, abs=1e-9)
    assert busiest.at_s == pytest.approx(run.load_busiest_at_s)
    assert 0 < answer.load_nominal < answer.load_worst < 1


def test_functions_never_seem_slower_than_in_the_run(tmp_path: Path) -> None:
    """A run knows the releases, a capture only starts of frame, which are later."""
    run, answer = run_of("retract"), audited(traffic_of(), tmp_path)
    assert len(answer.functions) == len(run.functions) == 6
    for seen, ran in zip(answer.functions, run.functions, strict=True):
        assert seen.reaction_ms is not None
        assert ran.bound_ms is not None
        assert seen.moments >= 250
        assert 0.9 * ran.bound_ms < seen.reaction_ms <= ran.bound_ms


def test_a_scenario_is_held_against_the_wire(tmp_path: Path) -> None:
    held = story(
        "{name: on the wire, never: leg_report_nose.drive != off and leg_report_nose.lock != released}",
        "{name: not so, never: leg_report_nose.state == moving}",
        "{name: in a board, never: strut_nose.silent and lamp_report.horn == 1}",
    )
    answer = audited(traffic_of(), tmp_path, catalogue=None, scenario=held)
    assert [(expected.name, expected.holds) for expected in answer.expectations] == [
        ("on the wire", True),
        ("not so", False),
        ("in a board", True),
    ]
    assert answer.expectations[1].at_s is not None
    assert 1 < answer.expectations[1].at_s < 2
    assert not answer.holds
    assert answer.findings == ()
    assert answer.scenario == "tried"


def test_what_only_boards_know_is_not_observable_and_breaks_nothing(tmp_path: Path) -> None:
    answer = audited(traffic_of(), tmp_path, catalogue=None, scenario=ROOT / "sim" / "scenarios" / "retract.yaml")
    assert {expected.holds for expected in answer.expectations} == {True, None}
    unseen = [expected for expected in answer.expectations if expected.holds is None]
    assert all(expected.text.startswith("not observable: nothing here records `") for expected in unseen)
    assert answer.holds


def test_expectations_give_the_same_for_a_run_and_for_its_capture(tmp_path: Path) -> None:
    """With the faults of the scenario, which are then no findings."""
    held = story(
        "{name: silent, after: strut_left.silent, within: 8 s, then: not strut_left.silent}",
        "{name: told, after: leg_report_left.state == moving, within: 12 s, then: leg_report_left.state == up_locked}",
        more="faults: [{at: 3.2 s, until: 6 s, kind: silent, node: strut_left}]\n",
    )
    from busdesign.answers.simulate import simulate

    run = simulate(held)  # type: ignore[arg-type]
    answer = audited(run.run.traffic, tmp_path, catalogue=None, scenario=held)
    assert [(one.name, one.holds, one.at_s) for one in answer.expectations] == [
        (one.name, one.holds, one.at_s) for one in run.expectations
    ]
    assert answer.findings == ()
    assert "gone-silent" in rules_of(audited(run.run.traffic, tmp_path))


def test_a_slip_in_an_expectation_is_an_error(tmp_path: Path) -> None:
    with pytest.raises(ScenarioError, match=r"there is no `leg_report_nose\.drve`"):
        audited(
            traffic_of(), tmp_path, catalogue=None, scenario=story("{name: slip, never: leg_report_nose.drve != off}")
        )


def test_the_facts_beside_a_capture_are_used_and_told(tmp_path: Path) -> None:
    write_traffic(traffic_of(), tmp_path / "run.log")
    assert audit(tmp_path / "run.log", CATALOGUE).recorder.timestamp_at == "unknown"
    (tmp_path / "run.log.yaml").write_text("timestamp_at: end\nresolution: 1 us\nerror_frames: recorded\n")
    told = audit(tmp_path / "run.log", CATALOGUE)
    assert (told.recorder.timestamp_at, told.recorder.resolution_ns, told.recorder.resolution_told) == (
        "end",
        1000,
        True,
    )
    assert not any("error frames" in line for line in told.not_seen)
    unknown = audited(traffic_of(), tmp_path, facts=None)
    assert any("deadlines" in line for line in unknown.not_seen)


def test_limits_are_wider_where_less_is_known_of_the_recorder(tmp_path: Path) -> None:
    exact = audited(traffic_of(), tmp_path, facts=EXACT)
    coarse = audited(traffic_of(), tmp_path, facts=replace(EXACT, resolution_ns=1_000_000))
    unknown = audited(traffic_of(), tmp_path, facts=replace(EXACT, timestamp_at="unknown"))
    for narrow, wide, wider in zip(exact.messages, coarse.messages, unknown.messages, strict=True):
        assert narrow.allowed_ms is not None
        assert wide.allowed_ms is not None
        assert wider.allowed_ms is not None
        assert wide.allowed_ms[0] == pytest.approx(narrow.allowed_ms[0] - 0.999999)
        assert wider.allowed_ms[0] < narrow.allowed_ms[0]


def test_another_period_is_offered_as_a_line_to_copy(tmp_path: Path) -> None:
    """Every second frame of two of three legs' figures, as if they came once a second."""
    rows = rows_of(traffic_of())
    gone = {row for leg in (0x18FE0010, 0x18FE0011, 0x18FE0012) for row in numbers_of(traffic_of(), leg)[1::2]}
    answer = audited(Traffic.of_rows([row for at, row in enumerate(rows) if at not in gone]), tmp_path)
    assert [(one.message, one.key, one.declared, one.suggested) for one in answer.suggestions] == [
        ("supply_report", "every", "500 ms", "1 s")
    ]
    assert answer.patch.startswith("messages:\n  supply_report:\n    every: 1 s ")


def test_the_answer_is_plain_json(tmp_path: Path) -> None:
    plain = json.loads(json.dumps(as_plain(audited(traffic_of()[:40], tmp_path)), allow_nan=False))
    fixed = {"frames", "bad_lines", "duration_s", "load_mean", "messages", "findings", "holds"}
    assert fixed <= set(plain)
    assert {"name", "count", "period_ms"} <= set(plain["messages"][0])
    assert set(as_plain(refused(()))) == set(plain)


def refusal(*given: object, **more: object) -> str:
    with pytest.raises(CaptureError) as caught:
        audit(*given, **more)  # type: ignore[arg-type]
    (found,) = caught.value.findings
    return found.rule


def test_captures_that_cannot_be_used(tmp_path: Path) -> None:
    assert refusal(tmp_path / "none.log", CATALOGUE) == "capture-missing"
    (tmp_path / "empty.log").write_bytes(b"")
    assert refusal(tmp_path / "empty.log", CATALOGUE) == "capture-unreadable"
    write_traffic(Traffic.empty(), tmp_path / "nothing.csv")
    assert refusal(tmp_path / "nothing.csv", CATALOGUE) == "capture-unreadable"
    foreign = Traffic.of_rows([(1000 * at, 0x7FF, 0, 1, 0, at) for at in range(1, 9)])
    write_traffic(foreign, tmp_path / "foreign.log")
    assert refusal(tmp_path / "foreign.log", CATALOGUE) == "capture-foreign"


def test_one_channel_of_several_has_to_be_chosen(tmp_path: Path) -> None:
    both = [(*row[:4], at % 2, row[5]) for at, row in enumerate(rows_of(traffic_of()))]
    path = tmp_path / "both.log"
    write_traffic(Traffic.of_rows(both, ("can0", "can1")), path)
    assert refusal(path, CATALOGUE) == "capture-channels"
    assert refusal(path, CATALOGUE, channel="can2") == "capture-channel"
    assert audit(path, CATALOGUE, channel="can1").frames == len(both) // 2


def test_a_broken_catalogue_and_none_at_all(tmp_path: Path) -> None:
    write_traffic(traffic_of(), tmp_path / "run.log")
    (tmp_path / "broken.yaml").write_text("catalogue: broken\n")
    with pytest.raises(CatalogueError):
        audit(tmp_path / "run.log", tmp_path / "broken.yaml")
    with pytest.raises(ValueError, match="give one of them"):
        audit(tmp_path / "run.log")


def test_bad_lines_are_counted(tmp_path: Path) -> None:
    path = tmp_path / "run.log"
    write_traffic(traffic_of(), path)
    path.write_bytes(path.read_bytes() + b"what is this?\n(1.0) can0 110#0\n")
    answer = audit(path, CATALOGUE, facts=EXACT)
    assert (answer.bad_lines, answer.frames, answer.holds) == (2, len(traffic_of()), True)


@pytest.mark.parametrize("suffix", [".log", ".log.gz", ".csv", ".pcapng"])
def test_progress_is_told(suffix: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("busdesign.answers.one_bus.BLOCK_FRAMES", 200)
    write_traffic(traffic_of(), tmp_path / f"run{suffix}")
    told: list[float] = []
    audit(tmp_path / f"run{suffix}", CATALOGUE, facts=EXACT, progress=told.append)
    assert len(told) > 5
    assert told == sorted(told)
    assert 0 < told[-1] <= 1
