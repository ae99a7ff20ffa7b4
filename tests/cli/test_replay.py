"""``busdesign replay``: its outcomes, its JSON, what it refuses; the gate on a terminal and without one."""

import os
import pty
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from tests.answers.test_replay import folder as folder
from tests.bench.fake_bus import World
from tests.bench.fake_bus import world as world
from tests.cli.conftest import here as here
from tests.cli.running import CHECKOUT, Here, environment
from tests.cli.test_json import COUNT, FLAG, NUMBER, TEXT, differences

REPLAY = {
    "capture": TEXT,
    "interface": TEXT,
    "permission": TEXT,
    "pace": TEXT,
    "times": COUNT,
    "frames_planned": COUNT,
    "frames_sent": COUNT,
    "final_frames": COUNT,
    "duration_s": NUMBER,
    "lateness": {"frames": COUNT, "median_us": NUMBER, "p99_us": NUMBER, "worst_us": NUMBER},
    "ended": TEXT,
    "notices": [TEXT],
    "findings": [{"rule": TEXT}],
    "holds": FLAG,
}
# A real bus in a process of its own: it writes down what is sent.
PROGRAM = """\
import signal, sys
signal.signal(signal.SIGINT, signal.default_int_handler)
import can
from can.interfaces import BACKENDS
from tests.bench import fake_bus
def sent(count):
    with open("sent", "a") as file: file.write("x")
fake_bus.WORLD.on_send = sent
BACKENDS["pretend"] = ("tests.bench.fake_bus", "PretendBus")
from busdesign.cli.main import run
sys.argv = ["busdesign", *sys.argv[1:]]
run()
"""
ONTO = ["replay", "run.log", "--onto", "pretend:can0", "--catalogue", "bench.yaml", "--transmit"]


def test_for_scripts(folder: Path, here: Here) -> None:
    ran = here("replay", "run.log", "--onto", "virtual:cli", "--pace", "2x", "--json")
    assert (ran.status, ran.err) == (0, "")
    assert differences(ran.answer, REPLAY, facts=True) == []
    assert (ran.answer["frames_sent"], ran.answer["ended"], ran.answer["holds"]) == (30, "done", True)


def test_for_people(folder: Path, here: Here) -> None:
    words = [
        "--catalogue",
        "bench.yaml",
        "--without",
        "left,right",
        "--set",
        "demand.order=down",
        "--record",
        "a/b.log",
    ]
    ran = here("replay", "run.log", "--onto", "virtual:cli", "--pace", "10x", *words)
    assert (ran.status, ran.err) == (0, "")
    assert "10 of 10 frames in 0.018 s\nlate, until handed to python-can: " in ran.out
    assert "\nholds: all of it was sent\n\nwritten: a/b.log\n\nnext:\n" in ran.out
    assert "audit run.log --catalogue bench.yaml" in ran.out
    assert len(Path("a/b.log").read_text().splitlines()) == 10


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["none.log", "--onto", "virtual:x"], "there is no file `none.log`"),
        (["run.log", "--onto", "virtul:x"], "did you mean `virtual`?"),
        (["run.log", "--onto", "virtual"], "names no channel"),
        (["run.log", "--onto", "simulated"], "simulated bus yet"),
        (["run.log", "--onto", "pretend:can0"], "add `--transmit`"),
        (["run.log", "--onto", "pretend:can0", "--transmit"], "add `--catalogue FILE`"),
        (ONTO[1:], "nobody is here to confirm"),
        ([*ONTO[1:], "--json"], "nobody is here to confirm"),
        (["run.log", "--onto", "virtual:x", "--pace", "fast"], "`fast` is no pace"),
        (["run.log", "--onto", "virtual:x", "--times", "0"], "no number of times"),
        (["run.log", "--onto", "virtual:x", "--between", "5 s", "2 s"], "ends before it begins"),
        (["run.log", "--onto", "virtual:x", "--between", "2", "5 s"], "has no unit"),
        (["run.log", "--onto", "virtual:x", "--load-limit", "120 %"], "more than the whole bus"),
        (["run.log", "--onto", "virtual:x", "--without", "left"], "add `--catalogue FILE`"),
        (["run.log", "--onto", "virtual:x", "--record", "run.log"], "it is read, and would be lost"),
        (["run.log", "--onto", "virtual:x", "--record", "x.txt"], "its suffix `.txt` is unknown"),
        (["run.log", "--onto", "virtual:x", "--catalogue", "none.yaml"], "there is no such file"),
        (["run.log", "--onto", "virtual:x", "--channel", "can9"], "there is no channel `can9`"),
    ],
)
def test_what_is_refused(folder: Path, here: Here, world: World, words: list[str], said: str) -> None:
    ran = here("replay", *words)
    assert ran.status == 2
    assert said in ran.err
    assert "Traceback" not in ran.err
    assert (world.sent, world.opened) == ([], [])
    if "--json" in words:
        assert (ran.answer["holds"], ran.answer["findings"][0]["rule"]) == (False, "transmit-unconfirmed")


