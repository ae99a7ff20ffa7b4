"""Ctrl-C in mid-run: status 130, one line, and everything on disk as it was."""

import signal
import subprocess
import sys
import time

import pytest

from tests.cli.projects import Gate
from tests.cli.running import environment

# A process started in the background may have been told to ignore the signal, which Python then does too.
PROGRAM = """\
import signal, sys
signal.signal(signal.SIGINT, signal.default_int_handler)
from busdesign.cli.main import run
sys.argv = ["busdesign", *sys.argv[1:]]
run()
"""
SLOW_DUTY = """\
        import time
        from pathlib import Path
        Path("running").touch()
        time.sleep(0.05)
"""


@pytest.fixture
def slow(gate: Gate) -> Gate:
    """A run of a minute: its panel sleeps on duty."""
    gate.panel.write_text(gate.panel.read_text() + SLOW_DUTY)
    gate.edit(gate.scenario, "run_for: 1 s", "run_for: 24 s")
    for name in ("run.log", "run.html"):
        (gate.root / name).write_text("of an earlier run")
    return gate


def test_everything_is_as_it_was(slow: Gate) -> None:
    before = slow.files()
    words = ["simulate", "sim/scenarios/silence.yaml", "--traffic", "run.log", "--report", "run.html", "--json"]
    run = subprocess.Popen(
        [sys.executable, "-c", PROGRAM, *words],
        cwd=slow.root,
        env=environment(),
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    try:
        deadline_s = time.monotonic() + 30
        while not (slow.root / "running").exists():
            assert run.poll() is None, run.communicate()
            assert time.monotonic() < deadline_s
            time.sleep(0.01)
        run.send_signal(signal.SIGINT)
        out, err = run.communicate(timeout=30)
    finally:
        run.kill()
    assert run.returncode == 130
    assert out == ""
    assert err == "\ninterrupted: nothing half-written is left behind\n"
    (slow.root / "running").unlink()
    assert slow.files() == before
