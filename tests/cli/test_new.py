"""``busdesign new``: asked on a terminal, told by options, refused with nothing written; what it says runs."""

import os
import pty
import re
import select
import shlex
import signal
import subprocess
import sys
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path

import pytest

from tests.cli.running import Here, environment
from tests.cli.test_exits import said_plainly
from tests.cli.test_next_steps import next_lines

# As in a shell: a process started in the background may have been told to ignore the signal, which Python then does.
PROGRAM = """\
import signal, sys
signal.signal(signal.SIGINT, signal.default_int_handler)
from busdesign.cli.main import run
sys.argv = ["busdesign", *sys.argv[1:]]
run()
"""
NAME, RATE, NODES = "name of the project", "bit rate of the bus", "names of the nodes"
MANY = ",".join(f"n{number}" for number in range(29))


@pytest.fixture
def desk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    """An empty working folder, and nobody to ask."""
    monkeypatch.chdir(tmp_path)
    with open(os.devnull) as nobody:
        monkeypatch.setattr("sys.stdin", nobody)
        yield tmp_path


def test_without_anybody_to_ask_it_takes_the_defaults_and_says_so(desk: Path, here: Here) -> None:
    ran = here("new", "my-gear")
    assert (ran.status, ran.err) == (0, "")
    assert ran.out.startswith(
        "made my-gear: panel gives orders to left, right, at 250 kbit/s\nAll figures in it are invented"
    )
    said = re.search(r"^defaults were taken, since nobody was there to ask: (.*)$", ran.out, re.MULTILINE)
    assert said
    assert shlex.split(said[1]) == ["--name", "my_gear", "--bit-rate", "250 kbit/s", "--nodes", "panel,left,right"]
    again = here("new", "again", *shlex.split(said[1]))
    assert "defaults were taken" not in again.out
    for file in (desk / "my-gear").rglob("*.*"):
        assert file.read_bytes() == (desk / "again" / file.relative_to(desk / "my-gear")).read_bytes()


@pytest.mark.parametrize("folder", ["it's $HOME & `co`", "-o", "a/../b"])
def test_what_comes_next_runs(desk: Path, here: Here, folder: str) -> None:
    (desk / "a").mkdir()
    ran = here("new", "--nodes", "panel,leg", "--", folder)
    assert ran.status == 0, ran.err
    lines = next_lines(ran)
    assert [words[0] for words in lines] == ["check", "compile", "simulate", "simulate"]
    for words in lines:
        followed = here(*words)
        assert (followed.status, followed.err) == (0, ""), words


def test_the_readme_in_it_runs(desk: Path, here: Here, monkeypatch: pytest.MonkeyPatch) -> None:
    assert here("new", "gear", "--bit-rate", "500kbit/s").status == 0
    monkeypatch.chdir(desk / "gear")
    readme = (desk / "gear" / "README.md").read_text(encoding="utf-8")
    (block,) = re.findall(r"^```sh\n(.*?)^```$", readme, re.MULTILINE | re.DOTALL)
    lines = [shlex.split(line) for line in block.splitlines()]
    assert [words[:2] for words in lines] == [
        ["busdesign", name] for name in ("check", "compile", "simulate", "simulate")
    ]
    for _, *words in lines:
        assert here(*words).status == 0, words
    for file in re.findall(r"^\| `([^*`]+)` \|", readme, re.MULTILINE):
        assert Path(file).is_file()


def test_json(desk: Path, here: Here) -> None:
    ran = here("new", "gear", "--json", "--nodes", "cockpit, nose")
    assert (ran.status, ran.err) == (0, "")
    assert ran.answer == {
        "folder": "gear",
        "name": "gear",
        "bit_rate": "250 kbit/s",
        "bit_rate_bit_s": 250_000,
        "nodes": ["cockpit", "nose"],
        "catalogue": "gear/messages/gear.yaml",
        "scenarios": ["gear/sim/scenarios/normal.yaml", "gear/sim/scenarios/silence.yaml"],
        "files": sorted(f"{path}" for path in Path("gear").rglob("*.*")),
        "findings": [],
        "holds": True,
    }
    refused = here("new", "other", "--json", "--bit-rate", "250")
    assert refused.status == 2
    assert refused.answer.keys() == ran.answer.keys()
    assert [found["rule"] for found in refused.answer["findings"]] == ["wrong-unit"]
    assert refused.answer["holds"] is False
    assert os.listdir() == ["gear"]


