"""Reading scenarios: what a good one becomes, and what is said of broken ones, with place and hint."""

import json
from fractions import Fraction
from pathlib import Path

import pytest
import yaml

from busdesign.errors import ScenarioError
from busdesign.scenario.draft import ScenarioWritten
from busdesign.scenario.model import Fault, PayloadChoice
from busdesign.scenario.reader import parse_scenario, read_scenario
from tests.scenario.conftest import Findings, Write

HEAD = "scenario: a story\ncatalogue: ../../messages/doors.yaml\nrun_for: 12 s\n"  # three lines: bodies begin in line 4

FULL = (
    HEAD
    + """\
seed: 7
payload: {door_report_right: "01 02", others: zero}
models:
  panel: sim/panel.py:Panel
  door_left: {model: sim/door.py:Door, leg: left, slow: 3}
steps:
  - {at: 2 s, set: {panel.switch: shut}}
  - {at: 1 s, set: {panel.switch: open, door_left.load: 2.5}}
faults:
  - {at: 3.2 s, until: 6 s, kind: silent, node: door_left}
expect:
  - {name: never both, never: "door_report_left.state == moving and door_left.silent"}
  - {name: shows it, after: door_left.silent, within: 300 ms, then: panel.lamp == red}
drift: {door_left: +0.3 %, panel: -20 ppm}
jitter: none
phases: aligned
comment: as invented
"""
)


def test_a_scenario_with_everything_is_read_as_it_is_written(write: Write, project: Path) -> None:
    scenario = read_scenario(write(FULL))
    assert (scenario.name, scenario.run_for_ns, scenario.seed) == ("a story", 12_000_000_000, 7)
    assert scenario.catalogue.name == "invented-doors"
    assert scenario.root == project.resolve()
    assert scenario.payload == PayloadChoice("zero", {"door_report_right": b"\1\2"})
    panel, door = scenario.models["panel"], scenario.models["door_left"]
    assert (panel.file, panel.class_name, dict(panel.settings)) == (project.resolve() / "sim/panel.py", "Panel", {})
    assert (door.class_name, dict(door.settings)) == ("Door", {"leg": "left", "slow": 3})
    assert [(step.at_ns, dict(step.sets)) for step in scenario.steps] == [
        (1_000_000_000, {"panel.switch": "open", "door_left.load": 2.5}),
        (2_000_000_000, {"panel.switch": "shut"}),
    ]
    assert scenario.faults == (Fault("silent", "door_left", 3_200_000_000, 6_000_000_000),)
    assert scenario.drift == {"door_left": Fraction(3, 1000), "panel": Fraction(-20, 10**6)}
    assert (scenario.jitter, scenario.phases, scenario.comment) == ("none", "aligned", "as invented")
    never, after = scenario.expectations
    assert (never.kind, never.names) == ("never", ("door_report_left.state", "door_left.silent"))
    assert (after.kind, after.within_ns, after.names) == ("after", 300_000_000, ("door_left.silent", "panel.lamp"))


def test_what_is_left_out_has_its_default(write: Write) -> None:
    scenario = read_scenario(write(HEAD))
    assert (scenario.seed, scenario.payload) == (1, PayloadChoice("random", {}))
    assert (scenario.drift, scenario.jitter, scenario.phases) == ("none", "random", "declared")
    assert (scenario.steps, scenario.faults, scenario.expectations, dict(scenario.models)) == ((), (), (), {})


def test_without_models_no_project_is_needed(tmp_path: Path, project: Path) -> None:
    lonely = tmp_path / "lonely.yaml"
    lonely.write_text("scenario: s\ncatalogue: project/messages/doors.yaml\nrun_for: 1 s\n")
    assert read_scenario(lonely).root == tmp_path.resolve()
    lonely.write_text(lonely.read_text() + "models: {panel: sim/panel.py:Panel}\n")
    with pytest.raises(ScenarioError, match="no folder above this file holds both `messages/` and `sim/`"):
        read_scenario(lonely)


def test_text_in_hand_is_read_as_if_it_lay_in_its_file(project: Path) -> None:
    scenario = parse_scenario(HEAD, str(project / "sim" / "scenarios" / "unwritten.yaml"))
    assert scenario.catalogue.name == "invented-doors"
    assert scenario.root == project.resolve()


BROKEN = {entry["case"]: entry for entry in yaml.safe_load((Path(__file__).parent / "broken.yaml").read_text())}


