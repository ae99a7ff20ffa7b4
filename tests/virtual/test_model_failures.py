"""A model that fails while it runs: what is said, at which of its lines, at what time of the run."""

import sys
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

import busdesign
from busdesign.errors import ModelError
from busdesign.findings import Finding, Severity
from busdesign.scenario.model import Fault, ModelChoice, Scenario, Step
from busdesign.scenario.reader import read_scenario
from tests.networks import MS
from tests.virtual.projects import choice, project, ran, wrote
from tests.virtual.small_buses import bits_of

CHECKOUT = Path(busdesign.__file__).resolve().parents[1]
HEAD = "from busdesign.virtual.node import Choice, Flag, Node, Number\n\n\nclass Panel(Node):\n"
FIRST_END_S = (bits_of(project(Path()).catalogue.message("demand")) - 3) * 4_000 / 1e9


def failing(root: Path, body: str) -> Scenario:
    """A scenario whose panel is a class with ``body``, which starts on line 5."""
    wrote(root)
    (root / "sim").mkdir(exist_ok=True)
    (root / "sim" / "panel.py").write_text(HEAD + body)
    return project(root, panel=choice(root, "panel.py:Panel"))


def failure(scenario: Scenario) -> Finding:
    with pytest.raises(ModelError) as error:
        ran(scenario)
    (found,) = error.value.findings
    assert (found.rule, found.severity) == ("model-failed", Severity.ERROR)
    assert error.value.__cause__ is not None
    return found


def at(found: Finding, root: Path) -> tuple[int, int, str]:
    assert found.where is not None
    assert found.where.file == str(root / "sim" / "panel.py")
    return found.where.line, found.where.column, found.where.quoted.strip()


def test_in_begin(tmp_path: Path) -> None:
    found = failure(failing(tmp_path, "    def begin(self):\n        self.angle = 1 / 0\n"))
    assert at(found, tmp_path) == (6, 22, "self.angle = 1 / 0")
    assert found.text == "ZeroDivisionError: division by zero (at 0.000000 s of the run)"


def test_in_a_duty_at_its_time(tmp_path: Path) -> None:
    begin = "    def begin(self):\n        self.each('20 ms', self.look)\n\n"
    body = begin + "    def look(self):\n        self.lmap = self.lamp\n"
    found = failure(failing(tmp_path, body))
    assert at(found, tmp_path)[0] == 9
    assert found.text.startswith("AttributeError: 'Panel' object has no attribute 'lamp'")
    assert found.text.endswith("(at 0.020000 s of the run)")


def test_in_heard_at_the_end_of_the_frame(tmp_path: Path) -> None:
    found = failure(failing(tmp_path, "    def heard(self, message):\n        message['valeu']\n"))
    assert at(found, tmp_path)[0] == 6
    end_s = 2 * bits_of(project(tmp_path).catalogue.message("demand")) * 4_000 / 1e9
    assert "`report` has no signal `valeu`; did you mean `value`?" in found.text
    at_s = float(found.text.partition("(at ")[2].partition(" s")[0])
    assert FIRST_END_S < at_s < end_s


def test_in_missed_at_its_time(tmp_path: Path) -> None:
    scenario = failing(tmp_path, "    def missed(self, message):\n        raise RuntimeError\n")
    found = failure(replace(scenario, faults=(Fault("silent", "leg", 0),)))
    assert at(found, tmp_path)[0] == 6
    assert found.text == "RuntimeError (at 0.025000 s of the run)"


def test_in_a_step_at_its_time(tmp_path: Path) -> None:
    """A value of its own, checked by the model's own rule."""
    body = (
        "    lever = Flag(settable=True)\n\n    def __setattr__(self, name, value):\n"
        "        if name == 'lever' and value:\n            raise ValueError('the lever is stuck')\n"
        "        super().__setattr__(name, value)\n"
    )
    scenario = replace(failing(tmp_path, body), steps=(Step(30 * MS, {"panel.lever": True}),))
    found = failure(scenario)
    assert at(found, tmp_path)[0] == 9
    assert found.text == "the lever is stuck (at 0.030000 s of the run)"


def test_a_refused_publish_at_the_models_line(tmp_path: Path) -> None:
    found = failure(
        failing(tmp_path, "    def begin(self):\n        self.publish('demand',\n                     value=300)\n")
    )
    assert at(found, tmp_path)[0] == 6
    assert found.text == "`value` = 300 is out of range: 0 to 255 is allowed (at 0.000000 s of the run)"


