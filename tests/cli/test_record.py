"""``busdesign record``: its outcomes, its JSON, what it refuses, Ctrl-C."""

import os
import signal
import threading
from pathlib import Path

import pytest

from tests.answers.test_record import fill
from tests.answers.test_replay import folder as folder
from tests.bench.fake_bus import World
from tests.bench.fake_bus import world as world
from tests.cli.conftest import here as here
from tests.cli.running import Here
from tests.cli.test_json import COUNT, NUMBER, TEXT, differences

RECORD = {
    "interface": TEXT,
    "file": TEXT,
    "about_silence": TEXT,
    "duration_s": NUMBER,
    "frames": COUNT,
    "error_frames": COUNT,
    "fd_frames": COUNT,
    "identifiers": COUNT,
    "ended": TEXT,
    "findings": [{"rule": TEXT, "severity": TEXT, "text": TEXT, "fix": TEXT}],
}
FOR = ["--for", "500 ms"]


def test_for_scripts(folder: Path, here: Here, world: World) -> None:
    fill(world, 60)
    ran = here("record", "pretend:can0", "-o", "got.log", "--catalogue", "bench.yaml", *FOR, "--json")
    assert ran.err == ""
    assert differences(ran.answer, RECORD, facts=True) == []
    assert (ran.answer["frames"], ran.answer["silent"], ran.answer["ended"]) == (60, None, "time")
    assert ran.answer["audit"]["frames"] == 60
    assert ran.status == (0 if ran.answer["holds"] else 1)


def test_for_people(folder: Path, here: Here, world: World) -> None:
    fill(world, 60)
    ran = here("record", "pretend-silent:can0", "-o", "a/got.log", *FOR)
    assert ran.status == 0
    assert "pretend-silent:can0: 60 frames of 3 identifiers in " in ran.out
    assert "told to listen only" in ran.out
    assert (
        "\nholds: recorded; without a catalogue nothing is held against it\n\nwritten: a/got.log\n\nnext:\n" in ran.out
    )
    assert ran.err == "listening to pretend-silent:can0; Ctrl-C ends it\n"
    assert here("replay", "a/got.log", "--onto", "virtual:desk", "--pace", "flat-out").status == 0


def test_ctrl_c_prints_the_answer(folder: Path, here: Here, world: World) -> None:
    fill(world, 60)
    threading.Timer(0.4, lambda: os.kill(os.getpid(), signal.SIGINT)).start()
    ran = here("record", "pretend:can0", "-o", "got.log", "--catalogue", "bench.yaml", "--json")
    assert (ran.answer["ended"], ran.answer["frames"]) == ("interrupted", 60)
    assert ran.status in (0, 1)
    assert len(Path("got.log").read_text().splitlines()) == 60


def test_nothing_comes(folder: Path, here: Here, world: World) -> None:
    ran = here("record", "virtual:quiet", "-o", "got.log", "--for", "50 ms")
    assert ran.status == 1
    assert "broken promise: no frame came in 0.1 s (nothing-heard)" in ran.out


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["pretnd:can0", "-o", "got.log"], "did you mean `pretend`?"),
        (["pretend", "-o", "got.log"], "names no channel"),
        (["pretend-driver:0", "-o", "got.log"], "cannot be loaded"),
        (["pretend:can0", "-o", "got.txt"], "its suffix `.txt` is unknown"),
        (["pretend:can0", "-o", "run.log"], "there is such a file already"),
        (["pretend:can0", "-o", "bench.yaml/got.log"], "cannot make the folder"),
        (["pretend:can0", "-o", "got.log", "--for", "0 s"], "longer than zero"),
        (["pretend:can0", "-o", "got.log", "--for", "10"], "has no unit"),
        (["pretend:can0", "-o", "got.log", "--bit-rate", "fast"], "expected a bit rate"),
        (["pretend:can0", "-o", "got.log", "--catalogue", "none.yaml"], "there is no such file"),
        (["pretend:can0"], "required: -o/--output"),
    ],
)
def test_what_cannot_be_used(folder: Path, here: Here, world: World, words: list[str], said: str) -> None:
    ran = here("record", *words)
    assert ran.status == 2
    assert said in ran.err
    assert "Traceback" not in ran.err
    assert not Path("got.log").exists()


def test_a_channel_that_is_busy(folder: Path, here: Here, world: World) -> None:
    world.fails_to_open = OSError(16, "Device or resource busy")
    ran = here("record", "pretend:can0", "-o", "got.log", "--json")
    assert (ran.status, ran.answer["findings"][0]["rule"]) == (2, "interface-unavailable")
    assert "another program holds it" in ran.err
