"""The page as a whole: well-formed, self-contained, harmless, the same each time."""

import re
import subprocess
import sys
from dataclasses import replace
from pathlib import Path
from types import MappingProxyType

import pytest

from busdesign.answers.check import CheckAnswer
from busdesign.answers.simulate import SimulateAnswer
from busdesign.errors import OutputError
from busdesign.findings import Finding, Place, Severity
from busdesign.report.page import render_report, write_report
from tests.report.gates import checked, project, ran
from tests.report.reading import Page

EVIL = "</script><script>alert(1)</script><img src=x onerror=alert(2)>\"'&<!--"


def test_every_tag_closes_as_it_opened(page: str, gate_check: CheckAnswer) -> None:
    assert page.startswith("<!DOCTYPE html>\n")
    Page(page)
    Page(render_report(gate_check, []))


def test_ids_are_there_once_and_links_lead_to_them(page: str) -> None:
    read = Page(page)
    ids = [attributes["id"] for _, attributes in read.elements if "id" in attributes]
    assert len(ids) == len(set(ids))
    links = read.all("a")
    assert links
    assert all(link["href"].startswith("#") and link["href"][1:] in ids for link in links)


def test_nothing_comes_from_outside(page: str) -> None:
    read = Page(page)
    for tag, attributes in read.elements:
        assert not {"src", "srcset", "poster", "data", "action", "background"} & set(attributes), tag
        assert tag not in {"link", "iframe", "object", "embed", "base"}
    assert "://" not in page
    assert not re.search(r"@import|url\(|fetch\(|XMLHttpRequest|WebSocket|import\(", page)
    (policy,) = (meta["content"] for meta in read.all("meta") if "http-equiv" in meta)
    assert policy.startswith("default-src 'none'; ")
    assert "unsafe" not in policy


def test_the_policy_leaves_no_attribute_that_would_need_more(page: str) -> None:
    for _, attributes in Page(page).elements:
        assert "style" not in attributes
        assert not any(name.startswith("on") for name in attributes)


def test_the_same_answers_make_the_same_page(gates: Path, page: str) -> None:
    assert render_report(checked(gates), [ran(gates)]) == page


def test_a_date_is_shown_only_if_given(page: str, gate_check: CheckAnswer) -> None:
    assert "3 nodes · 4 messages</p>" in page
    assert "3 nodes · 4 messages · 9 May 2031</p>" in render_report(gate_check, [], dated="9 May 2031")


def test_texts_from_files_stay_texts(gate_check: CheckAnswer, gate_run: SimulateAnswer, page: str) -> None:
    place = Place(EVIL, 1, 2, EVIL)
    finding = Finding(EVIL, Severity.BROKEN, place, f"`{EVIL}` {EVIL}", EVIL)
    definition = replace(gate_check.definition, name=EVIL, comment=EVIL)
    check = replace(gate_check, catalogue=EVIL, definition=definition, findings=(finding,), lengths=EVIL)
    expected = tuple(replace(each, name=EVIL, text=EVIL) for each in gate_run.expectations)
    steps = tuple(replace(step, sets=MappingProxyType({EVIL: EVIL})) for step in gate_run.story.steps)
    story = replace(gate_run.story, comment=EVIL, steps=steps)
    run = replace(gate_run, scenario=EVIL, expectations=expected, findings=(finding,), story=story)
    evil = Page(render_report(check, [run]))
    good = Page(page)
    for tag in ("script", "img", "style", "canvas"):
        assert len(evil.all(tag)) == len(good.all(tag))
    assert evil.text.count("<script>alert(1)</script>") > 10
    assert not any("onerror" in attributes for _, attributes in evil.elements)


def test_control_characters_are_spelt_out(gate_check: CheckAnswer) -> None:
    tricky = "left\u202eright\x00\x1b[31m\ud800"
    html = render_report(replace(gate_check, catalogue=tricky), [])
    assert html.encode()
    assert "left\\u202eright\\x00\\x1b[31m\\ud800" in html


def test_a_catalogue_with_markup_in_its_name_from_file_to_page(tmp_path: Path) -> None:
    project(tmp_path, name="'<b>gates</b>'")
    html = render_report(checked(tmp_path), [ran(tmp_path, name="'<script>x</script>'")])
    read = Page(html)
    assert "<b>gates</b>" in read.text
    assert not read.all("b")
    assert len(read.all("script")) == 2


def test_written_whole_or_not_at_all(tmp_path: Path, gate_check: CheckAnswer, gate_run: SimulateAnswer) -> None:
    path = tmp_path / "report.html"
    assert write_report(path, gate_check, [gate_run]) == path
    assert path.read_text(encoding="utf-8") == render_report(gate_check, [gate_run])
    assert [found.name for found in tmp_path.iterdir()] == ["report.html"]
    with pytest.raises(OutputError, match="there is no folder"):
        write_report(tmp_path / "nowhere" / "report.html", gate_check, [])


def test_loading_the_writer_loads_no_heavy_library() -> None:
    code = (
        "import sys, busdesign.report.page\n"
        "print([name for name in ('numpy', 'numba', 'rich', 'cantools', 'can') if name in sys.modules])"
    )
    ran = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert ran.stdout.strip() == "[]"
