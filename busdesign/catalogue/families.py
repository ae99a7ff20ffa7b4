"""``for_each``: one message or function written once for several nodes, spread out into its members.

Each key of ``for_each`` holds a list; the lists run in step. A key of a message (``id``, ``from``, ``offset`` ...)
gives each member its own value; any other key is a word that stands for ``{key}`` in the texts of the message. The
first such word, or else the sender, ends the member's name: ``leg_report`` for each ``leg: [nose, left]`` is
``leg_report_nose`` and ``leg_report_left``. Where a number is wanted (``data_id: '{key}'``) a word that is a number
stays one.
"""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from busdesign.catalogue.for_each import KEYS, for_each_findings, naming_key
from busdesign.catalogue.source import Source, Trail
from busdesign.findings import Finding

_NUMBERS = frozenset(("data_id",))  # keys of a signal that take a number of each member's own


@dataclass(frozen=True, slots=True)
class Member:
    """One message or function, still as plain data; ``origin`` leads from its trail to where each part is written.

    ``named_at`` leads to the word that gave it its name, and is () without ``for_each``.
    """

    name: str
    family: str
    data: Any
    origin: Callable[[Trail], Trail]
    named_at: Trail = ()


def spread(
    name: str, data: Any, source: Source, findings: list[Finding], section: str = "messages"
) -> Iterator[Member]:
    """The members of ``name`` in ``messages`` or ``functions``; what is wrong with its ``for_each`` goes to
    ``findings``.
    """
    if not isinstance(data, dict) or "for_each" not in data:
        yield Member(name, "", data, lambda trail: trail)
        return
    complaints = list(for_each_findings(name, data, source, section))
    findings.extend(complaints)
    if not complaints:
        yield from _members(name, data, data["for_each"], section)


def _members(family: str, data: dict[str, Any], lists: dict[str, list[Any]], section: str) -> Iterator[Member]:
    naming, keys = naming_key(lists, section), KEYS[section]
    common = {key: value for key, value in data.items() if key != "for_each"}
    for index, ending in enumerate(lists[naming]):
        own = {key: values[index] for key, values in lists.items() if key in keys}
        stand_for = {f"{{{key}}}": str(values[index]) for key, values in lists.items() if key not in keys}
        name = f"{family}_{ending}"
        member = _with_words({**common, **own}, stand_for)
        named_at = (section, family, "for_each", naming, index)
        yield Member(name, family, member, _origin(section, family, name, set(own), index), named_at)


def _origin(section: str, family: str, member: str, own: set[str], index: int) -> Callable[[Trail], Trail]:
    def lead_back(trail: Trail) -> Trail:
        if trail[:2] != (section, member):
            return trail
        if len(trail) > 2 and trail[2] in own:
            return (section, family, "for_each", trail[2], index, *trail[3:])
        return (section, family, *trail[2:])

    return lead_back


def _with_words(value: Any, stand_for: Mapping[str, str]) -> Any:
    if isinstance(value, str):
        for written, meant in stand_for.items():
            value = value.replace(written, meant)
        return value
    if isinstance(value, dict):
        return {key: _number_or(_with_words(inner, stand_for), key, inner) for key, inner in value.items()}
    if isinstance(value, list):
        return [_with_words(inner, stand_for) for inner in value]
    return value


def _number_or(value: Any, key: Any, written: Any) -> Any:
    """``value``, as a number where it came by way of a word and ``key`` takes a number."""
    is_number = key in _NUMBERS and isinstance(value, str) and value != written and value.isdecimal()
    return int(value) if is_number else value
