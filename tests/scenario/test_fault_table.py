"""The guide's tables of faults are those of the kinds, and each of their entries can be injected into the demo."""

import re
from pathlib import Path

import pytest

from busdesign.scenario.faults.kinds import KINDS
from busdesign.scenario.faults.table import tables
from busdesign.scenario.reader import parse_scenario

ROOT = Path(__file__).parents[2]
GUIDE = (ROOT / "docs" / "guide.md").read_text()
HEAD = "scenario: a story\ncatalogue: ../../messages/saltmarsh.yaml\nrun_for: 6 s\nfaults:\n"


def test_the_guide_has_the_tables_of_the_kinds() -> None:
    assert tables() in GUIDE, "docs/guide.md has other tables of faults than `scenario.faults.table.tables()`"


@pytest.mark.parametrize("kind", KINDS)
def test_every_key_of_a_kind_is_explained(kind: str) -> None:
    chapter = GUIDE[GUIDE.index("### Faults\n") : GUIDE.index("#### Nodes")]
    keys = [key for key in KINDS[kind].keys if not re.search(rf"^\|[^|]*`{key}`", chapter, re.MULTILINE)]
    assert keys == []


@pytest.mark.parametrize("kind", KINDS)
def test_every_entry_of_the_tables_can_be_injected(kind: str) -> None:
    text = f"{HEAD}  - {KINDS[kind].example}\n"
    (fault,) = parse_scenario(text, str(ROOT / "sim" / "scenarios" / "story.yaml")).faults
    assert fault.kind == kind
