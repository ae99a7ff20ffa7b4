"""``busdesign schema``: the schema on stdout and nothing else there, or in a file."""

import json
from pathlib import Path

import pytest

from busdesign.answers.schema import KINDS, schema_text
from tests.cli.running import Here


@pytest.mark.parametrize("kind", KINDS)
def test_it_is_printed(here: Here, kind: str) -> None:
    ran = here("schema", kind)
    assert (ran.status, ran.err, ran.out) == (0, "", schema_text(kind))


@pytest.mark.parametrize("kind", KINDS)
def test_it_is_written(here: Here, tmp_path: Path, kind: str) -> None:
    file = tmp_path / "of.schema.json"
    ran = here("schema", kind, "-o", str(file))
    assert (ran.status, ran.err) == (0, "")
    assert ran.out.startswith(f"written: {file}\n")
    assert ran.out.endswith("  # yaml-language-server: $schema=of.schema.json\n")
    assert json.loads(file.read_text(encoding="utf-8"))["title"] == f"busdesign {kind}"


def test_a_file_that_cannot_be_written(here: Here, tmp_path: Path) -> None:
    ran = here("schema", "scenario", "-o", str(tmp_path / "nowhere" / "x.json"))
    assert (ran.status, ran.out) == (2, "")
    assert "there is no folder" in ran.err


def test_an_unknown_kind(here: Here) -> None:
    ran = here("schema", "scenarios")
    assert (ran.status, ran.out) == (2, "")
    assert "did you mean `scenario`?" in ran.err
