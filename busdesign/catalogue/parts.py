"""The parts of a catalogue while it is being checked: as written, with their places, before anything is frozen."""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field

from busdesign.catalogue.draft import FunctionWritten, MessageWritten, SignalWritten
from busdesign.catalogue.draft_wires import BusWritten, NodeWritten
from busdesign.catalogue.model import MAX_CLASSICAL_BYTES, ByteOrder
from busdesign.catalogue.packing import Layout, Pages, Slot
from busdesign.catalogue.source import Source, Trail
from busdesign.findings import Place, error

__all__ = ["Draft", "MessagePart", "error", "line_of"]

_MOST_SELECTORS = 8 * MAX_CLASSICAL_BYTES  # on the way up from a signal: each takes a bit of every frame that has it
UNKNOWN, INVALID = "unknown", "invalid"  # the words for the raw numbers behind these keys


def line_of(place: Place, here: Place) -> str:
    """``place`` as a finding at ``here`` tells it: the file is named if it is another one."""
    return f"line {place.line}" if place.file == here.file else str(place)


@dataclass(slots=True)
class MessagePart:
    """One message as written, after ``for_each`` was spread out; ``layout`` once its signals are placed."""

    name: str
    family: str
    written: MessageWritten
    trail: Trail
    origin: Callable[[Trail], Trail]
    source: Source
    named_at: Trail = ()  # the word that tells it from the others of its family
    layout: Layout | None = None

    @property
    def written_name(self) -> str:
        """The name that stands in the file: that of the family, where ``for_each`` made several."""
        return self.family or self.name

    def at_name(self) -> Place:
        """Where its name is written; of a member of a family, the word that ends it."""
        return self.source.of_value(self.named_at) if self.named_at else self.at_key()

    def slots(self, draft: "Draft") -> list[Slot]:
        """Its signals, as ``packing`` wants them."""
        pages = draft.pages(self)
        return [
            Slot(
                name,
                signal.bits,
                self.byte_order_of(name),
                signal.start,
                bool(signal.crc) and signal.bits % 8 == 0,
                pages[name],
            )
            for name, signal in self.written.signals.items()
        ]

    def at(self, *steps: str | int) -> Place:
        """Where the value behind ``steps`` of this message is written."""
        return self.source.of_value(self.origin((*self.trail, *steps)))

    def byte_order_of(self, signal: str) -> ByteOrder:
        """The signal's own byte order, else the message's, else little."""
        own = self.written.signals[signal]
        if "byte_order" in own.model_fields_set or self.written.byte_order is None:
            return own.byte_order
        return self.written.byte_order

    def at_key(self, *steps: str | int) -> Place:
        """Where the key that ends ``steps`` is written."""
        return self.source.of_key(self.origin((*self.trail, *steps)))


@dataclass(frozen=True, slots=True)
class FunctionPart:
    """One function as written, after ``for_each`` was spread out."""

    name: str
    written: FunctionWritten
    trail: Trail
    origin: Callable[[Trail], Trail]
    source: Source
    named_at: Trail = ()

    def at(self, *steps: str | int) -> Place:
        """Where the value behind ``steps`` of this function is written."""
        return self.source.of_value(self.origin((*self.trail, *steps)))

    def at_name(self) -> Place:
        """Where its name is written; of a member of a family, the word that ends it."""
        return self.source.of_value(self.named_at) if self.named_at else self.source.of_key(self.origin(self.trail))


@dataclass(slots=True)
class Draft:
    """What could be read of a catalogue; parts that could not be read are missing, and have their findings."""

    source: Source
    name: str
    revision: int
    comment: str
    bus: BusWritten | None
    nodes: Mapping[str, NodeWritten]
    node_names: tuple[str, ...]  # of the broken ones too: a message from one of them is not wrong for it
    codes: Mapping[str, Mapping[int, str]]
    code_names: tuple[str, ...]  # of the broken ones too
    functions: list[FunctionPart] = field(default_factory=list)
    messages: list[MessagePart] = field(default_factory=list)
    message_names: tuple[str, ...] = ()  # of the broken ones too
    broken_families: tuple[str, ...] = ()  # whose members' names nobody knows
    _by_name: dict[str, MessagePart] = field(default_factory=dict)

    def add(self, message: MessagePart) -> None:
        """Take ``message`` in; of two with one name the first bears it."""
        self.messages.append(message)
        self._by_name.setdefault(message.name, message)

    def codes_of(self, signal: SignalWritten) -> Mapping[int, str]:
        """What raw numbers mean: its codes, or the shared ones it names (none if broken), and the two words."""
        codes = self.codes.get(signal.codes, {}) if isinstance(signal.codes, str) else signal.codes or {}
        if signal.unknown is None and signal.invalid is None:
            return codes  # not copied: many signals may name them
        told = {signal.unknown: UNKNOWN, signal.invalid: INVALID}
        return {**codes, **{raw: word for raw, word in told.items() if raw is not None and raw not in codes}}

    def selection(self, message: MessagePart, signal: SignalWritten) -> tuple[str, tuple[int, ...]]:
        """The selector that decides whether ``signal`` is there, and the raw numbers that say so; ("", ()) for always.

        Words that are no codes of the selector are left out: a rule complains of them.
        """
        for selector, wanted in (signal.when or {}).items():
            known = message.written.signals.get(selector)
            numbers = {word: raw for raw, word in reversed(list((self.codes_of(known) if known else {}).items()))}
            raws = (numbers.get(one) if isinstance(one, str) else one for one in wanted)
            return selector, tuple(raw for raw in raws if raw is not None)
        return "", ()

    def pages(self, message: MessagePart) -> Mapping[str, Pages]:
        """All conditions under which each signal is there, the nearest selector's first; a loop of them ends."""
        chosen = {name: self.selection(message, signal) for name, signal in message.written.signals.items()}
        above = {name: (selector, frozenset(raws)) for name, (selector, raws) in chosen.items()}
        return {name: tuple(_up_from(name, above)) for name in above}

    def requested_by(self, message: MessagePart) -> MessagePart | None:
        """What the remote frame ``message`` asks for; None if it is no remote frame, or asks for nothing known."""
        if message.written.requests is None:
            return None
        return self._by_name.get(message.written.requests)


def _up_from(name: str, above: Mapping[str, tuple[str, frozenset[int]]]) -> Iterator[tuple[str, frozenset[int]]]:
    seen = {""}
    while name in above and above[name][0] not in seen and len(seen) <= _MOST_SELECTORS:
        yield above[name]
        name = above[name][0]
        seen.add(name)
