"""Ways to run the command: in this process, or in one of its own."""

import json
import os
import re
import subprocess
import sys
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from busdesign.cli.main import main

CHECKOUT = Path(__file__).parents[2]


@dataclass(frozen=True)
class Ran:
    """What a command line came to."""

    status: int
    out: str
    err: str

    @property
    def refusal(self) -> str:
        """Stderr without the next step that it ends with."""
        said, step, command = self.err.partition("\n\nnext:\n")
        assert re.search(r" explain \S+\n\Z", command)
        return said + step[:1]

    @property
    def answer(self) -> Any:
        """Stdout as JSON, as strict readers take it: no NaN, no infinity."""

        def refuse(constant: str) -> None:
            raise AssertionError(f"{constant} is no JSON")

        return json.loads(self.out, parse_constant=refuse)


class Here:
    """Runs command lines in this process."""

    def __init__(self, capsys: pytest.CaptureFixture[str]) -> None:
        self._capsys = capsys

    def __call__(self, *words: object) -> Ran:
        self._capsys.readouterr()
        status = status_of(*words)
        return Ran(status, *self._capsys.readouterr())


def status_of(*words: object) -> int:
    """The exit status of a command line, run in this process."""
    try:
        return main([str(word) for word in words])
    except SystemExit as end:
        return end.code if isinstance(end.code, int) else -1


def environment(**more: str) -> Mapping[str, str]:
    """That of a process which finds this checkout, without anybody's taste in colours."""
    taste = ("NO_COLOR", "FORCE_COLOR", "CLICOLOR", "TERM", "COLUMNS")
    kept = {name: value for name, value in os.environ.items() if name not in taste}
    return {**kept, "PYTHONPATH": str(CHECKOUT), **more}


def apart(words: Sequence[object], cwd: Path | None = None, **more: str) -> Ran:
    """A command line in a process of its own."""
    program = [sys.executable, "-m", "busdesign", *map(str, words)]
    ran = subprocess.run(program, cwd=cwd, env=environment(**more), capture_output=True, text=True, timeout=60)
    return Ran(ran.returncode, ran.stdout, ran.stderr)


def shell(line: str, cwd: Path | None = None, **more: str) -> Ran:
    """A line of bash in which ``busdesign`` is this one; its status is that of the first part of a pipe that fails."""
    words = f'busdesign() {{ "{sys.executable}" -m busdesign "$@"; }}; set -o pipefail; {line}'
    env = environment(**more)
    ran = subprocess.run(["bash", "-c", words], cwd=cwd, env=env, capture_output=True, text=True, timeout=60)
    return Ran(ran.returncode, ran.stdout, ran.stderr)
