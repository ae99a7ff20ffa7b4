"""What happens on the bus in a scenario, what of it was expected, and whether every frame kept within its bound."""

import os
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from busdesign.analysis.frame_lengths import longest_frames
from busdesign.analysis.functions import function_bounds
from busdesign.analysis.streams import WorstCases, worst_cases
from busdesign.answers.controllers import overrun_findings
from busdesign.answers.faults_run import as_faults_have_it
from busdesign.answers.figures import MS
from busdesign.answers.functions_run import FunctionRun, beyond_bounds, function_runs
from busdesign.answers.names import tracks_for, vocabulary_with
from busdesign.answers.plain import without_facts
from busdesign.catalogue.model import Catalogue
from busdesign.errors import ScenarioError
from busdesign.findings import Finding, Severity, sort_findings
from busdesign.scenario.evaluate import evaluate
from busdesign.scenario.model import Scenario
from busdesign.scenario.reader import read_scenario
from busdesign.scenario.vocabulary import Vocabulary, check_names
from busdesign.units import format_duration
from busdesign.virtual.models import load_models

if TYPE_CHECKING:
    from collections.abc import Callable

    from busdesign.virtual.run import Run

BUSIEST_WINDOW_NS = 100 * MS


@dataclass(frozen=True, slots=True)
class Spread:
    """Of the response times of one message, in milliseconds; ``p99`` by the nearest rank."""

    min: float
    mean: float
    p99: float
    max: float


@dataclass(frozen=True, slots=True)
class MessageRun:
    """What became of one message. ``lost``: released, but not completed by the end of the run."""

    name: str
    sent: int
    lost: int
    response_ms: Spread | None  # None if none was sent
    deadline_ms: float
    response_worst_ms: float | None  # the bound
    within_bound: bool | None


@dataclass(frozen=True, slots=True)
class ExpectationAnswer:
    """One expectation: ``holds`` is None where that cannot be said, which counts as not held."""

    name: str
    holds: bool | None
    at_s: float | None
    text: str


@dataclass(frozen=True, slots=True)
class NodeAnswer:
    """Error counters at the end (ISO 11898-1 fault confinement), and the frames that found a FIFO full."""

    name: str
    tec: int
    rec: int
    state: str
    transmit_overruns: int  # dropped before they were sent
    receive_overruns: int  # heard, and lost before they were read


@dataclass(frozen=True, slots=True)
class SimulateAnswer:
    """One run. Loads are fractions of 1. ``holds``: all expectations held and no frame exceeded its bound."""

    scenario: str
    catalogue: str
    duration_s: float
    seed: int
    frames: int
    load_mean: float
    load_busiest_100ms: float
    load_busiest_at_s: float
    messages: tuple[MessageRun, ...]
    functions: tuple[FunctionRun, ...]
    expectations: tuple[ExpectationAnswer, ...]
    nodes: tuple[NodeAnswer, ...]
    findings: tuple[Finding, ...]
    holds: bool
    story: Scenario = field(repr=False, metadata={"json": False})
    run: "Run" = field(repr=False, metadata={"json": False})
    vocabulary: Vocabulary = field(repr=False, metadata={"json": False})


def simulate(
    scenario: Scenario | str | os.PathLike[str], *, progress: "Callable[[float], None] | None" = None
) -> SimulateAnswer:
    """Run a scenario, or the YAML file of one.

    Raises ScenarioError or CatalogueError if it is unusable, ModelError if a node model fails.
    """
    story = scenario if isinstance(scenario, Scenario) else read_scenario(scenario)
    nodes = load_models(story)
    vocabulary = vocabulary_with(story.catalogue, nodes)
    findings = check_names(story, vocabulary)
    if findings:
        raise ScenarioError(findings)
    from busdesign.virtual.bus import simulate_bus

    return judge(story, simulate_bus(story, nodes, progress), vocabulary)


