"""The node interface: what a board does, written as its own duties.

    class Strut(Node):
        leg: str                                     # a setting, given in the scenario
        lock = Choice("engaged", "released")         # shown: may be expected, plotted
        switch = Choice("up", "down", settable=True) # may be set by a scenario's step

        def begin(self): self.each("20 ms", self.look)
        def heard(self, message): ...                # a message addressed to this node has arrived
        def missed(self, message): ...               # one has not come for its ``lost_after``
        def look(self): self.publish("leg_report", position=12.5)

Only names declared like this can be set or expected, so that a slip of typing fails before the run.
"""

from collections.abc import Callable, Mapping
from inspect import get_annotations
from math import isfinite
from random import Random
from typing import TYPE_CHECKING, Any, ClassVar, Final, Protocol, get_origin

from busdesign.catalogue.codec import MessageCodec
from busdesign.catalogue.model import Message
from busdesign.catalogue.values import Value
from busdesign.virtual.clocks import half_up


class Controller(Protocol):
    """What a node's board offers it: the kernel's side of ``each``, ``publish`` and ``say``."""

    @property
    def rng(self) -> Random: ...

    def repeat(self, period: str, duty: Callable[[], None]) -> None: ...

    def publish(self, message: str, /, **values: object) -> None: ...

    def say(self, message: str, /, **values: object) -> None: ...


class Shown:
    """A value that a node shows: recorded whenever it changes."""

    def __init__(self, initial: object, *, settable: bool = False) -> None:
        self.initial = initial
        self.settable = settable
        self.name = ""

    def __set_name__(self, owner: type, name: str) -> None:
        self.name = name

    def __set__(self, node: "Node", value: Any) -> None:
        name, shown = self.name, node.__dict__
        try:
            before = shown[name]
        except KeyError:
            raise ValueError(f"`{name}` cannot be set yet: power has not come on; set it in `begin`") from None
        if before != value:
            self.check(value)
            shown[name] = value
            times, values = shown["_tracks"][name]
            times.append(shown["_clock"].now)
            values.append(value)
        elif type(before) is not type(value):  # 0 equals false, and is no truth
            self.check(value)

    def check(self, value: object) -> None:
        """Raise ValueError if ``value`` is none that this name can show."""
        raise NotImplementedError

    if TYPE_CHECKING:

        def __get__(self, node: object, owner: type | None = None) -> Any: ...


class Choice(Shown):
    """One of a few words; the first is the one it starts with."""

    def __init__(self, *words: str, settable: bool = False) -> None:
        if not words:
            raise ValueError('a Choice needs its words, such as `Choice("up", "down")`')
        super().__init__(words[0], settable=settable)
        self.words = words

    def check(self, value: object) -> None:
        if value not in self.words:
            raise ValueError(f"`{self.name}` shows one of {', '.join(self.words)}; found `{value}`")


_NUMBERS = (int, float)  # a tuple: the union would be made anew at every check


class Number(Shown):
    """A number in a unit."""

    def __init__(self, unit: str = "", *, initial: float = 0.0, settable: bool = False) -> None:
        super().__init__(initial, settable=settable)
        self.unit = unit

    def check(self, value: object) -> None:
        if type(value) is float and isfinite(value):
            return  # by far the most frequent
        if (isinstance(value, bool) or not isinstance(value, _NUMBERS)) or not isfinite(value):
            raise ValueError(f"`{self.name}` shows a number; found `{value}`")


class Flag(Shown):
    """True or false."""

    def __init__(self, *, initial: bool = False, settable: bool = False) -> None:
        super().__init__(initial, settable=settable)

    def check(self, value: object) -> None:
        if not isinstance(value, bool):
            raise ValueError(f"`{self.name}` is true or false; found `{value}`")


class Clock:
    """The run's time in the kernel's ticks; one for all nodes of a run."""

    __slots__ = ("now", "ticks_per_ns")

    def __init__(self, ticks_per_ns: int) -> None:
        self.now = 0
        self.ticks_per_ns = ticks_per_ns

    def ns(self, ticks: int) -> int:
        """``ticks`` in nanoseconds, rounded half up."""
        rounded: int = half_up(ticks, self.ticks_per_ns)
        return rounded


