"""What is loaded when: a help text waits for nothing, a check for no numbers, and no library for a face."""

import subprocess
import sys
from collections.abc import Mapping

import pytest

from tests.cli.running import CHECKOUT, environment

HEAVY = {"numba", "numpy", "textual", "plotly", "matplotlib", "cantools", "can", "scipy", "pandas"}

# Runs code, then prints the names of all modules that this has loaded.
PROBE = """\
import contextlib, io, sys
def run(*words):
    from busdesign.cli.main import main
    with contextlib.redirect_stdout(io.StringIO()), contextlib.suppress(SystemExit):
        assert main(words) == 0
before = set(sys.modules)
{code}
print(*sorted(set(sys.modules) - before))
"""


def loaded(codes: Mapping[str, str]) -> dict[str, set[str]]:
    """Modules that each piece of code loads in a fresh interpreter; they are started together."""
    started = {
        name: subprocess.Popen(
            [sys.executable, "-c", PROBE.format(code=code)],
            stdout=subprocess.PIPE,
            text=True,
            env=environment(),
            cwd=CHECKOUT,
        )
        for name, code in codes.items()
    }
    outputs = {name: process.communicate(timeout=60)[0] for name, process in started.items()}
    assert {name: process.returncode for name, process in started.items()} == dict.fromkeys(codes, 0)
    return {name: set(output.split()) for name, output in outputs.items()}


LIGHT = {
    "help": 'run("--help")',
    "version": 'run("--version")',
    "frame": 'run("frame", "0x110", "--json")',
    "check": 'run("check", "messages/saltmarsh.yaml")',
    "check in Python": 'import busdesign\nassert busdesign.check("messages/saltmarsh.yaml").holds',
}
# A check tells what would keep a DBC file from being written; nothing that writes one is loaded for that.
TELLING = {"busdesign.export"} | {
    f"busdesign.export.dbc_{part}" for part in ("refusals", "attributes", "pages", "timing")
}
ROOT = "import busdesign\nassert set(busdesign.__all__) <= set(dir(busdesign))"


@pytest.fixture(scope="module")
def modules() -> dict[str, set[str]]:
    return loaded({**LIGHT, "root": ROOT})


def tops(names: set[str]) -> set[str]:
    """The packages that modules belong to."""
    return {name.partition(".")[0] for name in names}


@pytest.mark.parametrize("name", LIGHT)
def test_light_work_loads_nothing_heavy(modules: dict[str, set[str]], name: str) -> None:
    assert "busdesign" in tops(modules[name])
    assert tops(modules[name]) & HEAVY == set()


@pytest.mark.parametrize("name", ["help", "version", "frame"])
def test_what_reads_no_file_loads_no_reader(modules: dict[str, set[str]], name: str) -> None:
    assert tops(modules[name]) & {"yaml", "pydantic", "rich", "shtab"} == set()


def test_the_root_package_alone_costs_nothing(modules: dict[str, set[str]]) -> None:
    assert {module for module in modules["root"] if module.startswith("busdesign")} == {"busdesign"}
    assert tops(modules["root"]) & (HEAVY | {"yaml", "pydantic"}) == set()


@pytest.mark.parametrize("name", ["check", "check in Python"])
def test_a_check_loads_no_simulator_and_no_face_but_its_own(modules: dict[str, set[str]], name: str) -> None:
    rooms = {module.split(".")[1] for module in modules[name] if module.startswith("busdesign.")}
    assert {"answers", "catalogue", "analysis", "wire"} <= rooms
    assert {"virtual", "report", "traffic", "scenario"} & rooms == set()
    assert {module for module in modules[name] if module.startswith("busdesign.export")} <= TELLING
    assert name != "check in Python" or "cli" not in rooms


def test_every_public_name_is_there_and_another_one_is_not() -> None:
    import busdesign

    for name in busdesign.__all__:
        assert callable(getattr(busdesign, name))
    with pytest.raises(AttributeError, match="has no attribute 'chekc'"):
        _ = busdesign.chekc