def judge(story: Scenario, run: "Run", vocabulary: Vocabulary) -> SimulateAnswer:
    """Hold a finished run against the expectations of ``story`` and the bounds of its catalogue.

    ``vocabulary``: the names that its nodes declared (``names.vocabulary_with``).
    """
    from busdesign.traffic.tallies import busiest_window, load

    catalogue = story.catalogue
    bounds = worst_cases(catalogue, longest_frames(catalogue))
    messages = _messages(catalogue, run, bounds)
    promised = function_bounds(catalogue, bounds.cases)
    functions = function_runs(promised, run, story.faults)
    outcomes = [evaluate(expected, tracks_for(expected.names, run), run.run_for_ns) for expected in story.expectations]
    bit_ns = catalogue.bus.bit_ns
    busiest, busiest_at_ns = busiest_window(run.traffic, run.wire_bits, bit_ns, 0, run.run_for_ns, BUSIEST_WINDOW_NS)
    beyond = [
        *_beyond_bounds(bounds, messages, story, run),
        *beyond_bounds(promised, functions, _why_exceeded(story, run)),
    ]
    beyond = as_faults_have_it(beyond, story)
    findings = sort_findings([*run.findings, *beyond, *_lone(catalogue, run), *overrun_findings(run)])
    return SimulateAnswer(
        scenario=story.name,
        catalogue=catalogue.name,
        duration_s=run.run_for_ns / 1e9,
        seed=run.seed,
        frames=len(run.traffic),
        load_mean=load(run.traffic, run.wire_bits, bit_ns, 0, run.run_for_ns),
        load_busiest_100ms=busiest,
        load_busiest_at_s=busiest_at_ns / 1e9,
        messages=messages,
        functions=functions,
        expectations=tuple(
            ExpectationAnswer(found.name, found.holds, None if found.at_ns is None else found.at_ns / 1e9, found.text)
            for found in outcomes
        ),
        nodes=tuple(_node(name, run) for name in catalogue.nodes),
        findings=findings,
        holds=all(found.holds for found in outcomes)
        and not any(found.severity is Severity.BROKEN for found in findings),
        story=story,
        run=run,
        vocabulary=vocabulary,
    )


def refused(findings: Sequence[Finding]) -> dict[str, Any]:
    """The shape of ``simulate --json`` for a scenario that cannot be used: no frame was sent."""
    return {**without_facts(SimulateAnswer, findings), "frames": 0}


def _messages(catalogue: Catalogue, run: "Run", bounds: WorstCases) -> tuple[MessageRun, ...]:
    import numpy as np

    found = []
    for index, message in enumerate(catalogue.messages):
        responses = np.sort(run.response_ns[run.message_index == index])
        bound_ns = bounds.cases[message.name].response_ns
        spread = None
        if len(responses):
            rank = -(-99 * len(responses) // 100) - 1
            spread = Spread(
                *(float(time) / MS for time in (responses[0], responses.mean(), responses[rank], responses[-1]))
            )
        within = None if spread is None or bound_ns is None else int(responses[-1]) <= bound_ns
        found.append(
            MessageRun(
                name=message.name,
                sent=len(responses),
                lost=run.unfinished[message.name],
                response_ms=spread,
                deadline_ms=message.deadline_ns / MS,
                response_worst_ms=None if bound_ns is None else bound_ns / MS,
                within_bound=within,
            )
        )
    return tuple(found)


def _beyond_bounds(bounds: WorstCases, messages: Sequence[MessageRun], story: Scenario, run: "Run") -> list[Finding]:
    found = []
    catalogue = story.catalogue
    for ran in messages:
        where = catalogue.message(ran.name).place_of()
        if ran.response_worst_ms is None:
            case = bounds.cases[ran.name]
            text = f"`{ran.name}` has no bound: {case.why_not}"
            fix = case.fix or "raise the bit rate, or lengthen periods or shorten payloads"
            found.append(Finding("no-bound", Severity.BROKEN, where, text, fix))
        if ran.response_ms and ran.response_ms.max > ran.deadline_ms:
            text = (
                f"`{ran.name}` took {format_duration(round(ran.response_ms.max * MS))} in this run, "
                f"beyond its deadline of {format_duration(round(ran.deadline_ms * MS))}"
            )
            place = catalogue.message(ran.name).place_of("deadline")
            found.append(Finding("deadline-missed", Severity.BROKEN, place, text))
        if ran.within_bound is False and ran.response_ms and ran.response_worst_ms is not None:
            text = (
                f"`{ran.name}` took {format_duration(round(ran.response_ms.max * MS))} in this run, "
                f"more than its bound of {format_duration(round(ran.response_worst_ms * MS))}"
            )
            where = catalogue.message(ran.name).place_of()
            found.append(Finding("bound-exceeded", Severity.BROKEN, where, text, _why_exceeded(story, run)))
    return found


def _why_exceeded(story: Scenario, run: "Run") -> str:
    if run.error_frames:
        return (
            f"errors broke off {len(run.error_frames)} frames in this run, and the bound is that of a bus without any"
        )
    if isinstance(story.drift, Mapping):
        return "the scenario's `drift` may lie beyond the tolerance that the catalogue declares"
    return "a message comes more often than declared, or this program is wrong: please report it"


def _lone(catalogue: Catalogue, run: "Run") -> list[Finding]:
    if not run.alone:
        return []
    name = next(iter(catalogue.nodes))
    text = f"`{name}` is alone on the bus: nobody acknowledges, so no frame is ever completed"
    return [Finding("no-acknowledge", Severity.BROKEN, catalogue.nodes[name].place, text, "add a second node")]


def _node(name: str, run: "Run") -> NodeAnswer:
    last = run.errors[name][-1]
    overruns = run.transmit_overruns.get(name, 0), run.receive_overruns.get(name, 0)
    return NodeAnswer(name, last.tec, last.rec, last.state.replace(" ", "-"), *overruns)