class Arrival:
    """A frame as a node hears it: ``message["position"]`` decodes that signal, when asked."""

    __slots__ = ("at_ns", "codec", "payload")

    # Filled in by the kernel: a constructor would double the cost of hearing a frame.
    at_ns: int
    codec: MessageCodec
    payload: int

    is_lost: ClassVar[bool] = False  # True: nothing came, these are the values that are safe

    @property
    def name(self) -> str:
        """The message's name."""
        return self.codec.message.name

    @property
    def family(self) -> str:
        """The name it has in the catalogue where ``for_each`` made several, else its own."""
        return self.codec.message.family or self.codec.message.name

    @property
    def sender(self) -> str:
        """The node that sends it."""
        return self.codec.message.sender

    def __getitem__(self, signal: str) -> Value:
        """The signal's value: a code's name, or the physical number. Raises ValueError for an unknown signal."""
        return self.codec.getters[signal](self.payload)

    def values(self) -> dict[str, Value]:
        """All signals."""
        return self.codec.decode(self.payload.to_bytes(self.codec.length_bytes, "little"))


class StandIn(Arrival):
    """The safe values of a message that is lost, told as if a frame had brought them."""

    __slots__ = ()
    is_lost: ClassVar[bool] = True


def _is_setting(name: str, annotation: object) -> bool:
    kind = get_origin(annotation) or annotation
    is_constant = kind in (ClassVar, Final) or str(annotation).startswith(("ClassVar", "Final", "typing."))
    return not (name.startswith("_") or is_constant)


class Node:
    """A board on the simulated bus. Subclasses override ``begin``, ``heard`` and ``missed``."""

    shows: ClassVar[Mapping[str, Shown]] = {}
    settings: ClassVar[tuple[str, ...]] = ()

    # What the kernel lends: kept out of ``shows`` and ``settings``.
    _clock: Clock
    _controller: Controller
    _tracks: dict[str, tuple[list[int], list[Any]]]
    name: str
    starts: int = 0  # how often power has come on

    def __init_subclass__(cls) -> None:
        shows: dict[str, Shown] = {}
        settings: dict[str, None] = {}
        for ancestor in reversed(cls.__mro__[: cls.__mro__.index(Node)]):
            shows |= {name: value for name, value in vars(ancestor).items() if isinstance(value, Shown)}
            settings |= {name: None for name, kind in get_annotations(ancestor).items() if _is_setting(name, kind)}
        settings = {name: None for name in settings if name not in shows}
        cls.shows, cls.settings = shows, tuple(settings)

    def _lend(self, clock: Clock, controller: Controller) -> Mapping[str, tuple[list[int], list[Any]]]:
        """Called by the kernel before ``begin``: what the node works with. Returns its traces, by shown name."""
        self._clock, self._controller = clock, controller
        self._tracks = {name: ([0], [what.initial]) for name, what in self.shows.items()}
        self.__dict__.update({name: what.initial for name, what in self.shows.items()})
        if type(self).publish is Node.publish:
            self.__dict__["publish"] = controller.publish  # the same without a call between: the hot path of a model
        return self._tracks

    def _power_on(self) -> None:
        """Called by the kernel: the first time, and each time that power has been away.

        What it shows begins anew with it, but for what steps set, such as a switch: that is not the board's to forget.
        """
        self.starts += 1
        if self.starts > 1:
            for name, what in self.shows.items():
                if not what.settable:
                    setattr(self, name, what.initial)
        self.begin()

    def begin(self) -> None:
        """Power has come on: publish first values, start the duties. ``starts`` is 1 the first time."""

    def power_lost(self) -> None:
        """Power has gone: the last moment to say what is seen of a dead board, such as a dark lamp."""

    def heard(self, message: Arrival) -> None:
        """A frame of a message that names this node as receiver has arrived whole."""

    def missed(self, message: Message) -> None:
        """``message`` has not come for its ``lost_after``; said once for each silence."""

    def each(self, period: str, duty: Callable[[], None]) -> None:
        """Call ``duty`` every ``period`` of this node's own clock, the first time one period from now."""
        self._controller.repeat(period, duty)

    def publish(self, message: str, /, **values: object) -> None:
        """What the periodic ``message`` (or the one member of that family it sends) carries from now on.

        Raises ValueError for a message or signal that is not its own, or a value out of range.
        """
        self._controller.publish(message, **values)

    def say(self, message: str, /, **values: object) -> None:
        """Send the irregular ``message`` now. Raises ValueError as ``publish`` does."""
        self._controller.say(message, **values)

    @property
    def now_ns(self) -> int:
        """Time since the run began, in nanoseconds."""
        return self._clock.ns(self._clock.now)

    @property
    def rng(self) -> Random:
        """Random numbers of this node alone: the same for the same seed and node, whatever the others do."""
        return self._controller.rng
