"""``busdesign demo``: all doors at once, and where the report lies."""

import json
import re
import webbrowser
from pathlib import Path

import pytest

from busdesign.answers.starter import demo_scenarios, starter_root
from busdesign.scenario.reader import read_scenario
from tests.cli.running import Here


def test_the_whole_job(tmp_path: Path, here: Here, monkeypatch: pytest.MonkeyPatch) -> None:
    opened: list[str] = []

    def open_it(address: str) -> bool:
        opened.append(address)
        return False

    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(webbrowser, "open", open_it)
    ran = here("demo", "-o", "my demo", "--open")
    assert ran.status == 0, ran.err
    assert "\nholds: 12 messages, each within its deadline in the worst case, on an error-free bus\n" in ran.out
    assert re.findall(r"^holds   .*: (\d+) frames, (\d+) of \2 expectations held$", ran.out, re.MULTILINE)
    assert "The Saltmarsh does not exist; all its figures are invented." in ran.out
    report = re.search(r"^report:   (.*)$", ran.out, re.MULTILINE)
    assert report
    assert Path(report[1]) == tmp_path / "my demo" / "report.html"
    assert Path(report[1]).read_text(encoding="utf-8").startswith("<!DOCTYPE html>")
    assert opened == [Path(report[1]).as_uri()]
    assert ran.err == "no browser could be opened here\n"
    scenarios = demo_scenarios(starter_root())
    written = {path.name for path in (tmp_path / "my demo").iterdir()}
    assert written == {"report.html", "saltmarsh-undercarriage.dbc", *(f"{file.stem}.log" for file in scenarios)}
    for file in scenarios:
        assert (tmp_path / "my demo" / f"{file.stem}.log").read_text().count("\n") > 100
        assert f"\nholds   {read_scenario(file).name}: " in ran.out


def test_all_of_it_as_one_json_document(tmp_path: Path, here: Here, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    ran = here("demo", "--json")
    assert ran.status == 0, ran.err
    told = json.loads(ran.out)
    assert told["holds"] is told["check"]["holds"] is True
    assert [run["scenario"] for run in told["runs"]] == [
        read_scenario(file).name for file in demo_scenarios(starter_root())
    ]
    assert all(run["frames"] > 100 and run["holds"] for run in told["runs"])
    assert Path(told["report"]).is_file()
    assert Path(told["compile"]["files"][0]).is_file()


def test_a_folder_that_cannot_be_written_keeps_the_shape(tmp_path: Path, here: Here) -> None:
    (tmp_path / "taken").write_text("a file")
    ran = here("demo", "--json", "-o", str(tmp_path / "taken"))
    assert ran.status == 2
    told = json.loads(ran.out)
    assert told["holds"] is False
    assert told["findings"]
    assert told["runs"] == []
