"""Small projects on disk: model files under a root, and scenarios that name them."""

from pathlib import Path
from textwrap import dedent

from busdesign.catalogue.model import Catalogue
from busdesign.findings import Place
from busdesign.scenario.model import ModelChoice, Scenario
from busdesign.virtual.bus import simulate_bus
from busdesign.virtual.models import load_models
from busdesign.virtual.node import Node
from busdesign.virtual.run import Run
from tests.networks import MS
from tests.virtual.small_buses import bus, byte, message, story

PLACE = Place("story.yaml", 5, 10)
CATALOGUE = bus(
    message("demand", 0x100, "panel", period=10 * MS, to=["leg"], signals=[byte()], lost_after_ns=25 * MS),
    message("report", 0x200, "leg", period=10 * MS, to=["panel"], signals=[byte()], lost_after_ns=25 * MS),
    nodes=("panel", "leg"),
)


def wrote(root: Path, **files: str) -> Path:
    """The files ``sim/<name>.py`` under ``root``; two underscores in a name stand for a folder."""
    for name, text in files.items():
        file = root / "sim" / f"{name.replace('__', '/')}.py"
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_text(dedent(text))
    return root


def choice(root: Path, model: str, **settings: object) -> ModelChoice:
    """``panel.py:Panel`` under ``root/sim``."""
    file, _, class_name = model.partition(":")
    return ModelChoice(root / "sim" / file, class_name, settings, PLACE)


def project(
    root: Path, *, catalogue: Catalogue = CATALOGUE, run_for_ns: int = 95 * MS, **models: ModelChoice
) -> Scenario:
    """A scenario of the project at ``root``."""
    return story(catalogue, run_for_ns, root=root, models=models)


def loaded(root: Path, model: str, **settings: object) -> Node:
    """The panel's model."""
    return load_models(project(root, panel=choice(root, model, **settings)))["panel"]


def ran(scenario: Scenario) -> Run:
    """The run with its models freshly loaded."""
    return simulate_bus(scenario, load_models(scenario))
