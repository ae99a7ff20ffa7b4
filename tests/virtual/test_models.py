"""Node models from files: found, given their settings, made anew for each run, and kept apart by project."""

import os
import sys
from pathlib import Path

import pytest

from busdesign.errors import ModelError, ScenarioError
from busdesign.findings import Finding, Severity
from busdesign.virtual.bus import simulate_bus
from busdesign.virtual.models import load_models
from tests.virtual.projects import PLACE, choice, loaded, project, ran, wrote
from tests.virtual.small_buses import data

PANEL = """
    from busdesign.virtual.node import Node, Number


    class Panel(Node):
        shade = Number()
        value: int

        def begin(self):
            self.publish("demand", value=self.value)
"""


def refused(root: Path, model: str, **settings: object) -> Finding:
    with pytest.raises(ScenarioError) as error:
        loaded(root, model, **settings)
    (found,) = error.value.findings
    assert found.severity is Severity.ERROR
    return found


def test_a_model_gets_its_name_and_settings_and_plays(tmp_path: Path) -> None:
    scenario = project(wrote(tmp_path, panel=PANEL), panel=choice(tmp_path, "panel.py:Panel", value=42))
    nodes = load_models(scenario)
    assert (nodes["panel"].name, nodes["panel"].value) == ("panel", 42)  # type: ignore[attr-defined]
    assert set(data(ran(scenario), "demand")) == {b"\x2a"}


def test_one_class_plays_two_nodes(tmp_path: Path) -> None:
    wrote(
        tmp_path,
        board="""
            from busdesign.virtual.node import Node

            class Board(Node):
                says: str
                value: int = 7

                def begin(self):
                    self.publish(self.says, value=self.value)
        """,
    )
    scenario = project(
        tmp_path,
        panel=choice(tmp_path, "board.py:Board", says="demand", value=1),
        leg=choice(tmp_path, "board.py:Board", says="report"),
    )
    run = ran(scenario)
    assert set(data(run, "demand")) == {b"\1"}
    assert set(data(run, "report")) == {b"\7"}


@pytest.mark.parametrize("first", ["here", "there"])
def test_two_projects_with_files_of_the_same_name_do_not_see_each_other(tmp_path: Path, first: str) -> None:
    """Each imports its own neighbour, in whatever order they are loaded and run."""
    model = """
        from busdesign.virtual.node import Node

        from .numbers import VALUE

        class Panel(Node):
            def begin(self):
                self.publish("demand", value=VALUE)
    """
    values = {"here": 1, "there": 2}
    scenarios = {}
    for name, value in values.items():
        root = wrote(tmp_path / name, panel=model, numbers=f"VALUE = {value}\n")
        scenarios[name] = project(root, panel=choice(root, "panel.py:Panel"))
    for name in (first, *values):
        assert set(data(ran(scenarios[name]), "demand")) == {bytes([values[name]])}


def test_two_projects_are_kept_apart_where_imports_come_late(tmp_path: Path) -> None:
    """Both are loaded before the first one runs, and each imports its neighbour only then."""
    model = """
        from busdesign.virtual.node import Node

        class Panel(Node):
            def begin(self):
                from .numbers import VALUE
                self.publish("demand", value=VALUE)
    """
    scenarios = []
    for value in (1, 2):
        root = wrote(tmp_path / str(value), panel=model, numbers=f"VALUE = {value}\n")
        scenarios.append(project(root, panel=choice(root, "panel.py:Panel")))
    nodes = [load_models(scenario) for scenario in scenarios]
    runs = [simulate_bus(scenario, models) for scenario, models in zip(scenarios, nodes, strict=True)]
    assert [set(data(run, "demand")) for run in runs] == [{b"\1"}, {b"\2"}]


