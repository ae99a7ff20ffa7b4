"""Whatever is done to a scenario's text, reading it ends in a scenario or in findings that have a place."""

import random
from pathlib import Path

import pytest

from busdesign.errors import ScenarioError
from busdesign.findings import Finding
from busdesign.scenario.model import Scenario
from busdesign.scenario.reader import parse_scenario
from tests.scenario.test_reader import FULL

PIECES = [
    "", "null", "~", "true", "[]", "{}", "[1, {a: b}]", "-1", "0x1f", "007", "1e400", "3 s", "-3 s", "5 %", "'q'", '"',
    "}", "{", "a.b", "panel", "panel.silent", "others", "zero", "never", "model", "\n", "  ", "? ", ": ", "&a ", "*a",
    "<<: ", "!t ", "é", "\x00",
]  # fmt: skip


@pytest.mark.parametrize("seed", range(80))
def test_damage_is_reported_never_fatal(seed: int, project: Path) -> None:
    chance = random.Random(seed)
    text = FULL
    for _ in range(chance.randint(1, 4)):
        start = chance.randrange(len(text))
        text = text[:start] + chance.choice(PIECES) + text[start + chance.choice([0, 0, 1, 3, 8, 20]) :]
    read = _read(text, str(project / "sim" / "scenarios" / "damaged.yaml"))
    if not isinstance(read, Scenario):
        assert read
        assert all(found.where is not None and found.text for found in read)


def _read(text: str, file: str) -> Scenario | tuple[Finding, ...]:
    try:
        return parse_scenario(text, file)
    except ScenarioError as refused:
        return refused.findings
