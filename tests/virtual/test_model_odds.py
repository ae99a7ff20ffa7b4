"""Odd node models: what is no setting, settings that refuse, dots in file and folder names, wrong signatures."""

from pathlib import Path

import pytest

from busdesign.errors import ModelError, ScenarioError
from busdesign.virtual.models import load_models
from tests.virtual.projects import PLACE, choice, loaded, project, ran, wrote


@pytest.mark.parametrize("declared", ["lamp: Flag = Flag()", "limit: Final = 7", "limit: Final[int] = 7"])
def test_what_is_shown_and_what_is_constant_is_no_setting(tmp_path: Path, declared: str) -> None:
    """An annotation does not make a setting of it."""
    head = "from typing import Final\n\nfrom busdesign.virtual.node import Flag, Node\n\n\nclass Panel(Node):\n"
    wrote(tmp_path, panel=f"{head}    {declared}\n")
    with pytest.raises(ScenarioError) as error:
        loaded(tmp_path, "panel.py:Panel", **{declared.partition(":")[0]: True})
    (found,) = error.value.findings
    assert "has no setting" in found.text
    assert found.where == PLACE


def test_a_setting_that_the_model_refuses_is_a_finding(tmp_path: Path) -> None:
    """A setting may be a property that judges what it is given; its line, or the scenario's, and no traceback."""
    wrote(
        tmp_path,
        panel="""
            from busdesign.virtual.node import Node

            class Panel(Node):
                leg: str

                def __setattr__(self, name, value):
                    if name == "leg" and value not in ("nose", "left"):
                        raise ValueError(f"there is no leg {value}")
                    super().__setattr__(name, value)
        """,
    )
    with pytest.raises(ScenarioError) as error:
        loaded(tmp_path, "panel.py:Panel", leg="middle")
    (found,) = error.value.findings
    assert "there is no leg middle" in found.text
    assert found.where is not None


@pytest.mark.parametrize("file", ["v1.2/panel.py", "sim.old.py", "a/a.a.py"])
def test_dots_in_folders_and_repeated_names(tmp_path: Path, file: str) -> None:
    """The model imports a neighbour in its own folder."""
    place = tmp_path / "sim" / file
    place.parent.mkdir(parents=True)
    (place.parent / "gear.py").write_text("VALUE = 1\n")
    place.write_text("from busdesign.virtual.node import Node\n\nfrom .gear import VALUE\n\nclass Panel(Node): ...\n")
    scenario = project(tmp_path, panel=choice(tmp_path, f"{file}:Panel"))
    assert load_models(scenario)["panel"].name == "panel"


@pytest.mark.parametrize("duty", ["heard", "missed"])
def test_a_duty_that_cannot_take_the_message_is_a_finding(tmp_path: Path, duty: str) -> None:
    wrote(
        tmp_path,
        panel=f"""
            from busdesign.virtual.node import Node

            class Panel(Node):
                def {duty}(self):
                    pass
        """,
    )
    with pytest.raises(ScenarioError) as error:
        loaded(tmp_path, "panel.py:Panel")
    (found,) = error.value.findings
    assert f"`{duty}` of `Panel` must take the message" in found.text


def test_a_duty_that_wants_an_argument_is_told_where_it_is_given(tmp_path: Path) -> None:
    root = wrote(
        tmp_path,
        panel="""
            from busdesign.virtual.node import Node

            class Panel(Node):
                def begin(self):
                    self.each("20 ms", self.look)

                def look(self, now):
                    pass
        """,
    )
    with pytest.raises(ModelError) as error:
        ran(project(root, panel=choice(root, "panel.py:Panel")))
    (found,) = error.value.findings
    assert "a duty is called without arguments" in found.text
    assert found.where is not None
    assert found.where.quoted.strip() == 'self.each("20 ms", self.look)'


def test_a_begin_that_wants_an_argument_is_a_finding(tmp_path: Path) -> None:
    head = "from busdesign.virtual.node import Node\n\n\nclass Panel(Node):\n"
    wrote(tmp_path, panel=f"{head}    def begin(self, now):\n        pass\n")
    with pytest.raises(ScenarioError) as error:
        loaded(tmp_path, "panel.py:Panel")
    (found,) = error.value.findings
    assert (found.text, found.fix) == ("`begin` of `Panel` must take nothing", "write `def begin(self):`")