def test_imports_inside_the_project_are_relative_through_folders(tmp_path: Path) -> None:
    wrote(
        tmp_path,
        boards__panel="""
            from busdesign.virtual.node import Node

            from ..physics import gear
            from . import shared

            class Panel(Node):
                def begin(self):
                    self.publish("demand", value=gear.VALUE + shared.MORE)
        """,
        boards__shared="MORE = 3\n",
        physics__gear="VALUE = 4\n",
    )
    scenario = project(tmp_path, panel=choice(tmp_path, "boards/panel.py:Panel"))
    assert set(data(ran(scenario), "demand")) == {b"\7"}


def test_the_projects_files_do_not_become_modules_of_the_program(tmp_path: Path) -> None:
    """A file may bear the name of a module of the standard library, and stands in for nothing."""
    path_before, before = list(sys.path), set(sys.modules)
    wrote(tmp_path, json=PANEL, panel="from . import json\n\nPanel = json.Panel\n")
    loaded(tmp_path, "panel.py:Panel", value=1)
    assert sys.path == path_before
    new = {name for name in set(sys.modules) - before if not name.startswith("busdesign")}
    assert new
    assert all(name.startswith("_") for name in new)
    assert not hasattr(sys.modules["json"], "Panel")


LEAKY = """
    from busdesign.virtual.node import Node

    from . import memory

    CALLS = []


    class Panel(Node):
        kept = []

        def begin(self):
            for store in (CALLS, self.kept, memory.STORE):
                store.append(1)
            self.publish("demand", value=len(CALLS) + len(self.kept) + len(memory.STORE))
"""


def test_state_in_classes_and_modules_does_not_leak_into_the_next_run(tmp_path: Path) -> None:
    wrote(tmp_path, panel=LEAKY, memory="STORE = []\n")
    scenario = project(tmp_path, panel=choice(tmp_path, "panel.py:Panel"))
    for _ in range(3):
        assert set(data(ran(scenario), "demand")) == {b"\3"}


def test_a_model_that_was_edited_is_read_anew(tmp_path: Path) -> None:
    root = wrote(tmp_path, panel=PANEL)
    assert not hasattr(loaded(root, "panel.py:Panel", value=1), "edited")
    wrote(tmp_path, panel=PANEL + "\n        edited = True\n")
    assert hasattr(loaded(root, "panel.py:Panel", value=1), "edited")


def test_a_setting_that_is_missing(tmp_path: Path) -> None:
    found = refused(wrote(tmp_path, panel=PANEL), "panel.py:Panel")
    assert (found.rule, found.where) == ("model-setting", PLACE)
    assert "`Panel` needs the setting `value`" in found.text
    assert "value: ..." in found.fix


def test_a_setting_that_is_unknown(tmp_path: Path) -> None:
    found = refused(wrote(tmp_path, panel=PANEL), "panel.py:Panel", vlaue=1)
    assert (found.rule, found.where) == ("model-setting", PLACE)
    assert "has no setting `vlaue`" in found.text
    assert "did you mean `value`?" in found.fix


@pytest.mark.parametrize("setting", ["shade", "shows", "settings", "_clock", "name", "publish"])
def test_what_is_no_setting_cannot_be_set(tmp_path: Path, setting: str) -> None:
    found = refused(wrote(tmp_path, panel=PANEL), "panel.py:Panel", value=1, **{setting: 1})
    assert f"has no setting `{setting}`" in found.text


def test_a_setting_of_a_base_class_counts_and_one_with_a_default_may_be_left_out(tmp_path: Path) -> None:
    wrote(
        tmp_path,
        base=PANEL,
        panel="from .base import Panel\n\nclass Wide(Panel):\n    legs: int = 3\n",
    )
    made = loaded(tmp_path, "panel.py:Wide", value=1)
    assert (made.value, made.legs) == (1, 3)  # type: ignore[attr-defined]
    assert refused(tmp_path, "panel.py:Wide", legs=2).text == "`Wide` needs the setting `value`"


def test_a_class_that_is_missing_with_the_nearest_one(tmp_path: Path) -> None:
    found = refused(wrote(tmp_path, panel=PANEL), "panel.py:Pannel")
    assert (found.rule, found.where) == ("model-missing", PLACE)
    assert found.text == "panel.py has no class `Pannel`"
    assert found.fix == "did you mean `Panel`?"


