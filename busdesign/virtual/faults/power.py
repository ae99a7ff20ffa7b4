"""Nodes that lose their power and begin anew: their models, their counters, what their controllers hold."""

from collections.abc import Callable, Iterable, Iterator
from typing import Any

from busdesign.virtual.faults.stage import Outage
from busdesign.virtual.faults.streams import Recounting
from busdesign.virtual.kernel import FAULT, Kernel
from busdesign.virtual.node import Node
from busdesign.virtual.senders import Sender

Span = tuple[int, int | None]  # off from, on again at; ticks


def merged(outages: Iterable[Outage], node: str, ticks_per_ns: int) -> list[Span]:
    """When ``node`` has no power, in the order of time; what overlaps is one."""
    own = sorted((one for one in outages if one.node == node), key=lambda one: one.from_ns)
    found: list[Span] = []
    for one in own:
        begin = one.from_ns * ticks_per_ns
        end = None if one.until_ns is None else one.until_ns * ticks_per_ns
        if found and (found[-1][1] is None or begin <= found[-1][1]):
            before = found[-1][1]
            end = None if before is None or end is None else max(before, end)
            found[-1] = (found[-1][0], end)
        else:
            found.append((begin, end))
    return found


def broken_up(begun: Callable[[int], Iterator[tuple[int, int]]], spans: list[Span], run_end: int) -> Any:
    """Releases of a node that is off in ``spans``; ``begun``: its releases from a moment on, as at power-up."""
    at = 0
    for off, on in spans:
        for nominal, actual in begun(at):
            if actual >= off:
                break
            yield nominal, actual
        if on is None or on >= run_end:
            while True:
                yield run_end + 1, run_end + 1
        at = on
    yield from begun(at)


class Power:
    """The power of one node during one run."""

    def __init__(self, kernel: Kernel, senders: list[Sender], node: Node | None) -> None:
        self._kernel, self._senders, self._node = kernel, senders, node
        self._since = 0  # which time it is that power has come on
        self.is_on = True
        self.ended: list[Callable[[], None]] = []  # told when power goes
        self.begun: list[Callable[[], None]] = []  # told when it has come again, before the model is
        self.recounting: dict[str, Recounting] = {}

    def plan(self, spans: list[Span]) -> None:
        """Put what happens in ``spans`` into the heap."""
        for off, on in spans:
            self._kernel.at(off, FAULT, self._switch_off)
            if on is not None:
                self._kernel.at(on, FAULT, self._switch_on)

    def while_on(self, duty: Callable[[], None]) -> Callable[[], None]:
        """``duty``, which ends with the power that it was begun with."""
        since = self._since

        def guarded() -> None:
            if self.is_on and since == self._since:
                duty()

        return guarded

    def _switch_off(self, _: object) -> None:
        self.is_on = False
        for told in self.ended:
            told()
        if self._node is not None:
            self._node.power_lost()

    def _switch_on(self, _: object) -> None:
        self.is_on = True
        self._since += 1
        for sender in self._senders:
            sender.raws = list(sender.codec.initial_raws)
            sender.last_said = None
        for change in self.recounting.values():
            change.restart()
        for told in self.begun:
            told()
        if self._node is not None:
            self._node._power_on()
