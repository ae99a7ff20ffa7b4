"""Which frames of a recording go out, under which identifiers: what was typed, made sure of."""

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from busdesign.bench.gate_interface import interface_error
from busdesign.bench.replay_values import Final, Remaker
from busdesign.catalogue.model import MAX_BASE_IDENTIFIER, MAX_EXTENDED_IDENTIFIER, Catalogue, Message
from busdesign.findings import did_you_mean, shown

EXTENDED_KEY = 1 << 29  # a base and an extended identifier of the same number are two identifiers
_HEX = re.compile(r"0[xX]([0-9a-fA-F]{1,8})\Z")
_LONG_DIGITS = 8  # written with all of its digits, an identifier is an extended one


@dataclass(frozen=True, slots=True)
class Asked:
    """What was asked for, as typed. ``rename``, ``values`` and ``final`` hold texts with one ``=``."""

    only: Sequence[str] = ()
    without: Sequence[str] = ()
    rename: Sequence[str] = ()
    values: Sequence[str] = ()
    final: Sequence[str] = ()
    mend: bool = False
    between_ns: tuple[int, int] | None = None
    times: int = 1


@dataclass(frozen=True, slots=True)
class Choice:
    """Keys of identifiers (``EXTENDED_KEY`` added to extended ones): the only ones, those left out, the new ones.

    ``remakers``: of the recorded keys whose payloads are made anew.
    """

    only: frozenset[int] | None
    without: frozenset[int]
    renamed: Mapping[int, int]
    remakers: Mapping[int, Remaker]
    final: Final | None
    between_ns: tuple[int, int] | None = None
    times: int = 1
    messages: Mapping[int, Message] = field(default_factory=dict)  # of the catalogue, by key


def key_of(message: Message) -> int | None:
    """The key of a message; None if it has no identifier."""
    return None if message.identifier is None else message.identifier + EXTENDED_KEY * message.extended


def chosen(asked: Asked, catalogue: Catalogue | None) -> Choice:
    """What ``asked`` means. Raises InterfaceError for a name that nobody has, or a value that no message carries."""
    names = Names(catalogue)
    only = frozenset(key for word in asked.only for key in names.keys(word)) if asked.only else None
    without = frozenset(key for word in asked.without for key in names.keys(word))
    values = _by_message(names, asked.values, "--set")
    final = _by_message(names, asked.final, "--at-end")
    if len(final) > 1:
        raise interface_error("replay-value", "`--at-end` takes values of one message", "leave the others out")
    known = {key: message for message in names.messages if (key := key_of(message)) is not None}
    wanted = {message.name: values.get(message.name, {}) for message in known.values()} if asked.mend else values
    remakers = {
        key: _remaker(message, wanted[message.name]) for key, message in known.items() if message.name in wanted
    }
    said = next(iter(final.items()), None)
    last = None if said is None else Final(names.message(said[0]), said[1])
    if last is not None:
        _remaker(last.message, last.values)
    renamed = _renamed(names, asked.rename)
    return Choice(only, without, renamed, remakers, last, asked.between_ns, asked.times, known)


class Names:
    """What a word may mean: a message or family, a node (all that it sends), or an identifier."""

    def __init__(self, catalogue: Catalogue | None) -> None:
        self.messages: Sequence[Message] = () if catalogue is None else catalogue.messages
        self._nodes = frozenset() if catalogue is None else frozenset(catalogue.nodes)
        self._has_catalogue = catalogue is not None

    def keys(self, word: str) -> frozenset[int]:
        """The identifiers that ``word`` stands for. Raises InterfaceError."""
        if word[:1].isdigit():
            return frozenset([read_key(word)])
        if not self._has_catalogue:
            text, fix = f"{shown(word)} is a name, and names stand in a catalogue", "add `--catalogue FILE`"
            raise interface_error("replay-name", text, fix)
        as_message = [one for one in self.messages if word in (one.name, one.family)]
        as_sender = [one for one in self.messages if one.sender == word]
        if as_message and word in self._nodes:
            text = f"{shown(word)} is a message and a node"
            raise interface_error("replay-name", text, "name its messages, or their identifiers")
        found = as_message or as_sender
        if not found and word not in self._nodes:
            every = [name for one in self.messages for name in (one.name, one.family) if name]
            hint = did_you_mean(word, dict.fromkeys([*every, *sorted(self._nodes)]))
            raise interface_error("replay-name", f"there is no message and no node {shown(word)}", hint)
        return frozenset(key for one in found if (key := key_of(one)) is not None)

    def message(self, word: str) -> Message:
        """The one message called ``word``. Raises InterfaceError."""
        if not self._has_catalogue:
            raise interface_error("replay-name", "values need a catalogue", "add `--catalogue FILE`")
        for one in self.messages:
            if one.name == word:
                return one
        hint = did_you_mean(word, [one.name for one in self.messages])
        raise interface_error("replay-name", f"there is no message {shown(word)}", hint)


def read_key(word: str) -> int:
    """``0x110``, or ``0x00000110`` for an extended one, as a key. Raises InterfaceError."""
    match = _HEX.match(word)
    if not match:
        raise interface_error("replay-name", f"{shown(word)} is no identifier", "write it like `0x110`")
    number = int(match[1], 16)
    if number > MAX_EXTENDED_IDENTIFIER:
        raise interface_error("replay-name", f"{shown(word)} has more than 29 bits")
    is_extended = number > MAX_BASE_IDENTIFIER or len(match[1]) == _LONG_DIGITS
    return number + EXTENDED_KEY * is_extended


def _renamed(names: Names, written: Iterable[str]) -> dict[int, int]:
    found: dict[int, int] = {}
    for text in written:
        old, equals, new = (part.strip() for part in text.partition("="))
        if not equals:
            raise interface_error("replay-name", f"{shown(text)} renames nothing", "write `OLD=NEW`: `0x110=0x111`")
        keys = names.keys(old)
        if len(keys) != 1:
            text = f"{shown(old)} has {len(keys)} identifiers, and one is renamed at a time"
            raise interface_error("replay-name", text, "name one message, or one identifier")
        (key,) = keys
        target = read_key(new)
        if key in found or target in found.values():
            raise interface_error("replay-name", f"{shown(text)}: two of them become one, or one becomes two")
        found[key] = target
    return found


def _by_message(names: Names, written: Iterable[str], option: str) -> dict[str, dict[str, object]]:
    found: dict[str, dict[str, object]] = {}
    for text in written:
        path, equals, value = (part.strip() for part in text.partition("="))
        message, dot, signal = path.partition(".")
        if not (equals and dot and message and signal and value):
            fix = f"write `{option} MESSAGE.SIGNAL=VALUE`, such as `{option} leg_demand.demand=stay`"
            raise interface_error("replay-value", f"{shown(text)} says no value", fix)
        found.setdefault(names.message(message).name, {})[signal] = _number_or_word(value)
    return found


def _number_or_word(written: str) -> object:
    for kind in (int, float):
        try:
            return kind(written)
        except ValueError:
            continue
    return written


def _remaker(message: Message, values: Mapping[str, object]) -> Remaker:
    try:
        return Remaker(message, values)
    except ValueError as reason:
        raise interface_error("replay-value", str(reason)) from None
