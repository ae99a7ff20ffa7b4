"""Exit statuses: 0 holds, 1 a promise is broken, 2 the input cannot be used. Nothing is half done, nothing is raw."""

import os
import re
from pathlib import Path

import pytest

from tests.cli.projects import Gate
from tests.cli.running import Here, Ran, apart, shell


def said_plainly(ran: Ran) -> bool:
    """Whether a refusal reads like one: something on stderr, no traceback, no Python names of errors."""
    return bool(ran.err) and not re.search("Traceback|internal-error|Errno|Error:", ran.out + ran.err)


# Every command, in every situation that is no fault of the catalogue's. The working folder is the gate's.
UNUSABLE = {
    "check: no such file": (["check", "messages/gat.yaml"], "did you mean `messages/gate.yaml`?"),
    "check: a folder": (["check", "messages"], "this is a folder, not a file"),
    "check: no name at all": (["check", ""], "there is no such file"),
    "check: a zero character": (["check", "a\0b"], "the file cannot be read"),
    "compile: no such file": (["compile", "nowhere/x.yaml", "-o", "out"], "there is no such file"),
    "compile: a folder": (["compile", "sim", "-o", "out"], "this is a folder, not a file"),
    "compile: onto a file": (["compile", "messages/gate.yaml", "-o", "sim/panel.py"], "there is a file of that name"),
    "compile: below a file": (["compile", "messages/gate.yaml", "-o", "sim/panel.py/out"], "Not a directory"),
    "compile: a zero character": (["compile", "messages/gate.yaml", "-o", "a\0b"], "cannot make the folder"),
    "compile: onto a folder": (["compile", "messages/gate.yaml", "-o", "taken"], "it is a folder"),
    "simulate: no such file": (["simulate", "sim/scenarios/silent.yaml"], "did you mean `sim/scenarios/silence.yaml`?"),
    "simulate: a folder": (["simulate", "sim/scenarios"], "this is a folder, not a file"),
    "simulate: a catalogue": (["simulate", "messages/gate.yaml"], "this is a catalogue, not a scenario"),
    "simulate: no folder": (
        ["simulate", "sim/scenarios/silence.yaml", "--report", "sim/panel.py/run.html"],
        "cannot make the folder `sim/panel.py`",
    ),
    "simulate: onto a folder": (["simulate", "sim/scenarios/silence.yaml", "--report", "sim"], "it is a folder"),
    "simulate: onto itself": (
        ["simulate", "sim/scenarios/silence.yaml", "--report", "sim/../sim/scenarios/silence.yaml"],
        "the run reads it, and it would be lost",
    ),
    "simulate: onto the catalogue": (
        ["simulate", "sim/scenarios/silence.yaml", "--report", "messages/gate.yaml"],
        "the run reads it, and it would be lost",
    ),
    "simulate: onto a model": (
        ["simulate", "sim/scenarios/silence.yaml", "--report", "sim/panel.py"],
        "the run reads it, and it would be lost",
    ),
    "simulate: two results in one file": (
        ["simulate", "sim/scenarios/silence.yaml", "--traffic", "a.log", "--report", "a.log"],
        "the traffic and the report need a file each",
    ),
    "simulate: a recording of no known kind": (
        ["simulate", "sim/scenarios/silence.yaml", "--traffic", "run.txt"],
        "its suffix `.txt` is unknown; allowed: `.log`",
    ),
    "demo: onto a file": (["demo", "-o", "sim/panel.py"], "there is a file of that name"),
    "frame: no such frame": (["frame", "0x800"], "`--extended` makes it a 29-bit identifier"),
}


@pytest.mark.parametrize("case", UNUSABLE)
def test_what_cannot_be_used_is_said_and_nothing_is_touched(gate: Gate, here: Here, case: str) -> None:
    (gate.root / "taken" / "gate.dbc").mkdir(parents=True)
    before = gate.files()
    words, text = UNUSABLE[case]
    ran = here(*words)
    assert (ran.status, ran.out) == (2, "")
    assert said_plainly(ran), ran.err
    assert text in ran.err
    assert gate.files() == before


@pytest.mark.skipif(os.geteuid() == 0, reason="root may write anywhere")
def test_a_folder_that_may_not_be_written(gate: Gate, here: Here) -> None:
    (gate.root / "locked").mkdir(mode=0o500)
    ran = here("compile", "messages/gate.yaml", "-o", "locked")
    assert ran.status == 2
    assert "Permission denied" in ran.err


def test_each_command_holds(gate: Gate, here: Here) -> None:
    assert here().status == 0
    assert here("check", "messages/gate.yaml").status == 0
    assert here("compile", "messages/gate.yaml", "-o", "made/along").status == 0
    assert here("frame", "0x18FE0010", "--extended", "--data", "00").status == 0
    ran = here("simulate", "sim/scenarios/silence.yaml", "--traffic", "run.log")
    assert (ran.status, ran.err) == (0, "")
    assert "\nwritten: run.log\n" in ran.out
    assert (gate.root / "made" / "along" / "gate.dbc").is_file()
    assert (gate.root / "run.log").read_text().count("\n") > 20


