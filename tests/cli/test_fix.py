"""``check --fix``: the difference is shown, and the file written only when that was agreed to; nothing else changes."""

import codecs
import os
import pty
import re
import select
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from busdesign.answers import fix as door
from busdesign.errors import CatalogueError, OutputError
from tests.cli.projects import Gate
from tests.cli.running import Here, environment

FILE = "messages/gate.yaml"
MISTAKES = [
    ("deadline: 10 ms", "daedline: 10 ms   # soon"),
    ("{bits: 4}", "{bits: '4'}"),
    ("from: motor", "from: mtoor"),
]
MENDED = [("daedline", "deadline"), ("'4'", "4"), ("mtoor", "motor")]


@pytest.fixture
def wrong(gate: Gate) -> Gate:
    """A catalogue with three mistakes, a comment, line ends of another system, a byte order mark and an odd layout."""
    gate.edit(gate.catalogue, "every: 50 ms\n    deadline", "every:    50 ms\n    deadline")
    for good, bad in MISTAKES:
        gate.edit(gate.catalogue, good, bad)
    text = gate.catalogue.read_text(encoding="utf-8").replace("\n", "\r\n").removesuffix("\r\n") + "   # größer"
    gate.catalogue.write_bytes(codecs.BOM_UTF8 + text.encode())
    gate.catalogue.chmod(0o640)
    return gate


def as_mended(before: bytes) -> bytes:
    for bad, good in MENDED:
        assert before.count(bad.encode()) == 1
        before = before.replace(bad.encode(), good.encode())
    return before


def test_without_a_terminal_it_only_shows(wrong: Gate, here: Here) -> None:
    before = wrong.files()
    ran = here("check", FILE, "--fix")
    assert ran.status == 2
    assert wrong.files() == before
    lines = ran.out.splitlines()
    assert lines[:2] == [f"--- {FILE}", f"+++ {FILE} (mended)"]
    assert [line for line in lines[2:] if line[:1] == "-"] == [
        "-    daedline: 10 ms   # soon",
        "-      level: {bits: '4'}",
        "-    from: mtoor",
    ]
    assert [line for line in lines[2:] if line[:1] == "+"] == [
        "+    deadline: 10 ms   # soon",
        "+      level: {bits: 4}",
        "+    from: motor",
    ]
    assert f"{FILE}:14:5: `daedline` becomes `deadline` (unknown-key)\n" in ran.err
    command = re.search(r"^nothing was written; this applies it: .*busdesign (check .*)$", ran.err, re.MULTILINE)
    assert command
    assert "unknown key `daedline` (unknown-key)" in ran.err  # and then the answer of a check
    assert here(*command[1].split()).status == 0


def test_applied_without_asking(wrong: Gate, here: Here) -> None:
    before, others = wrong.catalogue.read_bytes(), wrong.files()
    ran = here("check", FILE, "--fix", "--yes")
    assert ran.status == 0
    assert wrong.catalogue.read_bytes() == as_mended(before)
    assert wrong.catalogue.stat().st_mode & 0o7777 == 0o640
    assert wrong.files() == {**others, FILE: as_mended(before)}
    assert f"written: {FILE}\n" in ran.err
    assert ran.out.index("+    deadline") < ran.out.index("holds: 3 messages")
    again = here("check", FILE, "--fix", "--yes")
    assert (again.status, again.err) == (0, "nothing here can be mended without a doubt\n\n")
    assert again.out == here("check", FILE).out
    assert wrong.catalogue.read_bytes() == as_mended(before)


def test_the_status_is_that_of_the_result(wrong: Gate, here: Here) -> None:
    text = wrong.catalogue.read_bytes()
    wrong.catalogue.write_bytes(text.replace(b"daedline: 10 ms", b"daedline: 300 us"))
    assert here("check", FILE, "--fix", "--yes").status == 1
    wrong.catalogue.write_bytes(text.replace(b"id: 0x120", b"id: 0x820"))
    ran = here("check", FILE, "--fix", "--yes")
    assert ran.status == 2
    assert "identifier 0x820 has 12 bits" in ran.err
    assert b"0x820" in wrong.catalogue.read_bytes()
    assert b"deadline: 10 ms" in wrong.catalogue.read_bytes()


