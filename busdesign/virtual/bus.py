"""A run of a scenario: boards and senders put together, the kernel let go, the rows turned into columns."""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace
from typing import Any

from busdesign.catalogue.codec import codecs_of
from busdesign.catalogue.payloads import Payloads, fixed_payloads, random_payloads, zero_payloads
from busdesign.chance import stream
from busdesign.errors import ScenarioError
from busdesign.findings import Finding, Severity
from busdesign.scenario.model import Scenario
from busdesign.units import format_duration
from busdesign.virtual.board import Board, absence_of
from busdesign.virtual.clocks import drifts_of, time_base
from busdesign.virtual.columns import run_of_rows
from busdesign.virtual.controllers import receive_fifos
from busdesign.virtual.disturbances import UNDISTURBED, Conditions
from busdesign.virtual.disturbed_kernel import kernel_for
from busdesign.virtual.doors import Doors
from busdesign.virtual.faulty import Faults, NoFaults, faults_of
from busdesign.virtual.kernel import PROGRESS, STEP, Kernel
from busdesign.virtual.models import model_error
from busdesign.virtual.node import Arrival, Clock, Node
from busdesign.virtual.run import Run
from busdesign.virtual.senders import Sender, lateness_ns, releases

Progress = Callable[[float], None]  # told the part of the run that is done, 0 to 1

PROGRESS_STEPS = 200


def simulate_bus(
    scenario: Scenario,
    nodes: Mapping[str, Node],
    progress: Progress | None = None,
    conditions: Conditions = UNDISTURBED,
) -> Run:
    """Run ``scenario`` with ``nodes`` (fresh objects, as ``models.load_models`` makes them).

    ``conditions``: what is wrong on the wire, beside the faults of the scenario.

    Raises ScenarioError if a message has no identifier, ModelError if a node model fails.
    """
    _refuse_without_identifier(scenario)
    faults = faults_of(scenario)
    catalogue = faults.catalogue
    drifts = drifts_of(catalogue, scenario.drift, scenario.seed)
    base = time_base(catalogue, drifts)
    clock = Clock(base.ticks_per_ns)
    codecs = codecs_of(scenario.catalogue.messages)
    senders = {name: Sender(index, codec, base) for index, (name, codec) in enumerate(codecs.items())}
    all_senders = senders | faults.strangers(base)
    conditions = faults.conditions(conditions)
    kernel = kernel_for(base, clock, tuple(all_senders.values()), tuple(catalogue.nodes), conditions)
    kernel.fit_controllers(catalogue)
    traces = _switch_on(nodes, kernel, senders, scenario, faults)
    alone = len(catalogue.nodes) < 2
    try:
        for node in nodes.values():
            node._power_on()
        _plan(scenario, kernel, senders, nodes, faults, progress)
        (kernel.run_alone if alone else kernel.run)(scenario.run_for_ns * base.ticks_per_ns)
    except (Exception, SystemExit) as error:  # whatever a model does, it is told with its line
        blamed = model_error(error, clock.now / base.ticks_per_ns / 1e9)
        if blamed is None:
            raise
        raise blamed from error
    faults.over()
    told = (*_said_too_soon(senders), *faults.findings)
    run_story = replace(scenario, catalogue=catalogue)
    return run_of_rows(run_story, base, kernel, all_senders, traces, drifts, alone, told)


def _refuse_without_identifier(scenario: Scenario) -> None:
    missing = [message for message in scenario.catalogue.messages if message.identifier is None]
    text = "`{}` has no identifier, so it has no priority on the wire"
    findings = [
        Finding("no-identifier", Severity.ERROR, message.place_of(), text.format(message.name), "give it an `id`")
        for message in missing
    ]
    if findings:
        raise ScenarioError(findings)