@pytest.mark.parametrize(
    ("options", "texts"),
    [
        ("--name my-gear", ["the project `my-gear` needs a name of letters", "hint: write `my_gear`"]),
        ("--name ''", ["the project `` needs a name"]),
        ("--bit-rate 250", ["`250` has no unit (wrong-unit)", "hint: a bit rate is written like `250 kbit/s`"]),
        ("--bit-rate '2 Mbit/s'", ["`2 Mbit/s` is too fast", "`1 Mbit/s` is the most of classical CAN"]),
        ("--nodes panel,left,left", ["the node `left` is there twice (name-taken)"]),
        ("--nodes panel,for", ["`for` is a word of C, so no node can bear it", "hint: write `for_`"]),
        ("--nodes ','", ["found 0 nodes"]),
        ("--nodes '\x1b[31m,x'", ["the node `\\x1b[31m` needs a name"]),
        (
            "--name 1 --bit-rate 1 --nodes 1",
            ["the project `1`", "`1` has no unit", "the node `1`", "\n4 errors; nothing"],
        ),
        (f"--bit-rate 10kbit/s --nodes {MANY}", ["10 kbit/s is too slow for 29 nodes", "`20 kbit/s` would carry them"]),
    ],
)
def test_options_that_cannot_be_used(desk: Path, here: Here, options: str, texts: list[str]) -> None:
    ran = here("new", "gear", *shlex.split(options))
    assert (ran.status, ran.out) == (2, "")
    assert said_plainly(ran), ran.err
    for text in texts:
        assert text in ran.err
    assert "; nothing was written\n" in ran.err
    assert "\x1b" not in ran.err
    assert list(desk.iterdir()) == []


@pytest.mark.parametrize(
    ("folder", "text"),
    [
        ("full", "cannot make a project in `full`: the folder is not empty"),
        (".", "the folder is not empty"),
        ("file", "cannot make the folder `file`: there is a file of that name"),
        ("file/gear", "cannot make the folder `file/gear`: Not a directory"),
        ("absent/gear", "cannot make the folder `absent/gear`: there is no folder `absent`"),
        ("", "a new project needs the name of a folder"),
        ("a\0b", "cannot make the folder"),
    ],
)
def test_what_is_in_the_way_stays(desk: Path, here: Here, folder: str, text: str) -> None:
    (desk / "full").mkdir()
    (desk / "full" / "README.md").write_text("mine")
    (desk / "file").write_text("mine")
    ran = here("new", folder)
    assert (ran.status, ran.out) == (2, "")
    assert said_plainly(ran), ran.err
    assert text in ran.err
    assert sorted(str(path.relative_to(desk)) for path in desk.rglob("*")) == ["file", "full", "full/README.md"]
    assert {path.read_text() for path in (desk / "file", desk / "full" / "README.md")} == {"mine"}


class Asked:
    """``busdesign new`` at a terminal: reads what is shown, types answers."""

    def __init__(self, cwd: Path, *words: str) -> None:
        self._terminal, user = pty.openpty()
        program = [sys.executable, "-c", PROGRAM, "new", *words]
        self._process = subprocess.Popen(
            program,
            cwd=cwd,
            env=environment(TERM="dumb"),
            stdin=user,
            stdout=user,
            stderr=user,
        )
        os.close(user)
        self.shown, self._seen = "", 0

    def wait_for(self, text: str) -> None:
        """Read on until ``text`` is there, and look no more at what comes before its end."""
        while text not in self.shown[self._seen :]:
            assert self._read(), f"{text!r} is not in {self.shown[self._seen :]!r}"
        self._seen = self.shown.index(text, self._seen) + len(text)

    def answer(self, question: str, answer: str) -> None:
        """Type ``answer`` when asked ``question``, of which the beginning is enough."""
        self.wait_for(question)
        if not question.endswith("]: "):
            self.wait_for("]: ")
        os.write(self._terminal, answer.encode("utf-8", "surrogateescape") + b"\n")

    def end_of_answers(self) -> None:
        os.write(self._terminal, b"\x04")

    def interrupt(self) -> None:
        self._process.send_signal(signal.SIGINT)

    def end(self) -> int:
        """The exit status."""
        while self._read():
            pass
        return self._process.wait(timeout=30)

    def close(self) -> None:
        self._process.kill()
        self._process.wait()
        os.close(self._terminal)

    def _read(self) -> bool:
        part = b""
        ready, _, _ = select.select([self._terminal], [], [], 30)
        assert ready, f"nothing more comes after {self.shown!r}"
        with suppress(OSError):  # on Linux the end of a terminal is an error
            part = os.read(self._terminal, 65_536)
        self.shown += part.decode("utf-8", "replace").replace("\r\n", "\n")
        return bool(part)


