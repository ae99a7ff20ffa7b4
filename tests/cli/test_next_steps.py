"""What an answer ends with can be copied into a shell, whatever a path looks like."""

import re
import shlex
from pathlib import Path

import pytest

from tests.cli.projects import Gate
from tests.cli.running import Here, Ran


def next_lines(ran: Ran) -> list[list[str]]:
    """The words of each line below ``next:``, without the program."""
    _, _, listed = ran.out.partition("\nnext:\n")
    found = [shlex.split(line) for line in listed.splitlines()]
    assert found
    starts = [1 if Path(words[0]).name == "busdesign" else words.index("busdesign") + 1 for words in found]
    return [words[start:] for words, start in zip(found, starts, strict=True)]


@pytest.mark.parametrize("folder", ["messages", "my messages", "it's $HOME & `co`", '"quoted"', "größe", "-o"])
def test_each_line_runs(gate: Gate, here: Here, folder: str) -> None:
    gate.edit(gate.catalogue, "deadline: 10 ms", "deadline: 10 ms\n    lost_after: 200 ms")  # nothing to advise
    gate.catalogue.parent.rename(gate.root / folder)
    first = here("check", "--", f"{folder}/gate.yaml")
    assert first.status == 0
    lines = next_lines(first)
    stories = ["simulate"] if folder == "messages" else []  # elsewhere no scenario speaks of it
    assert [words[0] for words in lines] == ["compile", *stories, "check"]
    for words in lines:
        assert here(*words).status == 0, words
    (again,) = next_lines(here(*lines[0]))
    assert here(*again).out == first.out


def test_after_a_run(gate: Gate, here: Here) -> None:
    (words,) = next_lines(here("simulate", "sim/scenarios/silence.yaml"))
    ran = here(*words)
    assert ran.status == 0
    assert ran.out.endswith("\n\nwritten: run.log\nwritten: run.html\n")
    assert "\nnext:" not in ran.out
    assert (gate.root / "run.html").read_text(encoding="utf-8").startswith("<!DOCTYPE html>")


def test_the_program_is_called_as_it_can_be_called_here(
    gate: Gate, here: Here, monkeypatch: pytest.MonkeyPatch
) -> None:
    def program() -> str:
        found = re.search(
            r"\nnext:\n(?:  .* explain .*\n)?  (.*) compile messages/gate.yaml -o out\n",
            here("check", "messages/gate.yaml").out,
        )
        assert found
        return found[1]

    monkeypatch.setenv("PATH", str(gate.root))
    monkeypatch.setattr("sys.argv", ["my tools/busdesign", "check"])
    assert program() == "'my tools/busdesign'"
    monkeypatch.setattr("sys.argv", ["somewhere/__main__.py", "check"])
    assert program().endswith(" -m busdesign")
    (gate.root / "busdesign").touch(mode=0o755)
    assert program() == "busdesign"