def _switch_on(
    nodes: Mapping[str, Node],
    kernel: Kernel,
    senders: dict[str, Sender],
    scenario: Scenario,
    faults: Faults | NoFaults,
) -> dict[str, tuple[list[int], list[Any]]]:
    """Give every node its board, clock and traces, and every message its listeners."""
    traces: dict[str, tuple[list[int], list[Any]]] = {}
    boards: dict[str, Board] = {}
    for name, node in nodes.items():
        boards[name] = Board(name, kernel, senders, stream(scenario.seed, "node", name))
        own = node._lend(kernel.clock, boards[name])
        traces.update({f"{name}.{shown}": track for shown, track in own.items()})
    doors = Doors(kernel, senders, nodes)
    kernel.receive = receive_fifos(scenario.catalogue, doors.fifo_readers)
    for sender in senders.values():
        message = sender.message
        heard = doors.listeners(message)
        sender.listener_nodes, sender.listeners = tuple(heard), tuple(heard.values())
        missing = [nodes[name] for name in message.receivers if name in nodes and not doors.is_gated(message, name)]
        missing = [node for node in missing if absence_of(message, node)]
        sender.absence_nodes = tuple(node.name for node in missing)
        sender.absence_listeners = tuple(node.missed for node in missing)
        sender.lost_after = (message.lost_after_ns or 0) * kernel.base.ticks_per_ns
        if message.requests:
            asked_for = senders[message.requests]
            sender.listeners = (_answer(kernel, asked_for), *sender.listeners)
            sender.listener_nodes = (asked_for.node, *sender.listener_nodes)
        if sender.queue is not None:  # offers its next frame before anything else comes of this one
            sender.listeners = (sender.queue.sent, *sender.listeners)
            sender.listener_nodes = (sender.node, *sender.listener_nodes)
        if message.sender not in nodes and not message.is_remote:
            sender.make = _payloads(sender, scenario)
    faults.switch_on(kernel, senders, nodes, boards, doors)
    return traces


def _answer(kernel: Kernel, asked_for: Sender) -> Callable[[Arrival], None]:
    """What the asked node's controller does on its own: the message goes out as it lay there, before anybody reacts."""
    return lambda _: kernel.say(asked_for)


def _payloads(sender: Sender, scenario: Scenario) -> Payloads:
    choice, name = scenario.payload, sender.message.name
    if name in choice.fixed:
        return fixed_payloads(choice.fixed[name])
    if choice.others == "zero":
        return zero_payloads(sender.codec)
    return random_payloads(sender.codec, stream(scenario.seed, "payload", name))


def _plan(
    scenario: Scenario,
    kernel: Kernel,
    senders: Mapping[str, Sender],
    nodes: Mapping[str, Node],
    faults: Faults | NoFaults,
    progress: Progress | None,
) -> None:
    """Put everything into the heap that is known before the run."""
    ticks = kernel.base.ticks_per_ns
    for sender in senders.values():
        if sender.absence_listeners:
            kernel.watch(sender)
        if not sender.message.irregular:
            kernel.release_from(sender, faults.releases(sender, _begun(sender, scenario, kernel)))
    for name, fifo in kernel.receive.items():
        receive = scenario.catalogue.nodes[name].receive
        assert receive is not None
        kernel.each(receive.read_every_ns * kernel.base.node_ticks_per_ns[name], fifo.read)
    for step in scenario.steps:
        kernel.at(step.at_ns * ticks, STEP, _setter(step.sets, nodes))
    faults.plan()
    if progress:
        for part in range(1, PROGRESS_STEPS):
            kernel.at(scenario.run_for_ns * ticks * part // PROGRESS_STEPS, PROGRESS, progress, part / PROGRESS_STEPS)


def _begun(sender: Sender, scenario: Scenario, kernel: Kernel) -> Callable[[int], Iterator[tuple[int, int]]]:
    """The releases of ``sender`` from the moment (ticks) on at which its power comes on."""
    message, seed = sender.message, scenario.seed
    start_ns = 0 if scenario.phases == "aligned" else message.offset_ns
    if scenario.phases == "random":
        longest = max(other.period_ns for other in scenario.catalogue.sent_by(message.sender) if not other.irregular)
        start_ns += stream(seed, "phase", message.sender).randrange(longest)
    late = lateness_ns(scenario.jitter, message.jitter_ns, stream(seed, "jitter", message.name))
    until = scenario.run_for_ns * kernel.base.ticks_per_ns
    return lambda begun: releases(message, start_ns, kernel.base, late, until, begun)


def _setter(sets: Mapping[str, object], nodes: Mapping[str, Node]) -> Callable[[Any], None]:
    def set_all(_: object) -> None:
        for path, value in sets.items():
            node, _, name = path.partition(".")
            setattr(nodes[node], name, value)

    return set_all


def _said_too_soon(senders: Mapping[str, Sender]) -> tuple[Finding, ...]:
    return tuple(
        Finding(
            "said-too-soon",
            Severity.BROKEN,
            sender.message.place_of("irregular"),
            f"{sender.node} said `{sender.message.name}` {sender.said_too_soon} times sooner than "
            f"{format_duration(sender.message.period_ns)} after the last one",
            "let the model wait, or state the true `at_least_apart`",
        )
        for sender in senders.values()
        if sender.said_too_soon
    )