def test_what_is_not_applied_is_said(gate: Gate, here: Here) -> None:
    gate.edit(gate.catalogue, "level: {bits: 4}", "level: {bits: 1, codes: odrer}")
    before = gate.files()
    ran = here("check", FILE, "--fix", "--yes")
    assert (ran.status, ran.out) == (2, "")
    assert "not applied: `odrer` becomes `order` (unknown-codes): then code 2 (`down`) is outside `level`" in ran.err
    assert gate.files() == before


def test_json_asks_nothing(wrong: Gate, here: Here) -> None:
    before = wrong.catalogue.read_bytes()
    shown = here("check", FILE, "--fix", "--json")
    assert shown.status == 2
    assert wrong.catalogue.read_bytes() == before
    assert set(here("check", FILE, "--json").answer) == set(shown.answer) - {"fixes"}
    assert set(shown.answer["findings"][0]) == {"rule", "severity", "where", "text", "fix"}
    first = next(one for one in shown.answer["fixes"] if one["rule"] == "unknown-key")
    assert first == {
        "rule": "unknown-key",
        "where": {"file": FILE, "line": 14, "column": 5},
        "text": "unknown key `daedline`",
        "edit": {"file": FILE, "line": 14, "column": 5, "old": "daedline", "new": "deadline"},
        "why_not": "",
        "applied": False,
    }
    written = here("check", FILE, "--fix", "--json", "--yes")
    assert (written.status, written.err) == (0, "")
    assert wrong.catalogue.read_bytes() == as_mended(before)
    assert written.answer["holds"] is True
    assert written.answer["fixes"] == [{**one, "applied": True} for one in shown.answer["fixes"]]
    assert here("check", FILE, "--fix", "--json").answer["fixes"] == []


@pytest.mark.parametrize("words", [["--fix", "--json"], ["--fix", "--json", "--yes"]])
def test_json_keeps_its_shape_where_there_is_no_file(gate: Gate, here: Here, words: list[str]) -> None:
    ran = here("check", "messages/gat.yaml", *words)
    assert ran.status == 2
    assert (ran.answer["fixes"], ran.answer["holds"]) == ([], False)
    assert [found["rule"] for found in ran.answer["findings"]] == ["file-missing"]


def test_a_read_only_file_is_refused(wrong: Gate, here: Here) -> None:
    wrong.catalogue.chmod(0o440)
    before = wrong.files()
    ran = here("check", FILE, "--fix", "--yes")
    assert ran.status == 2
    assert f"cannot mend `{FILE}`: it is read-only (cannot-write)" in ran.err
    assert wrong.files() == before
    assert here("check", FILE, "--fix", "--yes", "--json").answer["fixes"][0]["applied"] is False


def test_a_file_that_was_changed_meanwhile_is_refused(wrong: Gate) -> None:
    found = door.fix(wrong.catalogue)
    assert len(found.applicable) == 3
    wrong.catalogue.write_bytes(wrong.catalogue.read_bytes() + b"\r\n# one more thought\r\n")
    before = wrong.files()
    with pytest.raises(OutputError, match="it was changed in the meantime"):
        door.write_fixed(found)
    assert wrong.files() == before
    wrong.catalogue.unlink()
    with pytest.raises(OutputError, match="it is no file on a disk"):
        door.write_fixed(found)
    with pytest.raises(CatalogueError, match="no such file"):
        door.fix(wrong.catalogue)


def test_a_link_stays_one(wrong: Gate, here: Here) -> None:
    before = wrong.catalogue.read_bytes()
    link = wrong.root / "link.yaml"
    link.symlink_to(FILE)
    assert here("check", "link.yaml", "--fix", "--yes").status == 0
    assert link.is_symlink()
    assert wrong.catalogue.read_bytes() == as_mended(before)


