"""Controllers that are no plain priority queue, and those that are not read in time.

A frame that its controller offers lies among the kernel's pending ones, like those of all nodes; the others wait here.
"""

from collections.abc import Callable, Mapping
from heapq import heappop, heappush
from typing import Any

from busdesign.catalogue.model import Catalogue, Node
from busdesign.catalogue.model_controllers import Queue, Transmit
from busdesign.virtual.node import Arrival

Frame = tuple[Any, ...]  # the kernel's; its third part is the sender


class TransmitQueue:
    """The frames of one node: at most ``offers`` of them among ``pending``, or on the wire, at a time.

    ``behind_all``: how many wait behind the offered ones in all nodes, in its only entry.
    """

    __slots__ = ("_behind", "_behind_all", "_depth", "_in_order", "_offers", "_pending", "inside", "overruns")

    def __init__(self, transmit: Transmit, pending: list[Frame], behind_all: list[int]) -> None:
        self._in_order = transmit.queue is Queue.FIFO
        self._offers = transmit.buffers or 1
        self._depth = transmit.depth if self._in_order else None
        self._pending = pending
        self._behind: list[Frame] = []
        self._behind_all = behind_all
        self.inside = 0  # offered, or on the wire
        self.overruns = 0

    def take(self, frame: Frame) -> None:
        """Queue ``frame``; a FIFO that is full drops it."""
        if self.inside < self._offers:
            self.inside += 1
            heappush(self._pending, frame)
        elif self._depth is not None and self.inside + len(self._behind) >= self._depth:
            frame[2].unfinished += 1
            self.overruns += 1
        else:
            self._behind_all[0] += 1
            if self._in_order:
                self._behind.append(frame)
            else:
                heappush(self._behind, frame)

    def sent(self, _: Arrival | None = None) -> None:
        """One of its frames has ended: offer the next one."""
        self.inside -= 1
        if self._behind:
            self.inside += 1
            self._behind_all[0] -= 1
            heappush(self._pending, self._behind.pop(0) if self._in_order else heappop(self._behind))

    def drop_behind(self) -> None:
        """What waits behind the offered ones is never sent."""
        for frame in self._behind:
            frame[2].unfinished += 1
        self._behind_all[0] -= len(self._behind)
        self._behind.clear()

    def is_muted(self) -> bool:
        """Whether what waits belongs to a node that is silent now."""
        return bool(self._behind) and self._behind[0][2].mutes > 0


class ReceiveFifo:
    """Frames that one node has heard and not read yet; what comes while it is full is lost to that node."""

    __slots__ = ("_depth", "_heard", "_waiting", "overruns")

    def __init__(self, depth: int, heard: Callable[[Arrival], None] | None) -> None:
        self._depth = depth
        self._heard = heard
        self._waiting: list[Arrival] = []
        self.overruns = 0

    def arrive(self, arrival: Arrival) -> None:
        """A frame for this node has ended."""
        if len(self._waiting) < self._depth:
            self._waiting.append(arrival)
        else:
            self.overruns += 1

    def forget(self) -> None:
        """The node has lost its power, and what lies here with it."""
        self._waiting.clear()

    def read(self) -> None:
        """The node reads all of it, in the order of arrival."""
        waiting, self._waiting = self._waiting, []
        if self._heard:
            for arrival in waiting:
                self._heard(arrival)


def offers_in_order_of_priority(node: Node) -> bool:
    """Whether the kernel's own queue is this node's: no time passes while a buffer is aborted and filled."""
    return node.transmit is None or node.transmit.queue is Queue.PRIORITY or node.transmit.abort


def transmit_queues(catalogue: Catalogue, pending: list[Frame], behind_all: list[int]) -> dict[str, TransmitQueue]:
    """By its name the queue of every node that needs one of its own."""
    return {
        name: TransmitQueue(node.transmit, pending, behind_all)
        for name, node in catalogue.nodes.items()
        if node.transmit is not None and not offers_in_order_of_priority(node)
    }


def receive_fifos(catalogue: Catalogue, listeners: Mapping[str, Callable[[Arrival], None]]) -> dict[str, ReceiveFifo]:
    """By its name the receive FIFO of every node that declares one; ``listeners``: what it calls when it reads."""
    return {
        name: ReceiveFifo(node.receive.depth, listeners.get(name))
        for name, node in catalogue.nodes.items()
        if node.receive is not None
    }