def test_a_shown_value_that_was_not_declared_at_the_models_line(tmp_path: Path) -> None:
    body = "    lamp = Choice('dark', 'green')\n\n    def begin(self):\n        self.lamp = 'red'\n"
    found = failure(failing(tmp_path, body))
    assert at(found, tmp_path)[0] == 8
    assert "`lamp` shows one of dark, green; found `red`" in found.text


def test_the_innermost_line_of_the_project_is_named(tmp_path: Path) -> None:
    """A duty that calls a neighbour, which calls the standard library: the neighbour's line."""
    wrote(tmp_path, gear="import json\n\n\ndef ratio():\n    return json.loads('{')\n")
    scenario = failing(tmp_path, "    def begin(self):\n        from .gear import ratio\n        ratio()\n")
    found = failure(scenario)
    assert found.where is not None
    assert (found.where.file, found.where.line) == (str(tmp_path / "sim" / "gear.py"), 5)


def test_endless_recursion_is_a_failure_like_another(tmp_path: Path) -> None:
    found = failure(failing(tmp_path, "    def begin(self):\n        self.begin()\n"))
    assert at(found, tmp_path)[0] == 6
    assert found.text.startswith("RecursionError")


def test_a_failure_of_the_program_itself_is_not_blamed_on_a_model(tmp_path: Path) -> None:
    """Here of the caller's own progress function."""
    from busdesign.virtual.bus import simulate_bus

    def fail(_: float) -> None:
        raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError):
        simulate_bus(project(wrote(tmp_path)), {}, fail)


@pytest.mark.parametrize("stop", ["KeyboardInterrupt"])
def test_an_interrupt_is_no_failure_of_a_model(tmp_path: Path, stop: str) -> None:
    with pytest.raises(KeyboardInterrupt):
        ran(failing(tmp_path, f"    def begin(self):\n        raise {stop}\n"))


def test_a_failure_leaves_nothing_behind_for_the_next_run(tmp_path: Path) -> None:
    failure(failing(tmp_path, "    def begin(self):\n        self.angle = 1 / 0\n"))
    wrote(tmp_path, panel=HEAD + "    def begin(self):\n        self.publish('demand', value=1)\n")
    assert len(ran(project(tmp_path, panel=choice(tmp_path, "panel.py:Panel"))).traffic) == 20


def test_a_project_that_holds_the_program_is_blamed_at_the_models_line() -> None:
    """In a checkout the root holds ``busdesign/`` beside ``sim/``; the line that published is the model's."""
    scenario = read_scenario(CHECKOUT / "sim" / "scenarios" / "retract.yaml")
    models = dict(scenario.models)
    air_data = models["air_data"]
    models["air_data"] = ModelChoice(air_data.file, air_data.class_name, {"first_airspeed": 1e6}, air_data.place)
    with pytest.raises(ModelError) as error:
        ran(replace(scenario, models=models, run_for_ns=MS))
    (found,) = error.value.findings
    assert found.where is not None
    assert Path(found.where.file).relative_to(CHECKOUT) == Path("sim", "air_data.py")


@pytest.fixture
def importable() -> Iterator[list[str]]:
    """Folders put here can be imported from, until the test is over."""
    before, modules = list(sys.path), set(sys.modules)
    yield sys.path
    sys.path[:] = before
    for name in set(sys.modules) - modules:
        del sys.modules[name]


@pytest.mark.parametrize("folder", ["gear_library", "gear/venv/lib/python3/site-packages"])
def test_a_library_is_not_the_project(tmp_path: Path, importable: list[str], folder: str) -> None:
    """Beside it under a longer name, or installed beneath it: the project's own line is the model's."""
    library = tmp_path / folder
    library.mkdir(parents=True)
    (library / "distant_library.py").write_text("def fail():\n    raise RuntimeError('far away')\n")
    importable.insert(0, str(library))
    root = wrote(
        tmp_path / "gear",
        panel="""
            from distant_library import fail

            from busdesign.virtual.node import Node

            class Panel(Node):
                def begin(self):
                    fail()
        """,
    )
    with pytest.raises(ModelError) as error:
        ran(project(root, panel=choice(root, "panel.py:Panel")))
    (found,) = error.value.findings
    assert found.where is not None
    assert found.where.file == str(root / "sim" / "panel.py")


def test_a_model_cannot_end_the_program(tmp_path: Path) -> None:
    wrote(
        tmp_path,
        panel="""
            from busdesign.virtual.node import Node

            class Panel(Node):
                def begin(self):
                    raise SystemExit(0)
        """,
    )
    with pytest.raises(ModelError):
        ran(project(tmp_path, panel=choice(tmp_path, "panel.py:Panel")))
