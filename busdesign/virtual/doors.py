"""How a frame gets to a node's model: straight, through the gate of an ``accept``, or out of a receive FIFO."""

from collections.abc import Callable, Mapping

from busdesign.catalogue.model import Message
from busdesign.virtual.acceptance import Gate
from busdesign.virtual.board import absence_of, listens
from busdesign.virtual.kernel import Kernel
from busdesign.virtual.node import Arrival, Node
from busdesign.virtual.senders import Sender

Heard = Callable[[Arrival], None]


class Doors:
    """The doors of all nodes that have a model."""

    def __init__(self, kernel: Kernel, senders: Mapping[str, Sender], nodes: Mapping[str, Node]) -> None:
        self._kernel = kernel
        self._hears: dict[str, Heard] = {name: node.heard for name, node in nodes.items() if listens(node, "heard")}
        self.gates: dict[tuple[str, str], Gate] = {}  # by message and node
        for sender in senders.values():
            message = sender.message
            for name in message.receivers if message.accept and not message.is_remote else ():
                node = nodes.get(name)
                if node is not None and (name in self._hears or absence_of(message, node)):
                    missed = node.missed if absence_of(message, node) else None
                    gate = Gate(kernel, sender.codec, self._hears.get(name), missed)
                    gate.start()
                    self.gates[message.name, name] = gate

    @property
    def fifo_readers(self) -> Mapping[str, Heard]:
        """What a node with a receive FIFO calls for each frame that it reads."""
        gated = {name for _, name in self.gates}
        return {name: self._sorted(name) if name in gated else heard for name, heard in self._hears.items()}

    def _sorted(self, node: str) -> Heard:
        doors = {message: gate.hear for (message, name), gate in self.gates.items() if name == node}
        heard = self._hears.get(node, _ignored)
        return lambda arrival: doors.get(arrival.codec.message.name, heard)(arrival)

    def is_gated(self, message: Message, node: str) -> bool:
        """Whether ``node`` believes ``message`` by its ``accept``."""
        return (message.name, node) in self.gates

    def gates_of(self, node: str) -> list[Gate]:
        """All gates at ``node``."""
        return [gate for (_, name), gate in self.gates.items() if name == node]

    def listeners(self, message: Message) -> dict[str, Heard]:
        """What the end of a frame of ``message`` calls, by the node that hears it."""
        found: dict[str, Heard] = {}
        for name in message.receivers:
            fifo, gate = self._kernel.receive.get(name), self.gates.get((message.name, name))
            if fifo is not None:
                found[name] = fifo.arrive
            elif gate is not None:
                found[name] = gate.hear
            elif name in self._hears:
                found[name] = self._hears[name]
        return found


def _ignored(_: Arrival) -> None:
    """Heard by nobody."""
