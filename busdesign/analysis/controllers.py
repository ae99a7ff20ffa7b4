"""The bounds of a catalogue with the controllers that it declares: which analysis applies, and where none does.

A FIFO drops a frame that finds all its places taken; the frame on the wire keeps its place until its end. So a bound is
one only if that cannot happen: if there are never more than ``depth`` frames in it, of each message ceil(R / T) with R
the bound in a FIFO with room for all (own derivation).

Where buffers can be aborted, three of them leave the bound of a priority queue as it is: one may be on the wire and one
being filled, and the third still offers something (M. Di Natale and others, and the papers in ``queues``, from memory).
"""

from collections.abc import Mapping, Sequence

from busdesign.analysis.offers import Group
from busdesign.analysis.queues import queued_bounds
from busdesign.analysis.response import Bound, Disturbance, NoBound, Stream, response_bounds
from busdesign.catalogue.model import Catalogue, Node
from busdesign.catalogue.model_controllers import Queue
from busdesign.findings import counted

ENOUGH_TO_ABORT = 3


def bounds_of(
    catalogue: Catalogue,
    streams: Sequence[Stream],
    *,
    bit: int,
    blocking_at_least: int = 0,
    disturbances: Sequence[Disturbance] = (),
) -> tuple[Bound | NoBound, ...]:
    """The bound of each of ``streams``, all messages of ``catalogue`` with an identifier; else as `response_bounds`."""
    groups = groups_of(catalogue, streams)
    answers: Sequence[Bound | NoBound]
    if groups:
        answers = queued_bounds(
            streams, groups, bit=bit, blocking_at_least=blocking_at_least, disturbances=disturbances
        )
    else:
        answers = response_bounds(streams, bit=bit, blocking_at_least=blocking_at_least, disturbances=disturbances)
    found = dict(zip((stream.name for stream in streams), answers, strict=True))
    refused: dict[str, NoBound] = {}
    for node in catalogue.nodes.values():
        own = [stream for stream in streams if catalogue.message(stream.name).sender == node.name]
        refused |= _refused(node, own, found)
    return tuple(refused.get(answer.name, answer) for answer in answers)


def groups_of(catalogue: Catalogue, streams: Sequence[Stream]) -> list[Group]:
    """The nodes that have something to send and do not always offer the most urgent of it."""
    groups = []
    for node in catalogue.nodes.values():
        transmit, sent = node.transmit, catalogue.sent_by(node.name)
        names = {message.name for message in sent}
        members = frozenset(stream.priority for stream in streams if stream.name in names)
        if transmit is None or not members or transmit.queue is Queue.PRIORITY or transmit.abort:
            continue
        unplaced = next((message.name for message in sent if message.identifier is None), None)
        unknown = f"`{unplaced}`, which waits in `{node.name}` too, has no identifier" if unplaced else ""
        groups.append(Group(node.name, members, transmit.buffers or 0, unknown))
    return groups


def _refused(node: Node, own: Sequence[Stream], found: Mapping[str, Bound | NoBound]) -> dict[str, NoBound]:
    """Messages of ``node`` whose bound is none, for what the equations do not look at."""
    transmit = node.transmit
    if transmit is None:
        return {}
    reason = fix = ""
    if transmit.queue is Queue.FIFO:
        waiting = [_most_waiting(stream, found[stream.name]) for stream in own]
        most = None if None in waiting else sum(count or 0 for count in waiting)
        if transmit.depth is None:
            reason = f"nothing says how many frames the FIFO of `{node.name}` holds before it drops one"
            fix = f"state its `depth`{'' if most is None else f'; `depth: {most}` would do'}"
        elif most is not None and most > transmit.depth:
            reason = (
                f"up to {counted(most, 'frame')} may wait in the FIFO of `{node.name}`, and it drops what comes "
                f"after {transmit.depth}"
            )
            fix = f"`depth: {most}`, or longer periods"
    elif transmit.queue is Queue.BUFFERS and transmit.abort and (transmit.buffers or 0) < ENOUGH_TO_ABORT:
        reason = (
            f"of {counted(transmit.buffers or 0, 'buffer')} in `{node.name}` one may be on the wire and one being "
            "filled, so that less urgent frames of others may go first again and again"
        )
        fix = f"{ENOUGH_TO_ABORT} buffers that can be aborted are enough"
    if not reason:
        return {}
    return {
        stream.name: NoBound(stream.name, answer.blocking, reason, fix)
        for stream in own
        if isinstance(answer := found[stream.name], Bound)
    }


def _most_waiting(stream: Stream, answer: Bound | NoBound) -> int | None:
    return None if isinstance(answer, NoBound) else -(-answer.response // stream.period)
