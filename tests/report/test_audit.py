"""The page of an audit: verdict first, every finding, pictures as bins however long the capture, harmless text."""

import json
import re
import subprocess
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from busdesign.answers.audit_answer import AuditAnswer
from busdesign.report.audit import render_audit_report
from busdesign.traffic.frames import Traffic
from tests.answers.captures import ROOT, audited, numbers_of, rows_of, traffic_of
from tests.report.test_in_browser import BROWSER, QUIETLY


@pytest.fixture(scope="module")
def broken(tmp_path_factory: pytest.TempPathFactory) -> AuditAnswer:
    """A capture in which two seconds of the airspeed are missing."""
    rows, air = rows_of(traffic_of()), set(numbers_of(traffic_of(), 0x280))
    kept = [row for at, row in enumerate(rows) if at not in air or not 3e9 < row[0] < 5e9]
    scenario = ROOT / "sim" / "scenarios" / "retract.yaml"
    return audited(Traffic.of_rows(kept), tmp_path_factory.mktemp("audit"), catalogue=None, scenario=scenario)


def data_of(page: str) -> dict[str, object]:
    (text,) = re.findall(r'<script type="application/json" id="data-1">\n(.*?)\n</script>', page, re.DOTALL)
    found: dict[str, object] = json.loads(text)
    return found


def test_verdict_first_then_what_was_found_and_seen(broken: AuditAnswer) -> None:
    page = render_audit_report(broken)
    heads = re.findall(r"<h2>(.*?)</h2>", page)
    assert heads == [
        "Verdict",
        "Expectations of the scenario",
        "Over time",
        "Periods and jitter",
        "Load",
        "Promises from end to end",
        "What this capture cannot show",
        "Cautions",
    ]
    assert "It does not hold: 1 promise of the catalogue is broken in this capture." in page
    assert page.count("<code>gone-silent</code>") == 1
    assert "18 expectations that no capture shows" in page
    for message in broken.messages:
        assert f"<code>{message.name}</code>" in page
    assert "http" not in page.replace("http-equiv", "")


def test_the_same_page_for_the_same_answer(broken: AuditAnswer) -> None:
    assert render_audit_report(broken) == render_audit_report(broken)


def test_text_from_files_is_harmless(broken: AuditAnswer) -> None:
    page = render_audit_report(replace(broken, capture="<b>x</b>.log", notices=("<script>alert(1)</script>",)))
    assert "<b>x" not in page
    assert "<script>alert" not in page


def test_a_long_capture_is_drawn_from_bins(tmp_path: Path) -> None:
    """The good day over and over, for three quarters of an hour."""
    once, turns, apart_ns = traffic_of(), 200, 13_000_000_000
    end_ns = np.concatenate([once.end_ns + turn * apart_ns for turn in range(turns)])
    columns: dict[str, Any] = {
        name: np.tile(getattr(once, name), turns) for name in ("identifier", "flags", "length", "channel", "payload")
    }
    answer = audited(Traffic(end_ns=end_ns, **columns), tmp_path)
    page = render_audit_report(answer)
    assert answer.frames == turns * len(once) > 250_000
    assert len(page) < 2_000_000
    data = data_of(page)
    assert data["end"] == pytest.approx(turns * apart_ns, rel=0.01)
    load = data["load"]
    assert isinstance(load, dict)
    assert load["values"]["count"] <= 16_384


@pytest.mark.slow
@pytest.mark.skipif(not BROWSER, reason="no browser on this machine")
def test_the_script_draws_without_complaint(broken: AuditAnswer, tmp_path: Path) -> None:
    path = tmp_path / "audit.html"
    path.write_text(render_audit_report(broken), encoding="utf-8")
    command = [BROWSER, *QUIETLY, f"--user-data-dir={tmp_path / 'profile'}", "--dump-dom", f"{path.as_uri()}#run-1@3-5"]
    done = subprocess.run(command, capture_output=True, text=True, timeout=60, check=True)
    assert [line for line in done.stderr.splitlines() if "CONSOLE" in line] == []
    assert 'data-ready="yes"' in done.stdout
    assert "3.000 s to 5.000 s (2 s)" in done.stdout
