"""What ``check`` and ``simulate`` say of end-to-end promises: margins, the costliest stage, what does not hold."""

import json
from pathlib import Path

import pytest

from busdesign.answers.check import CheckAnswer, check
from busdesign.answers.functions import FunctionAnswer, StageAnswer
from busdesign.answers.plain import as_plain
from busdesign.answers.simulate import simulate
from busdesign.answers.starter import CATALOGUE, starter_root
from busdesign.catalogue.reader import parse_catalogue
from busdesign.cli.check import check_text
from busdesign.cli.simulate import simulate_text
from busdesign.errors import CatalogueError
from busdesign.findings import Finding, Severity
from busdesign.report.page import render_report

HEAD = """\
catalogue: tried
bus: {bit_rate: 250 kbit/s}
nodes: {panel: {processing: 20 ms}, left: {processing: 10 ms}, right: {}}
messages:
  order:  {id: 0x100, from: panel, to: [left, right], every: 50 ms, lost_after: 200 ms, bytes: 2}
  report: {id: 0x200, from: left, to: panel, every: 20 ms, lost_after: 100 ms, bytes: 2}
  alarm:  {id: 0x080, from: left, to: panel, irregular: {at_least_apart: 50 ms}, bytes: 1}
functions:
"""


def checked(*functions: str) -> CheckAnswer:
    return check(parse_catalogue(HEAD + "".join(f"  {function}\n" for function in functions)))


def broken(answer: CheckAnswer) -> list[Finding]:
    return [found for found in answer.findings if found.severity is Severity.BROKEN]


def the_only(answer: CheckAnswer) -> FunctionAnswer:
    (function,) = answer.functions
    return function


def test_a_promise_that_holds_has_its_margin_and_its_costliest_stage() -> None:
    answer = checked("act: {path: [panel.switch, order, right.drive], within: 100 ms}")
    function = the_only(answer)
    response_ms = next(message.response_worst_ms for message in answer.messages if message.name == "order")
    assert response_ms is not None
    assert function.bound_ms == pytest.approx(20 + 50 + response_ms)
    assert function.margin == pytest.approx(1 - (70 + response_ms) / 100)
    assert function.costliest == StageAnswer("wait", "order", 50.0)
    assert [(stage.what, stage.of) for stage in function.stages] == [
        ("processing", "panel"),
        ("wait", "order"),
        ("response", "order"),
        ("processing", "right"),
    ]
    assert (function.holds, answer.holds, function.without_processing) == (True, True, ("right",))
    assert broken(answer) == []


def test_what_a_script_gets() -> None:
    plain = json.loads(json.dumps(as_plain(checked("act: {path: [panel.switch, order, right.drive], within: 100 ms}"))))
    (function,) = plain["functions"]
    assert function["path"] == ["panel.switch", "order", "right.drive"]
    assert function["costliest"] == {"what": "wait", "of": "order", "worst_ms": 50.0}
    assert {"name", "within_ms", "bound_ms", "margin", "age_ms", "skew_ms", "stages", "holds"} <= set(function)


BROKEN = [
    (
        "act: {path: [panel.switch, order, left.drive], within: 60 ms}",
        "function-too-slow",
        ["`act` can take 80.", "beyond what it promises, 60 ms"],
        ["waiting for `order` costs most of it, 50 ms", "`within: 80."],
    ),
    (
        "act: {path: [order, left.drive], within: 20 ms, age: 50 ms}",
        "function-too-old",
        ["`act` can act on what is 60.", "promises, 50 ms"],
        ["`age: 60."],
    ),
    (
        "act: {path: [left.fault, alarm, panel.horn], within: 40 ms, age: 1 s}",
        "function-unbounded",
        ["the age of what `act` acts on has no bound: `alarm` is irregular"],
        ["send it periodically"],
    ),
]


@pytest.mark.parametrize(("function", "rule", "texts", "fixes"), BROKEN, ids=[case[1] for case in BROKEN])
def test_a_promise_that_breaks(function: str, rule: str, texts: list[str], fixes: list[str]) -> None:
    answer = checked(function)
    (found,) = broken(answer)
    assert found.rule == rule
    assert all(text in found.text for text in texts), found.text
    assert all(fix in found.fix for fix in fixes), found.fix
    assert not answer.holds
    assert the_only(answer).holds is (None if rule == "function-unbounded" else False)


@pytest.mark.parametrize(("function", "rule"), [case[:2] for case in BROKEN[:2]], ids=[case[1] for case in BROKEN[:2]])
def test_the_time_that_is_proposed_would_do(function: str, rule: str) -> None:
    (found,) = broken(checked(function))
    key, proposed = found.fix.rpartition("state `")[2].rstrip("`").split(": ")
    written = function.partition(f"{key}: ")[2].partition("ms")[0] + "ms"
    assert broken(checked(function.replace(f"{key}: {written}", f"{key}: {proposed}"))) == []


def test_effects_too_far_apart() -> None:
    family = "act: {for_each: {leg: [left, right]}, path: [order, '{leg}.drive'], within: 40 ms, skew: %s}"
    answer = checked(family % "5 ms")
    assert [found.rule for found in broken(answer)] == ["function-apart"] * 2
    assert "the effects of `act_left` and of `act_right` can be 10 ms apart" in broken(answer)[0].text
    assert checked(family % "10 ms").holds