def on_a_terminal(
    folder: Path, typed: str, *words: str, is_err_seen: bool = True, config: str = "none"
) -> tuple[int, str]:
    """Run with stdin and stderr on a terminal, ``typed`` at the prompt (^C: Ctrl-C); status, and what stood there."""
    master, slave = pty.openpty()
    run = subprocess.Popen(
        [sys.executable, "-c", PROGRAM, *ONTO, *words],
        cwd=folder,
        env=environment(XDG_CONFIG_HOME=str(folder / config), PYTHONPATH=str(CHECKOUT)),
        stdin=slave,
        stdout=subprocess.DEVNULL,
        stderr=slave if is_err_seen else subprocess.DEVNULL,
    )
    os.close(slave)
    shown = b""
    try:
        while is_err_seen and b"anything else to leave it" not in shown and run.poll() is None:
            shown += _read(master)
        if typed == "^C":
            run.send_signal(signal.SIGINT)
        else:
            os.write(master, typed.encode())
        while part := _read(master):
            shown += part
        run.wait(timeout=30)
    finally:
        run.kill()
        os.close(master)
    return run.returncode, shown.decode(errors="replace")


def _read(master: int) -> bytes:
    try:
        return os.read(master, 4096)
    except OSError:  # the other side has gone
        return b""


def test_the_right_answer_on_a_terminal(folder: Path) -> None:
    status, shown = on_a_terminal(folder, "pretend:can0\n")
    assert status == 0, shown
    assert "these MOVE METAL" in shown
    assert Path("sent").read_text() == "x" * 30


@pytest.mark.parametrize("typed", ["yes\n", "\x04", "^C"])
def test_another_answer_on_a_terminal(folder: Path, typed: str) -> None:
    status, shown = on_a_terminal(folder, typed)
    assert status == (130 if typed == "^C" else 2), shown
    assert "Traceback" not in shown
    assert not Path("sent").exists()


def test_a_prompt_that_nobody_sees_is_none(folder: Path) -> None:
    status, _ = on_a_terminal(folder, "pretend:can0\n", is_err_seen=False)
    assert status == 2
    assert not Path("sent").exists()


def test_an_answer_from_a_pipe_is_none(folder: Path) -> None:
    ran = subprocess.run(
        [sys.executable, "-c", PROGRAM, *ONTO],
        cwd=folder,
        env=environment(XDG_CONFIG_HOME=str(folder / "none")),
        input="pretend:can0\n" * 9,
        capture_output=True,
        text=True,
        timeout=30,
    )
    assert ran.returncode == 2
    assert "nobody is here to confirm" in ran.stderr
    assert not Path("sent").exists()


def test_bench_safe_without_a_terminal_and_ctrl_c_in_the_middle(folder: Path) -> None:
    (folder / "config" / "busdesign").mkdir(parents=True)
    (folder / "config" / "busdesign" / "settings.yaml").write_text("bench_safe: ['pretend:can0']\n")
    run = subprocess.Popen(
        [sys.executable, "-c", PROGRAM, *ONTO, "--times", "1000", "--at-end", "demand.order=stay", "--mend"],
        cwd=folder,
        env=environment(XDG_CONFIG_HOME=str(folder / "config")),
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    try:
        until_s = time.monotonic() + 30
        while not Path("sent").exists() or len(Path("sent").read_text()) < 20:
            assert run.poll() is None, run.communicate()
            assert time.monotonic() < until_s
            time.sleep(0.01)
        run.send_signal(signal.SIGINT)
        out, err = run.communicate(timeout=30)
    finally:
        run.kill()
    assert run.returncode == 130
    assert "these MOVE METAL" in err
    assert "final demand: 3 frames\nframes that the adapter still held: thrown away\n" in out
    assert "\nbroken: stopped after " in out


def test_steps_from_a_pipe(folder: Path) -> None:
    ran = subprocess.run(
        [sys.executable, "-m", "busdesign", "replay", "run.log", "--onto", "virtual:x", "--pace", "step"],
        cwd=folder,
        env=environment(),
        input="\n\n\n",
        capture_output=True,
        text=True,
        timeout=30,
    )
    assert ran.returncode == 130
    assert "3 of 30 frames" in ran.stdout
    assert ran.stderr.count("(Enter sends it") == 4