def _cut(line: str, like: str) -> str:
    """``line`` as far as ``like`` goes, if that ends with dots: what other rooms say is only begun here."""
    return line[: len(like) - 3] + "..." if like.endswith("...") else line


@pytest.mark.parametrize("case", BROKEN)
def test_a_broken_scenario_says_all_of_it_with_place_and_hint(case: str, findings: Findings) -> None:
    expected = BROKEN[case]["says"]
    said = findings(HEAD + BROKEN[case]["body"])
    assert [_cut(line, like) for line, like in zip(said, expected, strict=True)] == expected


def test_missing_keys_are_asked_for(findings: Findings) -> None:
    assert findings("seed: 3\n") == [
        "story.yaml:1:1: `catalogue` is missing | add `catalogue:`, the catalogue's file, seen from this one",
        "story.yaml:1:1: `run_for` is missing | add `run_for:`, how long, such as `12 s`",
        "story.yaml:1:1: `scenario` is missing | add `scenario:`, its name, in a few words",
    ]


def test_a_catalogue_that_is_not_there_is_named_where_it_is_asked_for(findings: Findings) -> None:
    missing, too_short = findings("scenario: s\ncatalogue: ../../messages/door.yaml\nrun_for: 0 s\n")
    assert missing == "story.yaml:2:12: there is no catalogue `messages/door.yaml` | did you mean `doors.yaml`?"
    assert too_short.startswith("story.yaml:3:10: `0 s` must be longer than zero")


@pytest.mark.parametrize("written", ["../messages/doors.yaml", "../../../messages/doors.yaml", "doors.yaml"])
def test_a_catalogue_one_folder_off_is_found(written: str, findings: Findings) -> None:
    (said,) = findings(f"scenario: s\ncatalogue: {written}\nrun_for: 1 s\n")
    assert said.endswith("| there is `messages/doors.yaml`: write `../../messages/doors.yaml`")


def test_a_misspelt_model_is_no_second_error_where_the_catalogue_is_missing(findings: Findings) -> None:
    body = "models: {panle: sim/panel.py:Panel}\nsteps: [{at: 0 s, set: {panel.switch: up, wing.flap: 1}}]\n"
    missing, wing = findings("scenario: s\ncatalogue: none.yaml\nrun_for: 1 s\n" + body)
    assert "there is no catalogue" in missing
    assert "`wing` has no model here" in wing


def test_what_is_wrong_with_the_catalogue_comes_along(findings: Findings, project: Path) -> None:
    path = project / "messages" / "doors.yaml"
    path.write_text(path.read_text().replace("from: panel", "from: panle"))
    catalogue, time, name = findings(HEAD + "steps: [{at: 1 h, set: {a.b: 1}}]\n")
    assert catalogue == "messages/doors.yaml:10:11: there is no node `panle` | did you mean `panel`?"
    assert time.startswith("story.yaml:4:14: `at: 3600 s` is beyond the run, which ends at 12 s")
    assert name.startswith("story.yaml:4:25: `a` has no model here, so nothing of it can be set")


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("", "story.yaml:1:1: the file "),
        ("- scenario\n", "story.yaml:1:1: a scenario is a mapping with `scenario`, `catalogue` and `run_for`"),
        ("catalogue: c\nmessages: {}\n", "story.yaml:1:1: this is a catalogue, not a scenario"),
        ("scenario: {\n", "story.yaml:2:1: not readable as YAML"),
    ],
)
def test_a_file_of_another_kind_is_told_so_once(text: str, expected: str, findings: Findings) -> None:
    (said,) = findings(text)
    assert said.startswith(expected)


def test_a_model_behind_a_link_out_of_the_project_is_refused(findings: Findings, project: Path, tmp_path: Path) -> None:
    (tmp_path / "outside.py").write_text("class Panel: ...\n")
    (project / "sim" / "link.py").symlink_to(tmp_path / "outside.py")
    (said,) = findings(HEAD + "models: {panel: sim/link.py:Panel}\n")
    assert "`sim/link.py` does not lie under the project's root" in said


def test_the_written_shape_gives_a_json_schema() -> None:
    schema = ScenarioWritten.model_json_schema(by_alias=True)
    assert schema["required"] == ["scenario", "catalogue", "run_for"]
    assert schema["properties"]["jitter"]["enum"] == ["random", "none", "worst"]
    assert "set" in schema["$defs"]["StepWritten"]["properties"]
    assert json.loads(json.dumps(schema)) == schema
