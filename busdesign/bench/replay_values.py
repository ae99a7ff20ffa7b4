"""Payloads made anew while recorded frames go out: values put in their place, counters counted on, checks mended."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from busdesign.catalogue.codec import MessageCodec
from busdesign.catalogue.model import Message, Role, Signal


def counter_signal(message: Message) -> Signal | None:
    """The counter of ``message``, if it has one."""
    return next((signal for signal in message.signals if signal.role is Role.COUNTER), None)


class Remaker:
    """Makes the payloads of one message anew, frame after frame; the counter goes on from the first one's."""

    def __init__(self, message: Message, values: Mapping[str, object]) -> None:
        """Raises ValueError for a value that the message cannot carry."""
        self.message = message
        self._codec = MessageCodec(message)
        fresh = self._codec.raws_from(values)
        self._fixed = [(self._codec.position_of(name), fresh[self._codec.position_of(name)]) for name in values]
        self._counter = counter_signal(message)
        self._count: int | None = None

    def remade(self, payload: int) -> int:
        """The payload to send in place of ``payload``."""
        raws = list(self._codec.unpack(payload))
        if self._count is None:
            self._count = self._count_of(raws)
        for position, raw in self._fixed:
            raws[position] = raw
        made = self._codec.pack(raws, self._count)
        self._count += 1
        return made

    def after(self, payload: int | None) -> int:
        """What follows ``payload`` (None: nothing was sent), with the values of this one."""
        if payload is None:
            raws: Sequence[int] = self._codec.initial_raws
            self._count = 0 if self._count is None else self._count
        else:
            raws = self._codec.unpack(payload)
            self._count = self._count_of(raws) + 1
        fixed = dict(self._fixed)
        return self._codec.pack([fixed.get(position, raw) for position, raw in enumerate(raws)], self._count)

    def _count_of(self, raws: Sequence[int]) -> int:
        """A number of frames sent before at which the counter reads as in ``raws``; 0 if there is none."""
        counter = self._counter
        if counter is None:
            return 0
        wanted = raws[self._codec.position_of(counter.name)]
        return next((n for n in range(counter.modulo) if n * counter.counts % counter.modulo == wanted), 0)


@dataclass(frozen=True, slots=True)
class Final:
    """What is sent once at the end, so that boards are not left with the last recorded demand."""

    message: Message
    values: Mapping[str, object]

    @property
    def repeats(self) -> int:
        """As often as its receivers want to see it before they believe it."""
        return self.message.accept.good_frames[1] if self.message.accept else 1

    def __str__(self) -> str:
        said = ", ".join(f"{name} = {value}" for name, value in self.values.items())
        times = "once" if self.repeats == 1 else f"{self.repeats} times"
        return f"`{self.message.name}` with {said} is sent {times}"
