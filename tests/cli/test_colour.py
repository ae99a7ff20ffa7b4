"""Colour follows the terminal and ``NO_COLOR``; a bar appears on stderr only, and only for work that takes long."""

import io
import os
import pty
import re
import sys
from collections.abc import Iterator
from contextlib import redirect_stderr, redirect_stdout, suppress
from queue import Queue
from threading import Thread

import pytest

from busdesign.cli import progress
from tests.cli.projects import Gate
from tests.cli.running import status_of

ESCAPE = re.compile(r"\x1b\[[0-9;?]*[A-Za-z]")
TASTE = ("NO_COLOR", "FORCE_COLOR", "TERM", "COLORTERM", "COLUMNS")


class Terminal:
    """A pseudo-terminal; ``stream`` is its user's end."""

    def __init__(self) -> None:
        self._reader, writer = pty.openpty()
        self.stream = io.TextIOWrapper(io.FileIO(writer, "w"), encoding="utf-8", write_through=True)
        self._taken: Queue[bytes] = Queue()
        # What nobody reads would fill the terminal, and then whoever writes would wait for ever.
        Thread(target=self._take, daemon=True).start()

    def _take(self) -> None:
        with suppress(OSError):  # its other end was closed
            while part := os.read(self._reader, 65_536):
                self._taken.put(part)

    def run(self, *words: object) -> int:
        """A command line whose stdout and stderr are this terminal; its status."""
        with redirect_stdout(self.stream), redirect_stderr(self.stream):
            return status_of(*words)

    def shown(self) -> str:
        """What has been written since the last time."""
        self.stream.write("\0")  # since a read at the end would wait for more
        taken = b""
        while not taken.endswith(b"\0"):
            taken += self._taken.get(timeout=20)
        return taken[:-1].decode().replace("\r\n", "\n")

    def close(self) -> None:
        self.stream.close()
        os.close(self._reader)


@pytest.fixture
def terminal(monkeypatch: pytest.MonkeyPatch) -> Iterator[Terminal]:
    for name in TASTE:
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setenv("TERM", "xterm-256color")
    made = Terminal()
    yield made
    made.close()


def test_an_answer_has_colour_on_a_terminal_and_says_the_same_without(
    terminal: Terminal, gate: Gate, monkeypatch: pytest.MonkeyPatch
) -> None:
    gate.edit(gate.catalogue, "deadline: 10 ms", "deadline: 300 us")
    assert terminal.run("check", "messages/gate.yaml") == 1
    coloured = terminal.shown()
    assert "\x1b[1;31mbroken\x1b[0m: 1 of 3 messages" in coloured
    assert "\x1b[1;31m^\x1b[0m\n" in coloured
    for name, value in {"NO_COLOR": "1", "TERM": "dumb"}.items():
        with monkeypatch.context() as patched:
            patched.setenv(name, value)
            assert terminal.run("check", "messages/gate.yaml") == 1
            assert terminal.shown() == ESCAPE.sub("", coloured)
    monkeypatch.setenv("NO_COLOR", "")  # empty is as good as absent: no-color.org
    terminal.run("check", "messages/gate.yaml")
    assert terminal.shown() == coloured


def test_json_never_has_colour(terminal: Terminal, gate: Gate) -> None:
    assert terminal.run("check", "messages/gate.yaml", "--json") == 0
    assert "\x1b" not in terminal.shown()


def test_help_has_colour_on_a_terminal_and_says_the_same_without(
    terminal: Terminal, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", "100")
    assert terminal.run("simulate", "--help") == 0
    coloured = terminal.shown()
    assert "\x1b[" in coloured
    monkeypatch.setenv("NO_COLOR", "1")
    assert terminal.run("simulate", "--help") == 0
    plain = terminal.shown()
    assert "\x1b" not in plain
    assert ESCAPE.sub("", coloured).lower().split() == plain.lower().split()


def test_no_colour_where_there_is_no_terminal(gate: Gate, capsys: pytest.CaptureFixture[str]) -> None:
    gate.edit(gate.catalogue, "deadline: 10 ms", "deadline: 300 us")
    assert status_of("check", "messages/gate.yaml") == 1
    assert status_of("check", "--help") == 0
    assert status_of("check", "messages") == 2
    assert "\x1b" not in "".join(capsys.readouterr())


class Clock:
    """``time.monotonic`` that stands still until told."""

    now_s = 0.0

    def monotonic(self) -> float:
        return self.now_s


@pytest.fixture
def clock(monkeypatch: pytest.MonkeyPatch) -> Clock:
    made = Clock()
    monkeypatch.setattr(progress, "time", made)
    return made


def test_a_bar_after_two_seconds_on_stderr_and_gone_at_the_end(
    terminal: Terminal, clock: Clock, capsys: pytest.CaptureFixture[str]
) -> None:
    with redirect_stderr(terminal.stream), progress.progress_bar("simulating") as show:
        show(0.0)
        clock.now_s = 1.9
        show(0.5)
        assert terminal.shown() == ""
        clock.now_s = 2.1
        show(0.6)
        show(0.75)
    bar = terminal.shown()
    assert "simulating" in bar
    assert "75%" in bar
    assert bar.endswith("\x1b[2K")  # the line is cleared
    assert capsys.readouterr() == ("", "")


def test_no_bar_where_stderr_is_no_terminal(clock: Clock, capsys: pytest.CaptureFixture[str]) -> None:
    with progress.progress_bar("simulating") as show:
        clock.now_s = 60
        show(0.5)
    assert capsys.readouterr() == ("", "")


def test_a_run_shows_its_bar_and_its_answer_is_whole(
    terminal: Terminal, gate: Gate, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(progress, "PATIENCE_S", 0.0)
    gate.edit(gate.panel, "        self.look()\n", '        print("hello from the panel")\n        self.look()\n')
    stdout = io.StringIO()
    with redirect_stdout(stdout), redirect_stderr(terminal.stream):
        assert status_of("simulate", "sim/scenarios/silence.yaml") == 0
        assert sys.stdout is stdout
    answer = stdout.getvalue()
    assert answer.startswith("the motor falls silent: 1 s on gate, seed 1\n")
    assert "hello" not in answer
    shown = terminal.shown()
    assert "simulating the motor falls silent" in shown
    assert "hello from the panel" in shown
