"""The guide's example of the bit-level referee runs, and prints what stands there."""

import re
from pathlib import Path
from textwrap import dedent

import pytest

GUIDE = (Path(__file__).parents[2] / "docs" / "guide.md").read_text(encoding="utf-8")


def test_the_example_prints_what_the_guide_says(capsys: pytest.CaptureFixture[str]) -> None:
    section = GUIDE.split("### Bit by bit\n")[1].split("\n## ")[0]
    code = re.search(r"\n\n((?:    .*\n|\n)+)prints `([^`]*)`", section)
    assert code
    exec(dedent(code[1]), {})
    assert capsys.readouterr().out.strip() == code[2]
