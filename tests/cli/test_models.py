"""Models that fail: one message with file, line and column, and the very line of the model."""

import pytest

from tests.cli.projects import Gate
from tests.cli.running import Here, Ran

LOOK = '        self.publish("demand", order=self.switch, speed=10)\n'
MODEL = "panel: sim/panel.py:Panel"


def failed(gate: Gate, here: Here) -> Ran:
    """The run of the scenario, which fails without a word of Python's own and leaves nothing behind."""
    before = gate.files()
    ran = here("simulate", "sim/scenarios/silence.yaml", "--traffic", "run.log")
    assert (ran.status, ran.out) == (2, "")
    assert "Traceback" not in ran.err
    assert "_busdesign_project" not in ran.err
    assert ran.refusal.endswith("\n1 error; nothing was written\n")
    assert gate.files() == before
    return ran


# What the panel does on duty; the start of the message; what the caret stands under.
FAILING_DUTIES = {
    "publishes beyond the range": (
        'self.publish("demand", speed=101)',
        "`speed` = 101 is out of range: 0 to 100 is allowed",
    ),
    "publishes no such word": (
        'self.publish("demand", order="upp")',
        "`upp` is no code of `order`; did you mean `up`?",
    ),
    "publishes no such signal": ('self.publish("demand", sped=1)', "`demand` has no signal `sped`"),
    "publishes what another node sends": (
        'self.publish("report", position=1)',
        "`report` is sent by motor, not by panel",
    ),
    "publishes no such message": (
        'self.publish("demnd", speed=1)',
        "panel sends no message `demnd`; did you mean `demand`?",
    ),
    "publishes an irregular message": ('self.publish("alarm", level=1)', "`alarm` is irregular: it goes out by `say`"),
    "says a periodic message": ('self.say("demand", speed=1)', "`demand` goes out every 50 ms by itself"),
    "shows no such word": ('self.lamp = "pink"', "`lamp` shows one of dark, red; found `pink`"),
    "raises": ('raise KeyError("lost")', "KeyError: 'lost'"),
    "raises without a word": ("assert False", "AssertionError"),
    "misspells a name": ("self.pubish()", "AttributeError: 'Panel' object has no attribute 'pubish'"),
    "never ends": ("self.look()", "RecursionError: maximum recursion depth exceeded"),
    "ends the program": ("exit(0)", "a model must not end the program"),
}


@pytest.mark.parametrize("case", FAILING_DUTIES)
def test_a_duty_that_fails_is_shown_with_its_line(gate: Gate, here: Here, case: str) -> None:
    duty, said = FAILING_DUTIES[case]
    gate.edit(gate.panel, LOOK, f"        {duty}\n")
    first, quoted, caret = failed(gate, here).err.splitlines()[:3]
    place = f"{gate.root}/sim/panel.py:19:9: error: "
    assert first.startswith(place + said), first
    assert first.endswith(" (at 0.000000 s of the run) (model-failed)")
    assert (quoted, caret) == (f"      {duty}", "      ^")


def test_the_caret_counts_letters_and_not_bytes(gate: Gate, here: Here) -> None:
    gate.edit(gate.panel, LOOK, '        größe = "静かな"; self.publish("demand", speed=101)\n')
    first, quoted, caret = failed(gate, here).err.splitlines()[:3]
    assert first.startswith(f"{gate.root}/sim/panel.py:19:24: error: ")
    assert quoted == '      größe = "静かな"; self.publish("demand", speed=101)'
    assert caret == "      " + " " * 18 + "^"  # three of the letters are two columns wide


def test_a_later_failure_says_when(gate: Gate, here: Here) -> None:
    gate.edit(gate.panel, 'self.lamp = "red"', "self.lamp = 1 / 0")
    ran = failed(gate, here)
    assert "sim/panel.py:16:21: error: ZeroDivisionError: division by zero (at 0.4" in ran.err
    assert "\n      self.lamp = 1 / 0\n                  ^\n" in ran.err


def test_python_that_cannot_be_read(gate: Gate, here: Here) -> None:
    gate.edit(gate.panel, "    def look(self):", "    def look(self:")
    err = failed(gate, here).err
    assert err.startswith(f"{gate.root}/sim/panel.py:18:13: error: not readable as Python: '(' was never closed")
    assert "\n      def look(self:\n              ^\n" in err


def test_a_neighbour_that_cannot_be_read_is_the_one_that_is_blamed(gate: Gate, here: Here) -> None:
    gate.panel.write_text("from .motor import Motor\n" + gate.panel.read_text())
    (gate.root / "sim" / "motor.py").write_text("x = 1\nclass Motor\n")
    err = failed(gate, here).err
    assert err.startswith(f"{gate.root}/sim/motor.py:2:12: error: not readable as Python: expected ':'")
    assert "\n      class Motor\n                 ^\n" in err


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ("import nonesuch", "1:1: error: ModuleNotFoundError: No module named 'nonesuch'"),
        ("from .nonesuch import x", "1:1: error: ModuleNotFoundError: No module named 'sim.nonesuch'"),
        ("exit(0)", "1:1: error: a model must not end the program"),
    ],
)
def test_what_fails_while_it_is_loaded(gate: Gate, here: Here, line: str, said: str) -> None:
    gate.panel.write_text(f"{line}\n{gate.panel.read_text()}")
    err = failed(gate, here).err
    assert err.startswith(f"{gate.root}/sim/panel.py:{said}"), err
    assert f"\n      {line}\n      ^\n" in err


@pytest.mark.parametrize(
    ("model", "said", "hint"),
    [
        ("panel: sim/panel.py:Pannel", "5:3: error: panel.py has no class `Pannel`", "did you mean `Panel`?"),
        ("panel: sim/panel.py:Choice", "5:3: error: `Choice` in panel.py is no node model", "a model is a subclass of"),
        ("panel: sim/pannel.py:Panel", "5:10: error: there is no file `sim/pannel.py`", "did you mean `sim/panel.py`?"),
        ("panel: sim/panel.py", "5:10: error: `sim/panel.py` is not written as a file and a class", "write it like"),
        ("panel: ../panel.py:Panel", "5:10: error: `../panel.py` does not lie under", "name a file by its way"),
        ("pannel: sim/panel.py:Panel", "5:3: error: there is no node `pannel`", "did you mean `panel`?"),
        (
            "panel: {model: sim/panel.py:Panel, leg: left}",
            "5:3: error: `Panel` has no setting `leg`",
            "it has no settings",
        ),
    ],
)
def test_a_model_that_is_not_there(gate: Gate, here: Here, model: str, said: str, hint: str) -> None:
    gate.edit(gate.scenario, MODEL, model)
    ran = here("simulate", "sim/scenarios/silence.yaml")
    assert ran.status == 2
    assert f"sim/scenarios/silence.yaml:{said}" in ran.err
    assert f"    hint: {hint}" in ran.err


def test_a_setting_that_is_missing(gate: Gate, here: Here) -> None:
    gate.edit(gate.panel, "class Panel(Node):\n", "class Panel(Node):\n    leg: str\n")
    err = failed(gate, here).err
    assert "sim/scenarios/silence.yaml:5:3: error: `Panel` needs the setting `leg` (model-setting)\n" in err
    assert "\n    hint: add `leg: ...`\n" in err


def test_a_file_whose_name_has_dots_or_a_dash(gate: Gate, here: Here) -> None:
    gate.panel.rename(gate.root / "sim" / "panel-v2.1.py")
    gate.edit(gate.scenario, MODEL, "panel: sim/panel-v2.1.py:Panel")
    assert here("simulate", "sim/scenarios/silence.yaml").status == 0
