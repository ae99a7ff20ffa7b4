"""``for_each``: one message written once for several nodes, spread out into its members.

Each key of ``for_each`` holds a list; the lists run in step. A key of a message (``id``, ``from``, ``offset`` ...)
gives each member its own value; any other key is a word that stands for ``{key}`` in the texts of the message. The first
such word, or else the sender, ends the member's name: ``leg_report`` for each ``leg: [nose, left]`` is
``leg_report_nose`` and ``leg_report_left``.
"""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from busdesign.catalogue.draft import MessageWritten
from busdesign.catalogue.source import Source, Trail
from busdesign.findings import Finding, error

_MESSAGE_KEYS = frozenset(known.alias or name for name, known in MessageWritten.model_fields.items())


@dataclass(frozen=True, slots=True)
class Member:
    """One message, still as plain data; ``origin`` leads from its trail to where each part of it is written."""

    name: str
    family: str
    data: Any
    origin: Callable[[Trail], Trail]


def spread(messages: Mapping[str, Any], source: Source, findings: list[Finding]) -> Iterator[Member]:
    """The members of all ``messages``; what is wrong with a ``for_each`` goes to ``findings``."""
    for name, data in messages.items():
        if not isinstance(data, dict) or "for_each" not in data:
            yield Member(name, "", data, lambda trail: trail)
            continue
        lists = _lists_in_step(name, data["for_each"], source, findings)
        if lists:
            yield from _members(name, data, lists)


def _lists_in_step(name: str, for_each: Any, source: Source, findings: list[Finding]) -> dict[str, list[Any]] | None:
    trail = ("messages", name, "for_each")
    if not isinstance(for_each, dict) or not for_each:
        example = "write it like `for_each: {leg: [nose, left], id: [0x210, 0x211]}`"
        findings.append(error("for-each", source.of_value(trail), "`for_each` takes a mapping of lists", example))
        return None
    good = True
    length = None
    for key, values in for_each.items():
        if not isinstance(values, list) or not values:
            text = f"`{key}` in `for_each` takes a list, one entry for each member"
            findings.append(error("for-each", source.of_value((*trail, key)), text, f"write `{key}: [one, two]`"))
            good = False
            continue
        length = len(values) if length is None else length
        if len(values) != length:
            text = f"`{key}` lists {len(values)} members, the lists before it {length}"
            findings.append(error("for-each", source.of_value((*trail, key)), text, "the lists run in step"))
            good = False
    return for_each if good else None


def _members(family: str, data: dict[str, Any], lists: dict[str, list[Any]]) -> Iterator[Member]:
    words = [key for key in lists if key not in _MESSAGE_KEYS]
    naming = words[0] if words else "from" if "from" in lists else next(iter(lists))
    common = {key: value for key, value in data.items() if key != "for_each"}
    for index in range(len(lists[naming])):
        own = {key: values[index] for key, values in lists.items() if key in _MESSAGE_KEYS}
        stand_for = {f"{{{word}}}": str(lists[word][index]) for word in words}
        name = f"{family}_{lists[naming][index]}"
        member = _with_words({**common, **own}, stand_for)
        yield Member(name, family, member, _origin(family, name, set(own), index))


def _origin(family: str, member: str, own: set[str], index: int) -> Callable[[Trail], Trail]:
    def lead_back(trail: Trail) -> Trail:
        if trail[:2] != ("messages", member):
            return trail
        if len(trail) > 2 and trail[2] in own:
            return ("messages", family, "for_each", trail[2], index, *trail[3:])
        return ("messages", family, *trail[2:])

    return lead_back


def _with_words(value: Any, stand_for: Mapping[str, str]) -> Any:
    if isinstance(value, str):
        for written, meant in stand_for.items():
            value = value.replace(written, meant)
        return value
    if isinstance(value, dict):
        return {key: _with_words(inner, stand_for) for key, inner in value.items()}
    if isinstance(value, list):
        return [_with_words(inner, stand_for) for inner in value]
    return value
