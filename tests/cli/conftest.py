"""A copy of the demo to work in, and a tiny project of somebody else's: a gate with a panel and a motor."""

import shutil
from pathlib import Path

import pytest

from tests.cli.projects import Gate
from tests.cli.running import CHECKOUT, Here


@pytest.fixture
def here(capsys: pytest.CaptureFixture[str]) -> Here:
    return Here(capsys)


@pytest.fixture
def demo(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The working folder: a copy of ``messages/`` and ``sim/``."""
    for folder in ("messages", "sim"):
        shutil.copytree(CHECKOUT / folder, tmp_path / "demo" / folder, ignore=shutil.ignore_patterns("__pycache__"))
    monkeypatch.chdir(tmp_path / "demo")
    return tmp_path / "demo"


@pytest.fixture
def gate(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Gate:
    """The working folder: a project of one's own."""
    project = Gate(tmp_path / "gate")
    monkeypatch.chdir(project.root)
    return project