def test_a_broken_promise_is_no_error(gate: Gate, here: Here) -> None:
    gate.edit(gate.catalogue, "deadline: 10 ms", "deadline: 300 us")
    ran = here("check", "messages/gate.yaml")
    assert (ran.status, ran.err) == (1, "")
    assert re.search(r"messages/gate.yaml:14:15: broken promise: `demand` can take \S+ us, \S+ us beyond", ran.out)
    assert "\nbroken: 1 of 3 messages beyond the deadline, or without a bound, in the worst case: demand\n" in ran.out
    assert here("compile", "messages/gate.yaml", "-o", "out").status == 0


def test_a_broken_expectation_is_no_error_and_the_run_is_written(gate: Gate, here: Here) -> None:
    gate.edit(gate.scenario, "panel.lamp == red", "panel.lamp == dark and demand.speed > 99")
    ran = here("simulate", "sim/scenarios/silence.yaml", "--traffic", "run.csv")
    assert (ran.status, ran.err) == (1, "")
    assert "\nbroken  silence is noticed: " in ran.out
    assert "\nbroken: 0 of 1 expectation held; every frame within its bound\n" in ran.out
    assert (gate.root / "run.csv").is_file()


def test_a_seed_replaces_the_scenarios_own(gate: Gate, here: Here) -> None:
    def frames(*words: str) -> str:
        assert here("simulate", "sim/scenarios/silence.yaml", "--traffic", "run.log", *words).status == 0
        return (gate.root / "run.log").read_text()

    assert frames() == frames("--seed", "1")
    assert frames("--seed", "2") != frames("--seed", "3")


@pytest.mark.parametrize("seed", ["-1", "1.5", "x", "", "9223372036854775808", "9" * 5000, "²"])
def test_an_absurd_seed(gate: Gate, here: Here, seed: str) -> None:
    ran = here("simulate", "sim/scenarios/silence.yaml", f"--seed={seed}")
    assert ran.status == 2
    assert "is no seed; write a whole number from 0 to 9223372036854775807" in ran.err
    assert len(ran.err) < 300


def test_the_greatest_seed(gate: Gate, here: Here) -> None:
    assert here("simulate", "sim/scenarios/silence.yaml", "--seed", "9223372036854775807").status == 0


def test_an_error_in_the_program_itself_is_no_broken_promise(
    gate: Gate, here: Here, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fail(*_: object, **__: object) -> None:
        raise KeyError("surprise")

    monkeypatch.setattr("busdesign.answers.check.check", fail)
    ran = here("check", "messages/gate.yaml", "--json")
    assert ran.status == 2
    assert ran.answer["findings"][0]["rule"] == "internal-error"
    assert "KeyError: 'surprise'" in ran.err
    assert "please report it" in ran.err
    assert "Traceback" not in ran.err
    with pytest.raises(KeyError):
        here("--debug", "check", "messages/gate.yaml")


def test_the_shell_gets_the_status_whoever_reads_along(gate: Gate) -> None:
    gate.edit(gate.catalogue, "deadline: 10 ms", "deadline: 300 us")
    many = "".join(f"    - {{at: 100 ms, kind: silent, node: node{number}}}\n" for number in range(400))
    gate.edit(gate.scenario, "faults:\n", f"faults:\n{many}".replace("    -", "  -"))
    lines = {
        "busdesign check messages/gate.yaml | head -1": (1, "gate, revision 1, 250 kbit/s\n"),
        "busdesign simulate sim/scenarios/silence.yaml --json | head -1": (2, "{\n"),
        "busdesign frame 0x800 2>&1 | true": (2, ""),
        "busdesign --help | true": (0, ""),
        "busdesign frame 0x110 > /dev/full": (2, ""),
        "busdesign frame 0x110 >&-": (0, ""),
        "busdesign frame 0x800 2>&-": (2, ""),
        "PYTHONIOENCODING=ascii busdesign frame 0x110": (0, None),
    }
    # Started together: each waits for the start of a Python of its own.
    script = "\n".join(f"{{ {line}; echo $? >{number}.status; }} >{number}.out &" for number, line in enumerate(lines))
    ran = shell(f"{script}\nwait", cwd=gate.root)
    for number, (line, (status, out)) in enumerate(lines.items()):
        assert int((gate.root / f"{number}.status").read_text()) == status, line
        assert out is None or (gate.root / f"{number}.out").read_text() == out, line
    assert "_-_" in (gate.root / "7.out").read_text()  # the levels, in letters that ASCII has
    assert "Traceback" not in ran.err
    assert "Exception ignored" not in ran.err
    assert "cannot print the answer: No space left on device" in ran.err


def test_python_dash_m_and_a_file_name_that_is_no_text(gate: Gate) -> None:
    odd = os.fsdecode(b"messages/g\xe4te.yaml")
    Path(odd).write_text(gate.catalogue.read_text())
    ran = apart(["check", odd, "--json"])
    assert (ran.status, ran.err) == (0, "")
    assert ran.answer["catalogue"] == "gate"