@pytest.mark.parametrize("name", ["Lamp", "switch", "VALUE", "Node", "Number"])
def test_what_is_no_node_model(tmp_path: Path, name: str) -> None:
    wrote(tmp_path, panel=PANEL + "\n    class Lamp:\n        pass\n\n    def switch(): ...\n\n    VALUE = 3\n")
    found = refused(tmp_path, f"panel.py:{name}")
    assert (found.rule, found.where) == ("model-missing", PLACE)
    assert found.text == f"`{name}` in panel.py is no node model"
    assert "subclass of `busdesign.virtual.node.Node`" in found.fix


def test_a_syntax_error_at_its_line_and_column(tmp_path: Path) -> None:
    found = refused(wrote(tmp_path, panel="import json\n\nvalue = = 3\n"), "panel.py:Panel")
    assert found.rule == "model-unreadable"
    assert found.where is not None
    assert (found.where.file, found.where.line, found.where.column) == (str(tmp_path / "sim" / "panel.py"), 3, 9)
    assert found.where.quoted == "value = = 3"
    assert found.text.startswith("not readable as Python: ")


@pytest.mark.parametrize(
    ("text", "line", "said"),
    [
        ("VALUE = 1\nOTHER = VALEU\n", 2, "NameError: name 'VALEU' is not defined"),
        ("import busdesign\nimport no_such_module_anywhere\n", 2, "ModuleNotFoundError"),
        ("from .neighbour import X\n", 1, "ModuleNotFoundError"),
        ("raise ValueError('no such aeroplane')\n", 1, "no such aeroplane"),
    ],
)
def test_an_error_while_reading_at_its_line(tmp_path: Path, text: str, line: int, said: str) -> None:
    found = refused(wrote(tmp_path, panel=text), "panel.py:Panel")
    assert found.where is not None
    assert (found.where.file, found.where.line) == (str(tmp_path / "sim" / "panel.py"), line)
    assert found.text.startswith(said)


def test_an_error_in_a_neighbour_is_told_where_it_is(tmp_path: Path) -> None:
    wrote(tmp_path, panel="from . import numbers\n", numbers="A = 1\nB = A / 0\n")
    found = refused(tmp_path, "panel.py:Panel")
    assert found.where is not None
    assert (found.where.file, found.where.line) == (str(tmp_path / "sim" / "numbers.py"), 2)


def test_all_that_is_wrong_with_the_models_is_told_at_once(tmp_path: Path) -> None:
    wrote(tmp_path, panel=PANEL, leg="def broken(:\n")
    scenario = project(tmp_path, panel=choice(tmp_path, "panel.py:Panel"), leg=choice(tmp_path, "leg.py:Leg"))
    with pytest.raises(ScenarioError) as error:
        load_models(scenario)
    assert {found.rule for found in error.value.findings} == {"model-setting", "model-unreadable"}


def test_a_model_may_declare_dataclasses_and_enums(tmp_path: Path) -> None:
    """Both look their module up by its name while the class is made."""
    wrote(
        tmp_path,
        panel="""
            from __future__ import annotations

            from dataclasses import dataclass
            from enum import Enum
            from typing import ClassVar

            from busdesign.virtual.node import Node

            class Colour(Enum):
                RED = 5

            @dataclass(slots=True)
            class Leg:
                MOST: ClassVar[int] = 9
                position: int = 0

            class Panel(Node):
                value: int

                def begin(self):
                    self.publish("demand", value=Leg(self.value).position + Colour.RED.value)
        """,
    )
    scenario = project(tmp_path, panel=choice(tmp_path, "panel.py:Panel", value=1))
    assert set(data(ran(scenario), "demand")) == {b"\6"}


