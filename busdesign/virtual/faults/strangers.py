"""Senders that are not in the catalogue: a babbling node, and a second sender of a message's identifier.

Where a stranger's frames are those of a message to all receivers, they count as that message's on the wire and are
heard as such. Otherwise they belong to a message of their own, which only the run knows.
"""

from collections.abc import Callable
from dataclasses import replace

from busdesign.catalogue.codec import MessageCodec
from busdesign.catalogue.model import Catalogue
from busdesign.virtual.clocks import TimeBase
from busdesign.virtual.faults.sources import Collision
from busdesign.virtual.faults.stage import Stage, Stranger
from busdesign.virtual.kernel import RELEASE_INTO, Kernel
from busdesign.virtual.node import Arrival
from busdesign.virtual.senders import Sender

_FAR_BEHIND = 1 << 40  # numbers of a stranger's frames: of two that are due at once the catalogue's comes first


def with_strangers(stage: Stage) -> Catalogue:
    """The catalogue, and the messages that only this run knows."""
    own = [stranger.message for stranger in stage.strangers if not stranger.like]
    unlike = {message.name: message for message in own}
    return replace(stage.catalogue, messages=(*stage.catalogue.messages, *unlike.values()))


class Strangers:
    """The senders of ``stage``'s strangers in one run; ``catalogue``: with their messages."""

    def __init__(self, stage: Stage, catalogue: Catalogue, base: TimeBase) -> None:
        self._stage = stage
        index = {message.name: position for position, message in enumerate(catalogue.messages)}
        self._all: list[tuple[Stranger, Sender]] = []
        for stranger in stage.strangers:
            sender = Sender(index[stranger.like or stranger.message.name], MessageCodec(stranger.message), base)
            sender.count = _FAR_BEHIND * (len(self._all) + 1)
            sender.make = lambda raws, count: 0
            self._all.append((stranger, sender))

    @property
    def senders(self) -> tuple[Sender, ...]:
        return tuple(sender for _, sender in self._all)

    def join(self, kernel: Kernel, senders: dict[str, Sender], run_end: int) -> None:
        """Let them send; ``senders``: those of the catalogue, which have their listeners already."""
        per_ns = kernel.base.ticks_per_ns
        for stranger, sender in self._all:
            like = senders.get(stranger.like)
            if like is not None:
                _be_heard_as(sender, like)
            if sender.queue is not None:
                sender.listeners = (sender.queue.sent, *sender.listeners)
                sender.listener_nodes = (sender.node, *sender.listener_nodes)
            end = run_end if stranger.until_ns is None else min(stranger.until_ns * per_ns, run_end)
            _Flood(kernel, sender, stranger.every_ns * per_ns, end).plan(stranger.from_ns * per_ns)
        for source in self._stage.sources:
            if isinstance(source, Collision):
                rivals = [sender for stranger, sender in self._all if stranger.like == source.message]
                source.bind_to(kernel, (senders[source.message], *rivals))

    def leave(self) -> None:
        """After the run: count their frames from 0, as those of all others."""
        for number, (_, sender) in enumerate(self._all, 1):
            sender.count -= _FAR_BEHIND * number


def _be_heard_as(sender: Sender, like: Sender) -> None:
    own = () if like.queue is None else (like.queue.sent,)
    heard = [
        (listener, node)
        for listener, node in zip(like.listeners, like.listener_nodes, strict=True)
        if listener not in own and node != sender.node
    ]
    sender.codec = like.codec
    sender.listeners = (_seen(sender, like), *(listener for listener, _ in heard))
    sender.listener_nodes = (sender.node, *(node for _, node in heard))
    sender.absence_listeners, sender.absence_nodes = like.absence_listeners, like.absence_nodes
    sender.lost_after = like.lost_after


def _seen(sender: Sender, like: Sender) -> Callable[[Arrival], None]:
    """To a receiver, the message has come."""

    def note(_: Arrival) -> None:
        like.heard_at = sender.heard_at

    return note


class _Flood:
    """Frames of one stranger, every ``every`` ticks until ``end``."""

    def __init__(self, kernel: Kernel, sender: Sender, every: int, end: int) -> None:
        self._kernel, self._sender, self._every, self._end = kernel, sender, every, end

    def plan(self, at: int) -> None:
        """Let the next one be released at ``at``."""
        if at < self._end:
            self._kernel.at(at, RELEASE_INTO, self._release)

    def _release(self, _: object) -> None:
        now = self._kernel.clock.now
        if not self._sender.mutes:
            self._kernel.queue(self._sender, now, now)
        self.plan(now + self._every)
