"""The way of a function over the bus: which messages it takes, through which nodes, and where it does not lead on.

A label ``node.word`` says at which node the way begins, passes or ends. A node is passed once however many of its
labels are named: from what it heard, or from a change of its own, to what it publishes or does.
"""

from dataclasses import dataclass
from itertools import pairwise
from math import ceil

from busdesign.catalogue.model import Acceptance, Catalogue, Function, Message, Node


@dataclass(frozen=True, slots=True)
class Hop:
    """One message of a way. ``passes``: the node that has to act first; "" where the way begins with the message.

    ``frames``: how many of them, one after the other, have to say the same before the receiver acts on it.
    """

    message: Message
    passes: str
    frames: int


@dataclass(frozen=True, slots=True)
class Way:
    """A function's way: labels at its ends ("" where a message stands there), the hops, the node that acts at the end.

    ``gap`` says why it does not lead through, with what would mend it; None if it does, or may.
    """

    begins: str
    hops: tuple[Hop, ...]
    ends: str
    acts: str
    gap: tuple[str, str, str, str] | None  # from this step, to that one, the reason, what would mend it

    @property
    def nodes(self) -> tuple[str, ...]:
        """The nodes that have to act, in their order."""
        return tuple(node for node in (*(hop.passes for hop in self.hops), self.acts) if node)

    @property
    def readers(self) -> tuple[str, ...]:
        """Of each hop the node that has to read its frame before it goes on; "" where none has to: the way ends there,
        or the frame asks for the next message, which a controller sends by itself.
        """
        if not self.hops:
            return ()
        onward = (
            "" if hop.message.requests == after.message.name else after.passes for hop, after in pairwise(self.hops)
        )
        return (*onward, self.acts)


def longest_in_receive_fifo_ns(node: Node) -> int:
    """How long a frame may lie in the receive FIFO of ``node``: one period of its reads on its slowest clock.

    What ends just after a read lies until the next one, which takes all that is there; 0 for a node without one.
    """
    return 0 if node.receive is None else ceil(node.receive.read_every_ns / (1 - node.tolerance))


def way_of(function: Function, catalogue: Catalogue) -> Way:
    """The way of ``function``, whose messages are those of ``catalogue``."""
    path, hops = function.path, []
    for index, step in enumerate(path):
        if "." not in step:
            message = catalogue.message(step)
            frames = (message.accept or Acceptance()).good_frames[0]
            hops.append(Hop(message, message.sender if index else "", frames))
    is_label = "." in path[-1]
    return Way(
        begins=path[0] if "." in path[0] else "",
        hops=tuple(hops),
        ends=path[-1] if is_label else "",
        acts=path[-1].partition(".")[0] if is_label and len(path) > 1 else "",
        gap=_first_gap(path, catalogue),
    )


def _first_gap(path: tuple[str, ...], catalogue: Catalogue) -> tuple[str, str, str, str] | None:
    for step, following in pairwise(path):
        gap = _gap(catalogue, step, following)
        if gap:
            return step, following, *gap
    return None


def _gap(catalogue: Catalogue, step: str, following: str) -> tuple[str, str] | None:
    """Why ``step`` does not lead to ``following``, and what would; None if it does, or may.

    A message that names no receivers at all leaves open who hears it.
    """
    at, goes_on = _nodes_after(catalogue, step), _node_before(catalogue, following)
    if not at or goes_on in at:
        return None
    if "." in step:
        if "." in following:
            return f"no message goes from {step.partition('.')[0]} to {goes_on}", "name the message between them"
        return f"{goes_on} sends it", f"begin with a label of `{goes_on}`, or name the message that reaches it"
    return f"{goes_on} does not receive `{step}`", f"add `{goes_on}` to its `to`"


def _nodes_after(catalogue: Catalogue, step: str) -> tuple[str, ...]:
    """Where one is after ``step``: at the label's node, or at any that receives the message."""
    node, dot, _ = step.partition(".")
    if dot:
        return (node,)
    message = catalogue.message(step)
    if message.requests and not message.receivers:
        return (catalogue.message(message.requests).sender,)
    return message.receivers


def _node_before(catalogue: Catalogue, step: str) -> str:
    """Where ``step`` begins: at the label's node, or at the message's sender."""
    node, dot, _ = step.partition(".")
    return node if dot else catalogue.message(step).sender
