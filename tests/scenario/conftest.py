"""A small project on disk: an invented catalogue, two model files, and a scenario to be written into it."""

from collections.abc import Callable
from pathlib import Path

import pytest

from busdesign.errors import ScenarioError
from busdesign.scenario.reader import read_scenario

CATALOGUE = """\
catalogue: invented-doors
bus: {bit_rate: 250 kbit/s}
nodes:
  panel: {clock: 16 MHz, tolerance: 50 ppm}
  door_left: {tolerance: 0.3 %}
  door_right: {tolerance: 0.3 %}
messages:
  door_demand:
    id: 0x110
    from: panel
    every: 50 ms
    lost_after: 200 ms
    signals:
      demand: {bits: 2, codes: {0: none, 1: open, 2: shut}}
      limit: {bits: 8, factor: 0.1, unit: mm}
  door_report:
    for_each: {leg: [left, right], id: [0x210, 0x211], from: [door_left, door_right]}
    every: 20 ms
    lost_after: 90 ms
    bytes: 2
    signals:
      state: {bits: 2, codes: {0: open, 1: moving, 2: shut, 3: stuck fast}}
      speed: {bits: 8, unit: mm/s, range: [0, 250], codes: {255: not_available}}
"""

Write = Callable[[str], Path]
Findings = Callable[[str], list[str]]


def _replaced(line: str, short: dict[str, str]) -> str:
    for written, meant in short.items():
        line = line.replace(written, meant)
    return line


@pytest.fixture
def project(tmp_path: Path) -> Path:
    root = tmp_path / "project"
    for folder in ("messages", "sim/scenarios"):
        (root / folder).mkdir(parents=True)
    (root / "messages" / "doors.yaml").write_text(CATALOGUE)
    (root / "sim" / "panel.py").write_text("class Panel: ...\n")
    (root / "sim" / "door.py").write_text("class Door: ...\n")
    (root / "sim" / "notes.txt").write_text("no model\n")
    return root


@pytest.fixture
def write(project: Path) -> Write:
    """Writes a text as a scenario of the project."""

    def write_text(text: str) -> Path:
        path = project / "sim" / "scenarios" / "story.yaml"
        path.write_text(text)
        return path

    return write_text


@pytest.fixture
def findings(write: Write, project: Path) -> Findings:
    """What is said of a broken scenario: a line `file:line:column: text | fix` for each finding."""

    def findings_of(text: str) -> list[str]:
        with pytest.raises(ScenarioError) as raised:
            read_scenario(write(text))
        lines = [f"{found.where}: {found.text} | {found.fix}" for found in raised.value.findings]
        short = {f"{project.resolve()}/": "", str(project.resolve()): "project", "sim/scenarios/": ""}
        return [_replaced(line, short) for line in lines]

    return findings_of