def test_a_way_over_a_message_without_a_bound() -> None:
    text = HEAD.replace("id: 0x100, ", "") + "  act: {path: [panel.switch, order, left.drive], within: 1 s}\n"
    answer = check(parse_catalogue(text))
    assert [found.rule for found in broken(answer)] == ["no-identifier", "function-unbounded"]
    assert (the_only(answer).bound_ms, the_only(answer).holds, the_only(answer).costliest) == (None, None, None)
    assert "`order` has no identifier" in the_only(answer).why_not


def test_a_broken_path_is_told_once_and_has_no_bound() -> None:
    answer = checked("act: {path: [panel.switch, report, panel.lamp], within: 1 s}")
    assert [found.rule for found in broken(answer)] == ["broken-path"]
    assert the_only(answer).holds is None


def test_a_family_of_functions_has_its_members_values_and_words() -> None:
    line = "  act: {for_each: {leg: [left, right], within: [80 ms, 90 ms]}, path: [order, '{leg}.drive']}"
    catalogue = parse_catalogue(f"{HEAD}{line}\n")
    assert [(one.name, one.path, one.within_ns) for one in catalogue.functions] == [
        ("act_left", ("order", "left.drive"), 80_000_000),
        ("act_right", ("order", "right.drive"), 90_000_000),
    ]
    places = [one.place_of("within") for one in catalogue.functions]
    assert [place and place.column for place in places] == [line.index(text) + 1 for text in ("80 ms", "90 ms")]


@pytest.mark.parametrize(
    ("function", "rule", "text"),
    [
        ("act: {for_each: {leg: [left]}, path: [order, '{lag}.drive'], within: 1 s}", "for-each", "`{lag}` stands for"),
        ("act: {for_each: {within: [1 s], leg: [a]}, path: order}", "for-each", "`within` lists 1"),
        ("act: {for_each: {leg: [a], limb: [b]}, path: order, within: 1 s}", "for-each", "no key of a function"),
        ("act: {for_each: {leg: [strut]}, path: ['{leg}.a', order], within: 1 s}", "unknown-node", "no node `strut`"),
        ("act: {path: [order], within: 1}", "wrong-unit", "`1` has no unit"),
        ("act: {path: [order], within: 1 s, agee: 1 s}", "unknown-key", "`agee`"),
        ("act: {path: [order]}", "missing-key", "`within` is missing"),
    ],
)
def test_what_cannot_be_read(function: str, rule: str, text: str) -> None:
    if "`within` lists" in text:
        function = function.replace("leg: [a]", "leg: [a, b]")
    with pytest.raises(CatalogueError) as raised:
        checked(function)
    assert any(found.rule == rule and text in found.text for found in raised.value.findings), raised.value.findings


def test_two_functions_of_one_name() -> None:
    with pytest.raises(CatalogueError) as raised:
        checked(
            "act_left: {path: [order], within: 1 s}", "act: {for_each: {leg: [left]}, path: ['{leg}.a'], within: 1 s}"
        )
    (found,) = raised.value.findings
    assert (found.rule, found.text) == ("name-taken", "the function `act_left` is there already (line 9)")


@pytest.fixture(scope="module")
def demo() -> CheckAnswer:
    return check(starter_root() / CATALOGUE)


def test_the_demo_keeps_its_promises_in_the_worst_case_and_in_a_run(demo: CheckAnswer) -> None:
    ran = simulate(starter_root() / "sim/scenarios/retract.yaml")
    assert [function.holds for function in demo.functions] == [True] * 6
    assert [function.name for function in ran.functions] == [function.name for function in demo.functions]
    for bound, seen in zip(demo.functions, ran.functions, strict=True):
        assert bound.bound_ms == seen.bound_ms
        assert seen.reaction_ms is not None
        assert seen.bound_ms is not None
        assert 0.9 * seen.bound_ms < seen.reaction_ms <= seen.bound_ms
        assert seen.within_bound is True
        assert seen.effects >= 1
    shown, page = check_text(demo) + simulate_text(ran), render_report(demo, [ran])
    for text in ("demand_to_motion_left", "waiting for leg_demand"):
        assert text in shown
        assert text in page
    assert "End-to-end promises" in page
    assert f"{ran.functions[0].reaction_ms:.3f}" in page


def test_clocks_slower_than_declared_exceed_the_bound_and_it_is_said(tmp_path: Path) -> None:
    (tmp_path / "slow.yaml").write_text(
        "scenario: slow\ncatalogue: tried.yaml\nrun_for: 2 s\ndrift: {panel: -9 %}\npayload: zero\n"
    )
    (tmp_path / "tried.yaml").write_text(HEAD + "  act: {path: [panel.switch, order, left.drive], within: 84 ms}\n")
    answer = simulate(tmp_path / "slow.yaml")
    (seen,) = answer.functions
    assert seen.within_bound is False
    assert [found.rule for found in answer.findings] == ["bound-exceeded", "function-too-slow"]
    assert answer.findings[0].text.startswith("`act` took 85.")
    assert "`drift`" in answer.findings[0].fix
    assert not answer.holds
