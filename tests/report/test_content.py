"""What a colleague must find on the page."""

import re
from dataclasses import replace
from pathlib import Path

import pytest

from busdesign.answers.check import CheckAnswer
from busdesign.answers.simulate import SimulateAnswer
from busdesign.report.cautions import CAUTIONS
from busdesign.report.page import render_report
from busdesign.report.verdict import sentence
from tests.report.gates import checked, project, ran
from tests.report.reading import Page

HOLDING = """\
scenario: {name}
catalogue: ../../messages/gates.yaml
run_for: {run_for}
expect:
  - {{name: nobody falls silent, never: "gate_east.silent or gate_west.silent"}}
"""


@pytest.fixture(scope="module")
def fast(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The same project on a bus that is fast enough for all."""
    root = tmp_path_factory.mktemp("fast")
    project(root, bit_rate="250 kbit/s")
    return root


def test_title_and_verdict_come_first(page: str) -> None:
    text = Page(page).text
    assert "invented-gates revision 3 · 50 kbit/s · 3 nodes · 4 messages" in text
    assert "Two gates that do not exist. All figures are invented." in text
    headings = re.findall(r"<h2>(.*?)</h2>", page)
    assert headings == [
        "Verdict",
        "Load",
        "Response times against deadlines",
        "Bit timing and wires",
        "Scenario: a gate opens",
        "What is modelled, and what is not",
        "Cautions",
    ]


def test_what_is_broken_stands_below_the_verdict_with_its_place(page: str, gate_check: CheckAnswer) -> None:
    read = Page(page)
    assert not gate_check.holds
    assert read.all("p", class_="verdict")[0]["class"] == "verdict broken"
    head = read.text[: read.text.index("The messages ask for")]
    assert (
        "It does not hold: 1 promise of the catalogue is broken, and the one scenario did not go as expected." in head
    )
    (late,) = [found for found in gate_check.findings if found.rule == "deadline-missed"]
    assert late.where is not None
    assert str(late.where) in head
    assert re.search(r"messages/gates\.yaml:\d+:\d+", head)
    assert late.text.replace("`", "") in head
    assert f"To mend it: {late.fix.replace('`', '')}" in head


def test_every_message_is_in_the_tables_and_the_pictures(page: str, gate_check: CheckAnswer) -> None:
    text = Page(page).text
    titles = re.findall(r"<title>(.*?)</title>", page)
    for message in gate_check.messages:
        assert f"<code>{message.name}</code>" in page
        assert any(title.startswith(f"{message.name}: bound ") for title in titles)
        assert f"{message.response_worst_ms:.3f}" in text
    assert "0x18FF0001" in text


def test_every_expectation_with_what_became_of_it(page: str, gate_run: SimulateAnswer) -> None:
    read = Page(page)
    outcomes = {expected.name: expected for expected in gate_run.expectations}
    assert [expected.holds for expected in outcomes.values()] == [True, False, None, True]
    for expected in outcomes.values():
        assert expected.name in read.text
        assert expected.text.replace("`", "") in read.text
    table = page[page.index("What was expected") : page.index("Over time")]
    assert re.findall(r'<span class="(\w+)">(.*?)</span>', table) == [
        ("holds", "\u2713 holds"),
        ("broken", "\u2717 broken"),
        ("open", "\u25cb never exercised"),
        ("holds", "\u2713 holds"),
    ]
    broken_at = outcomes["the east gate is never silent"].at_s
    assert broken_at is not None
    assert f'data-at="{round(broken_at * 1e9)}"' in table


def test_what_was_not_met_is_told_at_the_top(page: str) -> None:
    top = page[: page.index('id="load"')]
    assert "the east gate is never silent" in top
    assert "the desk is never missed" in top
    assert "the order arrives" not in top


def test_loads_and_their_busiest_time(page: str, gate_check: CheckAnswer, gate_run: SimulateAnswer) -> None:
    text = Page(page).text
    section = text[text.index("The messages ask for") : text.index("Response times against")]
    for share in (gate_check.bus.load_nominal, gate_check.bus.load_worst):
        assert f"{share * 100:.1f} %" in section
    for share in (gate_run.load_mean, gate_run.load_busiest_100ms):
        assert f"{share * 100:.1f} %" in section
    assert f"{gate_run.load_busiest_at_s:.3f} s" in section


def test_steps_faults_and_names_are_there_as_text(page: str) -> None:
    text = Page(page).text
    for said in ("desk.switch = open", "gate_east silent", "gate_west silent", "0.4 s to 0.6 s", "0.9 s to 1 s"):
        assert said in text
    assert "The same all through: desk.never_changes = false, desk.silent = false." in text
    assert "stay 0 s, open 0.1 s" in text
    assert "0 to 90 deg" in text


def test_scope_and_cautions_in_full(page: str) -> None:
    text = Page(page).text
    assert "arbitration by priority, one frame after the other" in text
    assert "errors that the scenario does not name" in text
    for caution in CAUTIONS:
        assert caution in text
    for word in ("design aid", "not certified", "airworthiness", "people", "tools", "jacks", "mergency extension"):
        assert word in " ".join(CAUTIONS)
    for word in ("codes", "authority", "licensed"):
        assert word in " ".join(CAUTIONS)
    assert "not stated" not in text
    end = text[text.index("Cautions") :]
    assert "Two gates that do not exist. All figures are invented." in end


def test_a_page_on_which_all_holds(fast: Path) -> None:
    run = ran(fast, text=HOLDING)
    read = Page(render_report(checked(fast), [run]))
    assert "It holds: the catalogue keeps all its promises in the worst case, and the one scenario went as" in read.text
    assert {found["class"] for found in read.all("p", class_="verdict")} == {"verdict holds"}
    assert not read.all("span", class_="broken")
    assert "Broken promises" not in read.text


def test_without_runs_there_is_still_a_verdict(gate_check: CheckAnswer) -> None:
    read = Page(render_report(gate_check, []))
    assert "It does not hold: 1 promise of the catalogue is broken. No scenario was run." in read.text
    assert not read.all("canvas")


def test_the_verdict_in_words(fast: Path, gate_check: CheckAnswer, gate_run: SimulateAnswer) -> None:
    good, run = checked(fast), ran(fast, text=HOLDING)
    assert sentence(good, []).startswith("It holds: ")
    assert "all 3 scenarios went as expected" in sentence(good, [run] * 3)
    assert "in the worst case, but 1 of 2 scenarios did not go as" in sentence(good, [run, gate_run])
    assert "in the worst case, but all 2 scenarios did not go as" in sentence(good, [gate_run] * 2)
    assert "is broken; the one scenario went as expected" in sentence(gate_check, [run])
    two = replace(gate_check, findings=tuple(replace(found, rule="twice") for found in gate_check.findings) * 2)
    assert "2 promises of the catalogue are broken" in sentence(two, [])


def test_a_run_without_expectations_says_so(fast: Path) -> None:
    run = ran(fast, text=HOLDING[: HOLDING.index("expect:")])
    text = Page(render_report(checked(fast), [run])).text
    assert "Nothing was expected of this run, and no frame exceeded its bound." in text
    assert "What was expected" not in text