def test_a_syntax_error_in_a_neighbour_is_told_where_it_is(tmp_path: Path) -> None:
    wrote(tmp_path, panel="from . import gear\n", gear="A = 1\nB = = 2\n")
    with pytest.raises(ScenarioError) as error:
        loaded(tmp_path, "panel.py:Panel")
    (found,) = error.value.findings
    assert found.where is not None
    assert (found.where.file, found.where.line) == (str(tmp_path / "sim" / "gear.py"), 2)


@pytest.mark.parametrize(
    ("body", "line"),
    [
        ("def __init__(self):\n        self.angle = 1 / 0", 6),
        ("lamp = Flag()\n\n    def __init__(self):\n        self.lamp = True", 8),
        ("def __init__(self):\n        raise SystemExit", 6),
        ("def __init__(self, leg):\n        self.leg = leg", None),
    ],
)
def test_a_model_that_cannot_be_made_is_a_finding(tmp_path: Path, body: str, line: int | None) -> None:
    """At its line, or where the scenario names it; never a traceback."""
    wrote(tmp_path, panel=f"from busdesign.virtual.node import Flag, Node\n\n\nclass Panel(Node):\n    {body}\n")
    with pytest.raises((ScenarioError, ModelError)) as error:
        loaded(tmp_path, "panel.py:Panel")
    (found,) = error.value.findings
    assert found.where is not None
    assert line is None or found.where.line == line


@pytest.mark.parametrize("text", ["import sys\nsys.exit(0)\n", "raise SystemExit\n"])
def test_a_model_file_cannot_end_the_program(tmp_path: Path, text: str) -> None:
    """Its exit status would say that everything holds."""
    wrote(tmp_path, panel=text)
    with pytest.raises(ScenarioError):
        loaded(tmp_path, "panel.py:Panel")


def test_a_constant_of_the_class_is_no_setting(tmp_path: Path) -> None:
    wrote(
        tmp_path,
        panel="""
            from typing import ClassVar

            from busdesign.virtual.node import Node

            class Panel(Node):
                limit: ClassVar[int] = 7
        """,
    )
    assert refused(tmp_path, "panel.py:Panel", limit=1).text == "`Panel` has no setting `limit`"


def test_what_a_model_does_to_a_setting_does_not_reach_the_next_run(tmp_path: Path) -> None:
    wrote(
        tmp_path,
        panel="""
            from busdesign.virtual.node import Node

            class Panel(Node):
                legs: list

                def begin(self):
                    self.legs.append("right")
                    self.publish("demand", value=len(self.legs))
        """,
    )
    scenario = project(tmp_path, panel=choice(tmp_path, "panel.py:Panel", legs=["nose", "left"]))
    assert [set(data(ran(scenario), "demand")) for _ in range(2)] == [{b"\3"}, {b"\3"}]


def test_a_model_edited_within_the_same_second_is_read_anew(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """As long as before, and changed faster than the file's time is kept beside the compiled code."""
    monkeypatch.setattr(sys, "dont_write_bytecode", False)
    wrote(tmp_path, panel="from busdesign.virtual.node import Node\n\nclass Panel(Node):\n    version = 1\n")
    file = tmp_path / "sim" / "panel.py"
    os.utime(file, ns=(10**18, 10**18))
    assert loaded(tmp_path, "panel.py:Panel").version == 1  # type: ignore[attr-defined]
    file.write_text(file.read_text().replace("version = 1", "version = 2"))
    os.utime(file, ns=(10**18 + 10**8, 10**18 + 10**8))
    assert loaded(tmp_path, "panel.py:Panel").version == 2  # type: ignore[attr-defined]


def test_a_file_with_a_dot_in_its_name_is_a_model_like_another(tmp_path: Path) -> None:
    (tmp_path / "sim").mkdir()
    (tmp_path / "sim" / "panel.old.py").write_text(
        "from busdesign.virtual.node import Node\n\nclass Panel(Node): ...\n"
    )
    scenario = project(tmp_path, panel=choice(tmp_path, "panel.old.py:Panel"))
    assert load_models(scenario)["panel"].name == "panel"
