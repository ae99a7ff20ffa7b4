"""``busdesign audit``: its outcomes, its JSON in each of them, what it writes, what it refuses."""

from pathlib import Path

import pytest

from tests.cli.running import Here
from tests.cli.test_json import COUNT, FINDING, FLAG, NUMBER, TEXT, differences

AUDIT = {
    "frames": COUNT,
    "bad_lines": COUNT,
    "duration_s": NUMBER,
    "load_mean": NUMBER,
    "messages": [{"name": TEXT, "count": COUNT}],
    "expectations": [{"name": TEXT, "text": TEXT}],
    "findings": [{"rule": TEXT, "severity": TEXT, "count": COUNT, "text": TEXT, "fix": TEXT}],
    "holds": FLAG,
}
CATALOGUE, SCENARIO = "messages/saltmarsh.yaml", "sim/scenarios/retract.yaml"


@pytest.fixture
def capture(demo: Path, here: Here) -> Path:
    """The good day, in the working folder."""
    assert here("simulate", SCENARIO, "--traffic", "run.log").status == 0
    return Path("run.log")


def test_a_good_day(capture: Path, here: Here) -> None:
    ran = here("audit", capture, "--catalogue", CATALOGUE, "--json")
    assert (ran.status, ran.err) == (0, "")
    assert differences(ran.answer, AUDIT, facts=True) == []
    assert ran.answer["findings"] == []
    assert ran.answer["frames"] == len(capture.read_text().splitlines())
    demand = next(message for message in ran.answer["messages"] if message["name"] == "leg_demand")
    assert demand["count"] == 260
    assert differences(demand["period_ms"], {"mean": NUMBER, "min": NUMBER, "max": NUMBER}, facts=True) == []
    assert demand["period_ms"]["mean"] == pytest.approx(50, abs=0.1)


def test_for_people(capture: Path, here: Here) -> None:
    ran = here("audit", capture, "--scenario", SCENARIO)
    assert (ran.status, ran.err) == (0, "")
    assert "1313 frames in 12.9575 s, mean load 3.5 %" in ran.out
    assert "deadlines and response times: they count from a release inside a board" in ran.out
    assert "holds   no frame reports a motor on against a lock: never true" in ran.out
    assert "open    the order reaches all three locks: not observable: nothing here records `panel.switch`" in ran.out
    assert "\nholds: this capture breaks no promise; of 19 expectations 1 held, 0 broken, 18 open\n" in ran.out
    assert "audit run.log --scenario sim/scenarios/retract.yaml --report audit.html" in ran.out


def test_a_fault_is_told_first_in_a_table_then_in_words(capture: Path, here: Here) -> None:
    lines = capture.read_text().splitlines(keepends=True)
    capture.write_text("".join([*lines[:700], *lines[720:]]))
    ran = here("audit", capture, "--catalogue", CATALOGUE)
    assert (ran.status, ran.err) == (1, "")
    assert ran.out.index("broken promise  counter-skips") < ran.out.index("(counter-skips)")
    assert "first at s  frame no.  frame\n" in ran.out
    assert ran.out.index("explain ") > ran.out.index("\nbroken: ")
    ran = here("audit", capture, "--catalogue", CATALOGUE, "--json")
    assert (ran.status, ran.err) == (1, "")
    assert differences(ran.answer, {**AUDIT, "findings": [{**FINDING, "count": COUNT}]}, facts=True) == []
    first = ran.answer["findings"][0]
    assert first["first_at_s"] > 1
    assert first["where"]["file"] == CATALOGUE
    assert ran.answer["holds"] is False


def test_a_report_is_written(capture: Path, here: Here) -> None:
    ran = here("audit", capture, "--catalogue", CATALOGUE, "--report", "out/audit.html")
    assert (ran.status, ran.err) == (0, "")
    assert ran.out.endswith("\nwritten: out/audit.html\n")
    assert "<h2>Periods and jitter</h2>" in Path("out/audit.html").read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["none.log", "--catalogue", CATALOGUE], "there is no file `none.log`"),
        (["run.log", "--catalogue", "messages/none.yaml"], "messages/none.yaml"),
        (["run.log", "--scenario", "sim/scenarios/none.yaml"], "sim/scenarios/none.yaml"),
        (["run.log", "--catalogue", CATALOGUE, "--channel", "can9"], "there is no channel `can9`"),
        (["run.log", "--catalogue", CATALOGUE, "--report", "messages"], "it is a folder"),
        (["run.log", "--catalogue", CATALOGUE, "--report", "run.log"], "the audit reads it"),
    ],
)
def test_what_cannot_be_used(capture: Path, here: Here, words: list[str], said: str) -> None:
    before = capture.read_bytes()
    ran = here("audit", *words)
    assert (ran.status, ran.out) == (2, "")
    assert said in ran.err
    asked = here("audit", *words, "--json")
    assert asked.status == 2
    assert differences(asked.answer, AUDIT, facts=False) == []
    assert (asked.answer["holds"], asked.answer["frames"], asked.answer["messages"]) == (False, 0, [])
    assert asked.answer["findings"][0]["severity"] == "error"
    assert capture.read_bytes() == before


def test_without_a_catalogue(demo: Path, here: Here) -> None:
    ran = here("audit", "run.log")
    assert (ran.status, ran.out) == (2, "")
    assert "a capture is held against a catalogue\nhint: add `--catalogue FILE`" in ran.err


def test_where_the_scenario_begins(capture: Path, here: Here) -> None:
    ran = here("audit", capture, "--scenario", SCENARIO, "--zero-at=-2s", "--json")
    assert (ran.status, ran.err) == (0, "")
    first_s = float(capture.read_text().partition(")")[0].removeprefix("("))
    assert ran.answer["zero_ns"] / 1e9 == pytest.approx(first_s - 2, abs=1e-6)
    said = here("audit", capture, "--scenario", SCENARIO, "--zero-at=-2s")
    assert "--zero-at=-2s --report audit.html" in said.out
    wrong = here("audit", capture, "--scenario", SCENARIO, "--zero-at", "noon")
    assert (wrong.status, wrong.out) == (2, "")
    assert "--zero-at: expected a duration such as" in wrong.err
