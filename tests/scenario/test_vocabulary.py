"""Names and their kinds: what a catalogue gives, what models add, and what a scenario says wrongly of them."""

from pathlib import Path

import pytest
import yaml

from busdesign.scenario.reader import read_scenario
from busdesign.scenario.vocabulary import Kind, Vocabulary, check_names, vocabulary_of, with_names
from tests.scenario.conftest import Write

UNLIKE = {
    entry["expression"]: entry["says"] for entry in yaml.safe_load((Path(__file__).parent / "unlike.yaml").read_text())
}
HEAD = """\
scenario: a story
catalogue: ../../messages/doors.yaml
run_for: 12 s
models: {panel: sim/panel.py:Panel}
"""
PANEL = {
    "switch": Kind.choice(["open", "shut"]),
    "lamp": Kind.choice(["dark", "green", "red"]),
    "alarm": Kind.boolean(),
    "delay": Kind.number("ms"),
}


def _findings(write: Write, body: str) -> list[str]:
    scenario = read_scenario(write(HEAD + body))
    vocabulary = with_names(vocabulary_of(scenario.catalogue), "panel", PANEL, ["switch", "alarm", "delay"])
    return [
        f"{found.where.line}:{found.where.column}: {found.text} | {found.fix}"
        for found in check_names(scenario, vocabulary)
        if found.where
    ]


def test_a_catalogue_gives_every_signal_and_every_nodes_silence(write: Write) -> None:
    vocabulary = vocabulary_of(read_scenario(write(HEAD)).catalogue)
    assert vocabulary.kinds == {
        "panel.silent": Kind.boolean(),
        "door_left.silent": Kind.boolean(),
        "door_right.silent": Kind.boolean(),
        "door_demand.demand": Kind.choice(["none", "open", "shut"]),
        "door_demand.limit": Kind.number("mm"),
        "door_report_left.state": Kind.choice(["open", "moving", "shut", "stuck fast"]),
        "door_report_left.speed": Kind.number("mm/s", ["not_available"]),
        "door_report_right.state": Kind.choice(["open", "moving", "shut", "stuck fast"]),
        "door_report_right.speed": Kind.number("mm/s", ["not_available"]),
    }
    assert vocabulary.settable == frozenset()


def test_a_models_names_are_added_and_may_not_take_anothers() -> None:
    vocabulary = with_names(Vocabulary({"panel.silent": Kind.boolean()}), "panel", PANEL, ["switch"])
    assert vocabulary.kinds["panel.lamp"] == PANEL["lamp"]
    assert vocabulary.settable == {"panel.switch"}
    with pytest.raises(ValueError, match=r"`panel\.silent` has a meaning already"):
        with_names(vocabulary, "panel", {"silent": Kind.boolean()})
    with pytest.raises(ValueError, match=r"`panel.swich` is to be set .* did you mean `switch`"):
        with_names(Vocabulary({}), "panel", PANEL, ["swich"])


def test_a_scenario_that_speaks_rightly_has_no_findings(write: Write) -> None:
    body = """\
steps: [{at: 1 s, set: {panel.switch: open, panel.alarm: true, panel.delay: 2.5}}]
expect:
  - {name: one, never: "panel.lamp == red and door_report_left.state == 'stuck fast' or panel.alarm == false"}
  - {name: two, always: "door_report_left.speed < 200 or door_report_left.speed == not_available"}
  - {name: three, always: "door_demand.demand != door_report_left.state or panel.lamp != dark"}
  - {name: four, after: true, within: 1 s, then: "not door_left.silent and panel.delay >= 2"}
"""
    assert _findings(write, body) == []


@pytest.mark.parametrize(("expression", "expected"), UNLIKE.items())
def test_what_an_expectation_says_wrongly(expression: str, expected: str, write: Write) -> None:
    assert _findings(write, f'expect: [{{name: one, never: "{expression}"}}]\n') == [f"5:{expected}"]


def test_what_a_step_sets_wrongly(write: Write) -> None:
    body = """\
steps:
  - {at: 1 s, set: {panel.swich: open}}
  - {at: 2 s, set: {panel.lamp: red}}
  - {at: 3 s, set: {panel.switch: opne}}
  - {at: 4 s, set: {panel.delay: 5 ms, panel.alarm: no}}
"""
    assert _findings(write, body) == [
        "6:21: there is no `panel.swich` | did you mean `panel.switch`?",
        "7:21: `panel.lamp` cannot be set, only observed | can be set: `panel.alarm`, `panel.delay`, `panel.switch`",
        "8:35: `panel.switch` is never `opne` | did you mean `open`?",
        "9:34: `panel.delay` is a number in ms, never `5 ms` | give a number in ms, without writing the unit",
        "9:53: `panel.alarm` is true or false, never `no` | allowed: `true`, `false`",
    ]
