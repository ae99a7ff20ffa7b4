"""Where the demo's ``messages/`` and ``sim/`` lie: in the checkout, or shipped with an installed wheel."""

import os
from pathlib import Path

from busdesign.errors import OutputError

CATALOGUE = Path("messages", "saltmarsh.yaml")
SCENARIOS = Path("sim", "scenarios")


def starter_root() -> Path:
    """The folder that holds the demo's ``messages/`` and ``sim/``. Raises OutputError if the installation lacks it."""
    package = Path(__file__).resolve().parents[1]
    for root in (package / "starter", package.parent):
        if (root / CATALOGUE).is_file() and (root / SCENARIOS).is_dir():
            return root
    raise OutputError("this installation came without the demo's files; install it again")


def demo_scenarios(root: Path) -> list[Path]:
    """The demo's scenario files: the ordinary cycle first, then what goes wrong."""
    usual = ["power_up.yaml", "retract.yaml", "extend.yaml"]
    files = sorted((root / SCENARIOS).glob("*.yaml"))
    return sorted(files, key=lambda file: (usual.index(file.name) if file.name in usual else len(usual), file.name))


def scenarios_beside(catalogue: str | os.PathLike[str]) -> list[Path]:
    """The scenarios that speak of a catalogue's file, where both lie in a project of the usual layout; else none."""
    file = Path(catalogue)
    if file.resolve().parent.name != CATALOGUE.parent.name:
        return []
    found = sorted((file.parent / ".." / SCENARIOS).glob("*.yaml"))
    return [Path(os.path.normpath(story)) for story in found if file.name in story.read_text("utf-8", "replace")]
