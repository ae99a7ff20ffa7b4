"""The README cannot drift: its commands run, its YAML is read, its Python runs, its two lines to copy are there."""

import re
import runpy
import shlex
import shutil
import subprocess
from pathlib import Path

import pytest

from busdesign.answers.check import check
from busdesign.catalogue.draft import CatalogueWritten
from busdesign.catalogue.reader import parse_catalogue
from busdesign.cli.main import COMMANDS
from tests.cli.running import CHECKOUT, Here, apart

README = (CHECKOUT / "README.md").read_text(encoding="utf-8")


def blocks(language: str) -> list[str]:
    """The fenced blocks in that language."""
    return re.findall(rf"^```{language}\n(.*?)^```$", README, re.MULTILINE | re.DOTALL)


SHELL_LINES = [line for block in blocks("sh") for line in block.splitlines() if line and not line.startswith("#")]
COMMAND_LINES = [line for line in SHELL_LINES if line.startswith("busdesign ")]


@pytest.fixture
def copy(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The working folder: what a checkout holds beside the program."""
    for folder in ("messages", "sim"):
        shutil.copytree(CHECKOUT / folder, tmp_path / folder, ignore=shutil.ignore_patterns("__pycache__"))
    monkeypatch.chdir(tmp_path)
    return tmp_path


def test_every_command_line_runs_in_its_order(copy: Path, capsys: pytest.CaptureFixture[str]) -> None:
    here = Here(capsys)
    assert len(COMMAND_LINES) >= 4
    for line in COMMAND_LINES:
        ran = here(*shlex.split(line)[1:])
        assert (ran.status, ran.err) == (0, ""), line
    assert sorted(path.name for path in (copy / "out").iterdir()) == [
        "replayed.log",
        "retract.html",
        "retract.log",
        "saltmarsh-undercarriage.dbc",
    ]


def test_every_other_shell_line_is_one_of_the_two_to_copy() -> None:
    others = [line for line in SHELL_LINES if line not in COMMAND_LINES]
    assert len(others) == 2
    start, test = others
    assert start.startswith("python3 -m venv .venv && ")
    assert start.endswith(" && .venv/bin/busdesign demo")
    assert test.startswith("python3 -m venv .venv && ")
    assert test.endswith(" && .venv/bin/pytest -n auto")
    for line in others:
        assert README.count(line) == 1
        assert subprocess.run(["bash", "-n", "-c", line], check=False).returncode == 0


def test_the_script_of_the_server_takes_the_test_line_from_here() -> None:
    script = (CHECKOUT / ".ci" / "run").read_text(encoding="utf-8")
    pattern = re.search(r"grep -E '(.*?)' README.md", script)
    assert pattern
    found = [line for line in README.splitlines() if re.search(pattern[1], line)]
    assert found == [line for line in SHELL_LINES if "pytest" in line]
    assert subprocess.run(["bash", "-n", CHECKOUT / ".ci" / "run"], check=False).returncode == 0


def test_every_command_is_in_the_table() -> None:
    rows = re.findall(r"^\| `(\w+)[^`]*` \|", README, re.MULTILINE)
    assert sorted(rows) == sorted(command.__name__.rpartition(".")[2] for command in COMMANDS)


def yaml_block(start: str) -> str:
    (found,) = (block for block in blocks("yaml") if block.startswith(start))
    return found


def test_the_catalogue_holds() -> None:
    answer = check(parse_catalogue(yaml_block("catalogue:")))
    assert answer.holds
    assert answer.findings == ()
    assert {key for key in CatalogueWritten.model_fields if f"\n{key}:" in yaml_block("catalogue:")} >= {"bus", "nodes"}


def python_block(start: str) -> str:
    (found,) = (block for block in blocks("python") if block.startswith(start))
    return found


def test_the_project_holds_as_given(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Catalogue, scenario and model, saved under the names that the text gives them."""
    files = {
        "messages/two-boards.yaml": yaml_block("catalogue:"),
        "sim/scenarios/silent.yaml": yaml_block("scenario:"),
        "sim/panel.py": python_block("from busdesign"),
    }
    for name, text in files.items():
        assert f"`{name}`" in README
        (tmp_path / name).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / name).write_text(text)
    monkeypatch.chdir(tmp_path)
    ran = Here(capsys)("simulate", "sim/scenarios/silent.yaml", "--json")
    assert [(found["name"], found["text"]) for found in ran.answer["expectations"] if not found["holds"]] == []
    assert ran.status == 0


def test_the_python_runs(copy: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (copy / "example.py").write_text(python_block("import busdesign"))
    runpy.run_path("example.py")
    checked, simulated = capsys.readouterr().out.splitlines()
    assert re.fullmatch(r"True 0\.0\d+", checked)
    frames, worst_ms = simulated.split()
    assert int(frames) > 1000
    assert 0 < float(worst_ms) < 100


def test_python_dash_m_is_the_same_command() -> None:
    ran = apart(["frame", "0x110", "--data", "0200", "--json"])
    assert (ran.status, ran.answer["length_bits"]) == (0, 66)