@pytest.fixture
def asked(tmp_path: Path, request: pytest.FixtureRequest) -> Iterator[Asked]:
    """At a terminal; the test's parameter says with which words."""
    made = Asked(tmp_path, *getattr(request, "param", ["gear"]))
    yield made
    made.close()


def test_three_questions_with_their_defaults(asked: Asked, tmp_path: Path) -> None:
    asked.answer(f"{NAME} [gear]: ", "")
    asked.answer(f"{RATE} [250 kbit/s]: ", "")
    asked.answer(f"{NODES}, first the one that gives the orders [panel,left,right]: ", "")
    assert asked.end() == 0
    assert "made gear: panel gives orders to left, right, at 250 kbit/s" in asked.shown
    assert "defaults were taken" not in asked.shown
    assert (tmp_path / "gear" / "messages" / "gear.yaml").is_file()


def test_a_wrong_answer_is_asked_again(asked: Asked, tmp_path: Path) -> None:
    for wrong, said in (
        ("my gear", "write `my_gear`"),
        ("int", "`int` is a word of C"),
        ("größe", "write `gr__e`"),
        ("\udcff", "needs a name"),
    ):
        asked.answer(NAME, wrong)
        asked.wait_for(said)
    asked.answer(NAME, " flaps ")
    for wrong, said in (
        ("125", "`125` has no unit"),
        ("2 Mbit/s", "is the most of classical CAN"),
        ("fast", "expected a bit rate"),
    ):
        asked.answer(RATE, wrong)
        asked.wait_for(said)
    asked.answer(RATE, "10kbit/s")
    for wrong, said in (
        ("panel", "found 1 node"),
        ("a, b a", "the node `a` is there twice"),
        (MANY, "`20 kbit/s` would carry them"),
    ):
        asked.answer(NODES, wrong)
        asked.wait_for(said)
    assert list(tmp_path.iterdir()) == []
    asked.answer(NODES, "cockpit  flap_1,flap_2")
    assert asked.end() == 0
    assert "made gear: cockpit gives orders to flap_1, flap_2, at 10 kbit/s" in asked.shown
    assert (tmp_path / "gear" / "messages" / "flaps.yaml").is_file()


@pytest.mark.parametrize("asked", [["gear", "--name", "wing", "--nodes", "a,b"]], indirect=True)
def test_only_what_no_option_says_is_asked(asked: Asked, tmp_path: Path) -> None:
    asked.answer(RATE, "500 kbit/s")
    assert asked.end() == 0
    assert NAME not in asked.shown
    assert NODES not in asked.shown
    assert (tmp_path / "gear" / "messages" / "wing.yaml").is_file()


@pytest.mark.parametrize("asked", [["gear", "--json"]], indirect=True)
def test_a_script_is_not_asked(asked: Asked, tmp_path: Path) -> None:
    assert asked.end() == 0
    assert "]: " not in asked.shown
    assert (tmp_path / "gear").is_dir()


@pytest.mark.parametrize("asked", [["gear", "--name", "1"], ["/"], [""]], indirect=True)
def test_nothing_is_asked_in_vain(asked: Asked) -> None:
    assert asked.end() == 2
    assert "]: " not in asked.shown


@pytest.mark.parametrize("answered", range(3))
def test_an_interrupt_leaves_nothing(asked: Asked, tmp_path: Path, answered: int) -> None:
    for question in (NAME, RATE, NODES)[:answered]:
        asked.answer(question, "")
    asked.wait_for("]: ")
    asked.interrupt()
    assert asked.end() == 130
    assert "interrupted: nothing half-written is left behind\n" in asked.shown
    assert list(tmp_path.iterdir()) == []


def test_the_end_of_the_answers_leaves_nothing(asked: Asked, tmp_path: Path) -> None:
    asked.answer(NAME, "gear")
    asked.wait_for("]: ")
    asked.end_of_answers()
    assert asked.end() == 2
    assert "no answer; nothing was written" in asked.shown
    assert list(tmp_path.iterdir()) == []