def test_a_check_says_that_some_can_be_mended(wrong: Gate, here: Here) -> None:
    assert re.search(rf"^  .*busdesign check {FILE} --fix$", here("check", FILE).err, re.MULTILINE)
    assert "--fix" not in here("check", FILE, "--fix", "--yes").err
    wrong.catalogue.write_bytes(wrong.catalogue.read_bytes().replace(b"id: 0x120", b"id: 0x820"))
    assert "--fix" not in here("check", FILE).err


def test_yes_to_nothing(gate: Gate, here: Here) -> None:
    ran = here("check", FILE, "--yes")
    assert (ran.status, ran.out) == (2, "")
    assert "--yes answers a question that only --fix asks" in ran.err


class Terminal:
    """A command line at a terminal of its own, with a person who waits for the question."""

    def __init__(self, folder: Path, *words: str) -> None:
        self._own, theirs = pty.openpty()
        self.process = subprocess.Popen(
            [sys.executable, "-c", PROGRAM, *words],
            cwd=folder,
            env=environment(TERM="xterm"),
            stdin=theirs,
            stdout=theirs,
            stderr=theirs,
        )
        os.close(theirs)
        self.seen = ""

    def read_until(self, text: str) -> None:
        """Read on until ``text`` was shown, or to the end where it is ""."""
        deadline_s = time.monotonic() + 60
        while not text or text not in self.seen:
            assert time.monotonic() < deadline_s, self.seen
            if not select.select([self._own], [], [], 1)[0]:
                continue
            try:
                part = os.read(self._own, 65_536)
            except OSError:  # its other end was closed
                part = b""
            if not part:
                assert not text, self.seen
                return
            self.seen += part.decode()

    def answer(self, typed: str) -> int:
        """The status after ``typed`` (and the return key) was given to the question."""
        self.read_until("apply? [y/N] ")
        os.write(self._own, typed.encode())
        self.read_until("")
        return self.process.wait(timeout=60)

    def interrupt(self) -> int:
        """The status after Ctrl-C at the question."""
        self.read_until("apply? [y/N] ")
        self.process.send_signal(signal.SIGINT)
        self.read_until("")
        return self.process.wait(timeout=60)

    def close(self) -> None:
        if self.process.poll() is None:
            self.process.kill()
            self.process.wait()
        os.close(self._own)


# A process started in the background may have been told to ignore the signal, which Python then does too.
PROGRAM = """\
import signal, sys
signal.signal(signal.SIGINT, signal.default_int_handler)
from busdesign.cli.main import run
sys.argv = ["busdesign", *sys.argv[1:]]
run()
"""


@pytest.mark.parametrize(("typed", "status"), [("y\n", 0), ("YES\n", 0), ("\n", 2), ("\x04", 2)])
def test_the_question(wrong: Gate, typed: str, status: int) -> None:
    before = wrong.files()
    terminal = Terminal(wrong.root, "check", FILE, "--fix")
    try:
        assert terminal.answer(typed) == status
    finally:
        terminal.close()
    is_written = status == 0
    assert wrong.files() == {**before, FILE: as_mended(before[FILE]) if is_written else before[FILE]}
    assert "\x1b[31m-    from: mtoor\x1b[0m" in terminal.seen
    assert "\x1b[32m+    from: motor\x1b[0m" in terminal.seen
    shown, _, after = terminal.seen.partition("apply? [y/N] ")
    assert "from: motor" in shown
    assert ("written: " if is_written else "nothing was written") in after


def test_ctrl_c_at_the_question_leaves_the_file(wrong: Gate) -> None:
    before = wrong.files()
    terminal = Terminal(wrong.root, "check", FILE, "--fix")
    try:
        assert terminal.interrupt() == 130
    finally:
        terminal.close()
    assert terminal.seen.endswith("interrupted: nothing half-written is left behind\r\n")
    assert wrong.files() == before


def test_a_read_only_file_is_not_asked_about(wrong: Gate) -> None:
    wrong.catalogue.chmod(0o440)
    terminal = Terminal(wrong.root, "check", FILE, "--fix")
    try:
        terminal.read_until("")
        assert terminal.process.wait(timeout=60) == 2
    finally:
        terminal.close()
    assert "it is read-only" in terminal.seen
    assert "apply?" not in terminal.seen
