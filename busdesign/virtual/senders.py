"""One sender for each message: when it is released, and what its next frame carries."""

from collections.abc import Callable, Iterator
from itertools import chain, repeat
from random import Random

from busdesign.catalogue.codec import MessageCodec
from busdesign.catalogue.model import Message
from busdesign.catalogue.payloads import Payloads
from busdesign.virtual.clocks import TimeBase
from busdesign.virtual.controllers import TransmitQueue
from busdesign.virtual.node import Arrival
from busdesign.wire.arbitration import arbitration_key
from busdesign.wire.lengths import frame_bits, frame_bits_of


class Sender:
    """The state of one message while a run goes on."""

    __slots__ = (
        "absence_listeners",
        "absence_nodes",
        "apart",
        "bit_ticks",
        "bits_of",
        "codec",
        "count",
        "heard_at",
        "index",
        "key",
        "last_said",
        "listener_nodes",
        "listeners",
        "lost_after",
        "make",
        "message",
        "mutes",
        "node",
        "queue",
        "raws",
        "said_too_soon",
        "unfinished",
        "watched",
    )

    def __init__(self, index: int, codec: MessageCodec, base: TimeBase) -> None:
        message = codec.message
        assert message.identifier is not None
        self.index = index
        self.message = message
        self.node = message.sender
        self.bit_ticks = base.bit_ticks[message.sender]
        self.codec = codec
        self.key = arbitration_key(message.identifier, extended=message.extended, remote=message.is_remote)
        self.raws = list(codec.initial_raws)
        self.make: Payloads = codec.pack  # the next payload, from the raw numbers and the count
        self.count = 0  # frames released so far
        self.bits_of = _bits_of(message, message.identifier)
        self.listeners: tuple[Callable[[Arrival], None], ...] = ()
        self.listener_nodes: tuple[str, ...] = ()  # whose each of them is
        self.absence_listeners: tuple[Callable[[Message], None], ...] = ()
        self.absence_nodes: tuple[str, ...] = ()  # whose each of them is
        self.lost_after = 0  # ticks
        self.heard_at = 0  # ticks; end of its last frame
        self.watched = False  # a watchdog for ``lost_after`` is running
        self.queue: TransmitQueue | None = None  # of a node that has no plain priority queue
        self.mutes = 0  # faults that keep its node's transmitter silent now
        self.apart = message.period_ns * base.node_ticks_per_ns[message.sender]  # ticks; least, of an irregular one
        self.last_said: int | None = None  # ticks; of an irregular message
        self.said_too_soon = 0
        self.unfinished = 0


def _bits_of(message: Message, identifier: int) -> Callable[[int], int]:
    if not message.is_remote:
        return frame_bits_of(identifier, message.length_bytes, extended=message.extended, dlc=message.length_code)
    bits = frame_bits(identifier, extended=message.extended, remote=True, dlc=message.length_code)
    return lambda _: bits


def releases(
    message: Message, start_ns: int, base: TimeBase, lateness: Iterator[int] | None, until: int, begun: int = 0
) -> Iterator[tuple[int, int]]:
    """(nominal release, actual release) of every instance of a periodic message, in ticks; ``lateness`` None: punctual.

    The run is over at ``until``: what would be released then is not a release of this run, and comes after it.
    Nominal times run on the sender's own clock, from ``begun`` on (ticks; its power comes on). Instances stay in order
    even where jitter exceeds the period, as they do in a board where one task fills the message: none is released
    before the one that was due before it. The bounds rest on that, too.
    """
    node_ticks_per_ns = base.node_ticks_per_ns[message.sender]
    period, first = message.period_ns * node_ticks_per_ns, begun + start_ns * node_ticks_per_ns
    if lateness is None:
        times = range(first, max(first, until), period)
        return chain(zip(times, times, strict=True), repeat((until + 1, until + 1)))
    return _late_releases(first, period, base.ticks_per_ns, lateness, until)


def _late_releases(
    nominal: int, period: int, ticks_per_ns: int, lateness: Iterator[int], until: int
) -> Iterator[tuple[int, int]]:
    actual = 0
    for late_ns in lateness:
        actual = max(actual, nominal + late_ns * ticks_per_ns)
        yield nominal, actual if actual < until else until + 1
        nominal += period


def lateness_ns(kind: str, most_ns: int, rng: Random) -> Iterator[int] | None:
    """How late each instance is: ``random`` up to ``most_ns``, ``none``, or ``worst`` (the first one by all of it)."""
    if not most_ns or kind == "none":
        return None
    if kind == "random":
        return (rng.randint(0, most_ns) for _ in repeat(None))
    return chain([most_ns], repeat(0))
