"""The kernel's side of one node: its controller's queue, its duties, what it publishes."""

from collections.abc import Callable, Mapping
from random import Random
from typing import Any, NoReturn

from busdesign.catalogue.model import Message
from busdesign.findings import did_you_mean
from busdesign.units import format_duration, positive_duration_ns
from busdesign.virtual.kernel import Kernel
from busdesign.virtual.models import is_deferred, takes
from busdesign.virtual.node import Node
from busdesign.virtual.senders import Sender


class Board:
    """Implements ``node.Controller`` for one node over the kernel."""

    def __init__(self, name: str, kernel: Kernel, senders: Mapping[str, Sender], rng: Random) -> None:
        self.name = name
        self.rng = rng
        self.while_on: Callable[[Callable[[], None]], Callable[[], None]] | None = None  # of a node whose power may go
        self._kernel = kernel
        self._ticks_per_ns = kernel.base.node_ticks_per_ns[name]
        own = _by_name_and_family(sender for sender in senders.values() if sender.node == name)
        asked_for = {sender.message.requests for sender in senders.values()}
        self._published = {  # an irregular one that is asked for goes out by itself, too
            key: sender
            for key, sender in own.items()
            if not sender.message.irregular or sender.message.name in asked_for
        }
        self._irregular = {key: sender for key, sender in own.items() if sender.message.irregular}
        self._all = senders

    def repeat(self, period: str, duty: Callable[[], None]) -> None:
        if is_deferred(duty):
            raise ValueError("a duty is a plain function: a generator or a coroutine would never be run")
        if not takes(duty, 0):
            raise ValueError("a duty is called without arguments; write `def duty(self):` and give `self.duty`")
        if self.while_on is not None:
            duty = self.while_on(duty)
        self._kernel.each(positive_duration_ns(period) * self._ticks_per_ns, duty)

    def publish(self, message: str, /, **values: object) -> None:
        sender = self._published.get(message) or self._refuse(message, irregular=False)
        # As codec.raws_from does, without its call: this is the hot path.
        raws, converters = sender.raws.copy(), sender.codec.converters
        try:
            for name, value in values.items():
                position, to_raw_of = converters[name]
                raws[position] = to_raw_of(value)
        except KeyError:
            raise sender.codec.not_settable(name) from None
        sender.raws = raws

    def say(self, message: str, /, **values: object) -> None:
        sender = self._irregular.get(message) or self._refuse(message, irregular=True)
        sender.raws = sender.codec.raws_from(values, sender.raws)
        self._kernel.say(sender)

    def _refuse(self, message: str, *, irregular: bool) -> NoReturn:
        own = self._published | self._irregular
        if message in own:
            sender, period = own[message], format_duration(own[message].message.period_ns)
            raise ValueError(
                f"`{message}` goes out every {period} by itself: `publish` what it carries"
                if irregular
                else f"`{sender.message.name}` is irregular: it goes out by `say`"
            )
        if message in self._all:
            raise ValueError(f"`{message}` is sent by {self._all[message].node}, not by {self.name}")
        raise ValueError(f"{self.name} sends no message `{message}`; {did_you_mean(message, own)}")


def _by_name_and_family(senders: Any) -> dict[str, Sender]:
    """Each sender by its message's name, and by its family's name where the node sends one member of it only."""
    own: dict[str, Sender] = {}
    families: dict[str, list[Sender]] = {}
    for sender in senders:
        own[sender.message.name] = sender
        if sender.message.family:
            families.setdefault(sender.message.family, []).append(sender)
    own.update({family: members[0] for family, members in families.items() if len(members) == 1})
    return own


def listens(node: Node, duty: str) -> bool:
    """Whether ``node``'s class overrides ``heard`` or ``missed``: a node that does not care is not called."""
    return getattr(type(node), duty) is not getattr(Node, duty)


def absence_of(message: Message, node: Node) -> bool:
    """Whether ``node`` wants to be told when ``message`` does not come."""
    return message.lost_after_ns is not None and node.name in message.receivers and listens(node, "missed")
