"""``for_each``: one message written once for several nodes, spread out into its members.

Each key of ``for_each`` holds a list; the lists run in step. A key of a message (``id``, ``from``, ``offset`` ...)
gives each member its own value; any other key is a word that stands for ``{key}`` in the texts of the message. The
first such word, or else the sender, ends the member's name: ``leg_report`` for each ``leg: [nose, left]`` is
``leg_report_nose`` and ``leg_report_left``.
"""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from busdesign.catalogue.for_each import MESSAGE_KEYS, for_each_findings, naming_key
from busdesign.catalogue.source import Source, Trail
from busdesign.findings import Finding


@dataclass(frozen=True, slots=True)
class Member:
    """One message, still as plain data; ``origin`` leads from its trail to where each part of it is written.

    ``named_at`` leads to the word that gave it its name, and is () for a message without ``for_each``.
    """

    name: str
    family: str
    data: Any
    origin: Callable[[Trail], Trail]
    named_at: Trail = ()


def spread(name: str, data: Any, source: Source, findings: list[Finding]) -> Iterator[Member]:
    """The members of the message ``name``; what is wrong with its ``for_each`` goes to ``findings``."""
    if not isinstance(data, dict) or "for_each" not in data:
        yield Member(name, "", data, lambda trail: trail)
        return
    complaints = list(for_each_findings(name, data, source))
    findings.extend(complaints)
    if not complaints:
        yield from _members(name, data, data["for_each"])


def _members(family: str, data: dict[str, Any], lists: dict[str, list[Any]]) -> Iterator[Member]:
    naming = naming_key(lists)
    common = {key: value for key, value in data.items() if key != "for_each"}
    for index, ending in enumerate(lists[naming]):
        own = {key: values[index] for key, values in lists.items() if key in MESSAGE_KEYS}
        stand_for = {f"{{{key}}}": str(values[index]) for key, values in lists.items() if key not in MESSAGE_KEYS}
        name = f"{family}_{ending}"
        member = _with_words({**common, **own}, stand_for)
        named_at = ("messages", family, "for_each", naming, index)
        yield Member(name, family, member, _origin(family, name, set(own), index), named_at)


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
