"""A scenario's faults in a run: what `faults.players` has put together, brought to the kernel, the senders and nodes.

A scenario without faults has `NoFaults`, which costs a run nothing.
"""

from collections.abc import Callable, Iterator, Mapping
from typing import Any

from busdesign.catalogue.model import Catalogue
from busdesign.findings import Finding
from busdesign.scenario.model import Scenario
from busdesign.virtual.board import Board
from busdesign.virtual.clocks import TimeBase
from busdesign.virtual.disturbances import Conditions
from busdesign.virtual.doors import Doors
from busdesign.virtual.faults.power import Power, Span, broken_up, merged
from busdesign.virtual.faults.stage import Stage
from busdesign.virtual.faults.strangers import Strangers, with_strangers
from busdesign.virtual.faults.streams import Change, Recounting
from busdesign.virtual.kernel import FAULT, Kernel
from busdesign.virtual.node import Node
from busdesign.virtual.senders import Sender

Releases = Iterator[tuple[int, int]]
Begun = Callable[[int], Releases]


class NoFaults:
    """Of a scenario in which nothing fails."""

    findings: tuple[Finding, ...] = ()

    def __init__(self, scenario: Scenario) -> None:
        self.catalogue = scenario.catalogue

    def strangers(self, base: TimeBase) -> dict[str, Sender]:
        """The senders that are not in the catalogue."""
        return {}

    def conditions(self, also: Conditions) -> Conditions:
        """What is wrong on the wire, with ``also``."""
        return also

    def switch_on(
        self,
        kernel: Kernel,
        senders: dict[str, Sender],
        nodes: Mapping[str, Node],
        boards: Mapping[str, Board],
        doors: Doors,
    ) -> None:
        """The boards have been made, and no model has begun."""

    def releases(self, sender: Sender, begun: Begun) -> Releases:
        """The releases of ``sender``; ``begun``: those from a moment on, as if power came on then."""
        return begun(0)

    def plan(self) -> None:
        """Put into the heap what is known before the run; all models have begun."""

    def over(self) -> None:
        """The run is over."""


class Faults(NoFaults):
    """Of a scenario in which something does."""

    def __init__(self, stage: Stage) -> None:
        self._stage = stage
        self._run_for_ns = stage.scenario.run_for_ns
        self.catalogue: Catalogue = with_strangers(stage)
        self.findings = tuple(stage.findings)
        self._off: dict[str, list[Span]] = {}
        self._power: dict[str, Power] = {}
        self._changes: dict[str, list[Change]] = {}

    def strangers(self, base: TimeBase) -> dict[str, Sender]:
        self._strangers = Strangers(self._stage, self.catalogue, base)
        found: dict[str, Sender] = {}
        for number, sender in enumerate(self._strangers.senders, 1):
            name = sender.message.name  # a run looks up its messages by their names
            found[f"{name} {number}" if name in found else name] = sender
        return found

    def conditions(self, also: Conditions) -> Conditions:
        return self._stage.conditions(also)

    def switch_on(
        self,
        kernel: Kernel,
        senders: dict[str, Sender],
        nodes: Mapping[str, Node],
        boards: Mapping[str, Board],
        doors: Doors,
    ) -> None:
        self._kernel, self._senders = kernel, senders
        self._run_end = self._run_for_ns * kernel.base.ticks_per_ns
        for name in dict.fromkeys(outage.node for outage in self._stage.outages):
            self._prepare(name, nodes.get(name), boards.get(name), doors)
        for message, changes in self._stage.changes.items():
            self._changes.setdefault(message, []).extend(changes)
        for message, own in self._changes.items():
            sender = senders[message]
            own.sort(key=lambda change: change.rank)
            for change in own:
                change.set_up(kernel, sender, self._run_end)
                sender.make = change.payloads(sender.make)
        self._strangers.join(kernel, senders, self._run_end)

    def _prepare(self, name: str, node: Node | None, board: Board | None, doors: Doors) -> None:
        kernel = self._kernel
        own = [sender for sender in self._senders.values() if sender.node == name]
        power = self._power[name] = Power(kernel, own, node)
        self._off[name] = merged(self._stage.outages, name, kernel.base.ticks_per_ns)
        if board is not None:
            board.while_on = power.while_on
        for sender in own:
            recounting = power.recounting[sender.message.name] = Recounting()
            self._changes.setdefault(sender.message.name, []).append(recounting)
        fifo = kernel.receive.get(name)
        if fifo is not None:
            power.ended.append(fifo.forget)
        for gate in doors.gates_of(name):
            power.ended.append(gate.stop)
            power.begun.append(gate.start)

    def releases(self, sender: Sender, begun: Begun) -> Releases:
        off = self._off.get(sender.node)
        found: Releases = broken_up(begun, off, self._run_end) if off else begun(0)
        for change in self._changes.get(sender.message.name, ()):
            found = change.releases(found)
        return found

    def plan(self) -> None:
        kernel, per_ns = self._kernel, self._kernel.base.ticks_per_ns
        for mute in self._stage.mutes:
            own = [sender for sender in self._senders.values() if sender.node == mute.node]
            kernel.at(mute.from_ns * per_ns, FAULT, _muter(kernel, own, 1))
            if mute.until_ns is not None:
                kernel.at(mute.until_ns * per_ns, FAULT, _muter(kernel, own, -1))
        for name, power in self._power.items():
            power.plan(self._off[name])
        for bound in self._stage.bound:
            bound.bind(kernel, self._senders)

    def over(self) -> None:
        self._strangers.leave()


def faults_of(scenario: Scenario) -> Faults | NoFaults:
    """The faults of ``scenario``, ready for a run."""
    if not scenario.faults:
        return NoFaults(scenario)
    from busdesign.virtual.faults.players import staged  # with all that the wires need, which a plain run does not

    return Faults(staged(scenario))


def _muter(kernel: Kernel, senders: list[Sender], more: int) -> Callable[[Any], None]:
    def switch(_: object) -> None:
        for sender in senders:
            sender.mutes += more
        kernel.drop_muted()

    return switch
