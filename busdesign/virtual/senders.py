"""One sender for each message: when it is released, and what its next frame carries."""

from collections.abc import Callable, Iterator, Sequence
from random import Random

from busdesign.catalogue.codec import MessageCodec
from busdesign.catalogue.model import Message
from busdesign.catalogue.payloads import Payloads
from busdesign.virtual.node import Arrival
from busdesign.wire.arbitration import arbitration_key


class Sender:
    """The state of one message while a run goes on."""

    __slots__ = (
        "absence_listeners",
        "codec",
        "count",
        "heard_at",
        "index",
        "key",
        "last_said",
        "lengths",
        "listeners",
        "lost_after",
        "make",
        "message",
        "mutes",
        "node",
        "raws",
        "said_too_soon",
        "unfinished",
        "watched",
    )

    def __init__(self, index: int, codec: MessageCodec) -> None:
        message = codec.message
        assert message.identifier is not None
        self.index = index
        self.message = message
        self.node = message.sender
        self.codec = codec
        self.key = arbitration_key(message.identifier, extended=message.extended)
        self.raws: Sequence[int] = codec.initial_raws
        self.make: Payloads = codec.pack  # the next payload, from the raw numbers and the count
        self.count = 0  # frames released so far
        self.lengths: dict[int, int] = {}  # payload → bits on the wire
        self.listeners: tuple[Callable[[Arrival], None], ...] = ()
        self.absence_listeners: tuple[Callable[[Message], None], ...] = ()
        self.lost_after = 0  # ticks
        self.heard_at = 0  # ticks; end of its last frame
        self.watched = False  # a watchdog for ``lost_after`` is running
        self.mutes = 0  # faults that keep its node's transmitter silent now
        self.last_said: int | None = None  # ticks; of an irregular message
        self.said_too_soon = 0
        self.unfinished = 0


class Releases:
    """When a periodic message is released: nominal times on its node's clock, and how late each one comes.

    Where jitter may exceed the period, several chains share the instances, so that a chain's releases stay in order.
    """

    def __init__(self, message: Message, start_ns: int, node_ticks_per_ns: int, ticks_per_ns: int, late: "Lateness"):
        self.period = message.period_ns * node_ticks_per_ns
        self.first = start_ns * node_ticks_per_ns
        self.chains = late.most_ns * ticks_per_ns // self.period + 1
        self._late = late
        self._ticks_per_ns = ticks_per_ns

    def chain(self, number: int) -> Iterator[tuple[int, int]]:
        """(nominal release, actual release) in ticks of every ``chains``-th instance from ``number`` on, for ever."""
        rng, most, kind = self._late.stream_of(number), self._late.most_ns, self._late.kind
        step = self.period * self.chains
        nominal = self.first + number * self.period
        drawn = kind == "random" and most > 0
        first = kind == "worst" and number == 0
        while True:
            late_ns = rng.randint(0, most) if drawn else most if first else 0
            first = False
            yield nominal, nominal + late_ns * self._ticks_per_ns
            nominal += step


class Lateness:
    """How release jitter is drawn: ``random`` up to the declared one, ``none``, or ``worst`` (the first one latest)."""

    def __init__(self, kind: str, most_ns: int, stream_of: Callable[[int], Random]) -> None:
        self.kind = kind
        self.most_ns = most_ns if kind != "none" else 0
        self.stream_of = stream_of
