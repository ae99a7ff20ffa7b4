"""Short stories about the demo aeroplane, played on its real catalogue and models."""

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from busdesign.answers.names import vocabulary_with
from busdesign.answers.simulate import SimulateAnswer, judge, simulate
from busdesign.catalogue.codec import MessageCodec
from busdesign.scenario.model import Scenario
from busdesign.scenario.reader import parse_scenario, read_scenario
from busdesign.virtual.bus import simulate_bus
from busdesign.virtual.models import load_models
from busdesign.virtual.node import Node
from sim.strut import Strut

FOLDER = Path(__file__).parents[2] / "sim" / "scenarios"
NAMES = sorted(path.stem for path in FOLDER.iterdir())
LEGS = ("nose", "left", "right")
SECOND_NS = 1_000_000_000

TITLE = "scenario: a story\ncatalogue: ../../messages/saltmarsh.yaml\nmodels:\n"
PANEL = "  panel: {{model: sim/panel.py:Panel, lamps: {lamps}}}\n"
AIR_DATA = "  air_data: {{model: sim/air_data.py:AirData, first_airspeed: {airspeed_kt}}}\n"
STRUTS = "".join(f"  strut_{leg}: {{{{model: sim/strut.py:Strut, leg: {leg}, begins: {{begins}}}}}}\n" for leg in LEGS)
CAST = PANEL + AIR_DATA + STRUTS


def story(
    text: str, *, cast: str = CAST, begins: str = "down", airspeed_kt: float = 90, lamps: str = "amphibian"
) -> Scenario:
    """The scenario of ``text`` (``run_for``, ``steps``, ``faults``), with all boards unless ``cast`` has less."""
    models = cast.format(begins=begins, airspeed_kt=airspeed_kt, lamps=lamps)
    return parse_scenario(TITLE + models + text, str(FOLDER / "story.yaml"))


def steps(*written: str) -> str:
    """``steps`` from lines such as ``1 s: panel.switch: up``."""
    entries = (line.partition(": ") for line in written)
    return "steps:\n" + "".join(f"  - {{at: {at}, set: {{{sets}}}}}\n" for at, _, sets in entries)


def played(text: str, **settings: Any) -> SimulateAnswer:
    """The run of ``story``."""
    return simulate(story(text, **settings))


def with_others(scenario: Scenario | str, others: Mapping[str, Node]) -> SimulateAnswer:
    """The run of a scenario (or the demo's one of that name) in which ``others`` stand in for some nodes' models."""
    told = read_scenario(FOLDER / f"{scenario}.yaml") if isinstance(scenario, str) else scenario
    nodes = load_models(told)
    for name, other in others.items():
        other.name = name
        if isinstance(other, Strut):
            other.leg, other.begins = name.removeprefix("strut_"), nodes[name].__dict__.get("begins", "down")
        nodes[name] = other
    return judge(told, simulate_bus(told, nodes), vocabulary_with(told.catalogue, nodes))


def changes(answer: SimulateAnswer, name: str) -> list[tuple[int, Any]]:
    """When ``node.name`` came to show what."""
    trace = answer.run.traces[name]
    return list(zip(trace.times_ns, trace.values, strict=True))


def shown(answer: SimulateAnswer, name: str) -> list[Any]:
    """What ``node.name`` showed, in order; what lasted no time is left out."""
    told = changes(answer, name)
    ends = [*(time for time, _ in told[1:]), None]
    return [value for (start, value), end in zip(told, ends, strict=True) if start != end]


def at(answer: SimulateAnswer, name: str, time_s: float) -> Any:
    """What ``node.name`` showed at ``time_s``."""
    return [value for time, value in changes(answer, name) if time <= time_s * SECOND_NS][-1]


def heard(answer: SimulateAnswer, message: str) -> list[tuple[int, dict[str, Any]]]:
    """When each frame of ``message`` ended, and what it said."""
    run = answer.run
    index = [known.name for known in run.catalogue.messages].index(message)
    codec = MessageCodec(run.catalogue.messages[index])
    rows = [row for row, which in enumerate(run.message_index) if which == index]
    return [(int(run.traffic.end_ns[row]), codec.decode(run.traffic.data(row))) for row in rows]
