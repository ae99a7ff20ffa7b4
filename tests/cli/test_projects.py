"""A project of one's own, from wherever the command is started, and beside another one."""

import shutil
from pathlib import Path

import pytest

import busdesign
from tests.cli.projects import Gate
from tests.cli.running import Here


@pytest.fixture
def elsewhere(gate: Gate, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Another working folder than the project's."""
    folder = tmp_path / "somewhere" / "else"
    folder.mkdir(parents=True)
    monkeypatch.chdir(folder)
    return folder


def test_every_command_from_another_folder(gate: Gate, here: Here, elsewhere: Path) -> None:
    for root in (gate.root, Path("../../gate")):
        assert here("check", root / "messages" / "gate.yaml").status == 0
        assert here("compile", root / "messages" / "gate.yaml", "-o", "out").status == 0
        ran = here("simulate", root / "sim" / "scenarios" / "silence.yaml", "--traffic", "run.log", "--json")
        assert (ran.status, ran.answer["holds"]) == (0, True)
    assert sorted(path.name for path in elsewhere.iterdir()) == ["out", "run.log"]
    assert [path.name for path in (elsewhere / "out").iterdir()] == ["gate.dbc"]
    assert set(gate.files()) == {"messages/gate.yaml", "sim/panel.py", "sim/scenarios/silence.yaml"}


def test_through_a_symbolic_link(gate: Gate, here: Here, elsewhere: Path) -> None:
    (elsewhere / "linked").symlink_to(gate.root)
    assert here("simulate", "linked/sim/scenarios/silence.yaml").status == 0


def test_a_mistake_is_named_by_the_path_that_was_given(gate: Gate, here: Here, elsewhere: Path) -> None:
    gate.edit(gate.scenario, "panel.lamp == red", "panel.lamp == rde")
    ran = here("simulate", "../../gate/sim/scenarios/silence.yaml")
    assert ran.err.startswith("../../gate/sim/scenarios/silence.yaml:11:89: error: ")
    gate.edit(gate.catalogue, "250 kbit/s", "250")
    ran = here("simulate", "../../gate/sim/scenarios/silence.yaml")
    assert "../../gate/messages/gate.yaml:2:17: error: `250` has no unit" in ran.err


def test_a_model_takes_in_what_lies_beside_it(gate: Gate, here: Here) -> None:
    (gate.root / "sim" / "lamps").mkdir()
    (gate.root / "sim" / "lamps" / "words.py").write_text('from ..order import ORDER\n\nWORDS = ("dark", "red")\n')
    (gate.root / "sim" / "order.py").write_text('ORDER = ("up", "down")\n')
    gate.edit(gate.panel, "\n\n\nclass", "\n\nfrom .lamps.words import ORDER, WORDS\n\n\nclass")
    gate.edit(gate.panel, 'Choice("dark", "red")', "Choice(*WORDS)")
    gate.edit(gate.panel, 'Choice("up", "down",', "Choice(*ORDER,")
    assert here("simulate", "sim/scenarios/silence.yaml").status == 0


def test_two_projects_with_equally_named_models_do_not_see_each_other(gate: Gate, tmp_path: Path) -> None:
    other = Gate(tmp_path / "other")
    for project, colour in ((gate, "red"), (other, "amber")):
        (project.root / "sim" / "colours.py").write_text(f'ALARM = "{colour}"\n')
        text = project.panel.read_text().replace('"red"', "ALARM")
        project.panel.write_text(f"from .colours import ALARM\n{text}")
    other.edit(other.scenario, "panel.lamp == red", "panel.lamp == amber")
    runs = [busdesign.simulate(project.scenario) for project in (gate, other, gate, other)]
    assert [run.holds for run in runs] == [True] * 4
    seen = [set(run.run.traces["panel.lamp"].values) for run in runs]
    assert seen == [{"dark", "red"}, {"dark", "amber"}] * 2


def test_a_model_that_was_changed_is_taken_anew(gate: Gate) -> None:
    assert busdesign.simulate(gate.scenario).holds
    gate.edit(gate.panel, 'self.lamp = "red"', 'self.lamp = "dark"')
    assert not busdesign.simulate(gate.scenario).holds


def test_a_project_can_be_moved(gate: Gate, here: Here, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    before = here("simulate", gate.scenario, "--json").answer
    shutil.move(gate.root, tmp_path / "moved")
    assert here("simulate", "moved/sim/scenarios/silence.yaml", "--json").answer == before


def test_models_need_a_project_and_traffic_alone_does_not(gate: Gate, here: Here, tmp_path: Path) -> None:
    alone = tmp_path / "alone"
    alone.mkdir()
    shutil.copy(gate.catalogue, alone / "gate.yaml")
    text = gate.scenario.read_text().replace("../../messages/", "")
    (alone / "silence.yaml").write_text(text)
    ran = here("simulate", alone / "silence.yaml")
    assert ran.status == 2
    assert "silence.yaml:5:10: error: no folder above this file holds both `messages/` and `sim/`" in ran.err
    models, steps = text.index("models:"), text.index("faults:")
    bare = text[:models] + text[steps : text.index("expect:")]
    (alone / "silence.yaml").write_text(bare)
    assert here("simulate", alone / "silence.yaml").status == 0
