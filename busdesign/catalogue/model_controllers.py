"""How a node's controller holds frames: those that wait to be sent, and those that wait to be read."""

from dataclasses import dataclass
from enum import StrEnum


class Queue(StrEnum):
    """In which order a node offers its frames to the bus."""

    PRIORITY = "priority"  # always the most urgent one
    FIFO = "fifo"  # in the order in which they were queued
    BUFFERS = "buffers"  # the most urgent one of those in the buffers; the others wait in the node, in priority order


@dataclass(frozen=True, slots=True)
class Transmit:
    """What lies between the node's application and the bus.

    ``depth``: places of a FIFO, that of the frame on the wire included; None where nobody says. ``buffers``: how many.
    ``abort``: whether a less urgent frame is taken out of its buffer for a more urgent one, unless it is on the wire.
    """

    queue: Queue = Queue.PRIORITY
    depth: int | None = None
    buffers: int | None = None
    abort: bool = False


@dataclass(frozen=True, slots=True)
class Receive:
    """A FIFO of frames that were heard and passed the node's filter: those that name it as receiver.

    ``depth``: its places; what comes while all are taken is lost to this node. The node empties it every
    ``read_every_ns`` of its own clock.
    """

    depth: int
    read_every_ns: int
