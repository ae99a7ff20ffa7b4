"""How much the short forms of a catalogue make of it, families and signal types: counted before any of it is made."""

from collections.abc import Iterator, Mapping
from typing import Any

from busdesign.catalogue.for_each import MAX_MEMBERS
from busdesign.catalogue.source import MAX_VALUES, Source
from busdesign.findings import Finding, error


def too_large(messages: Mapping[str, Any], functions: Mapping[str, Any], source: Source) -> Iterator[Finding]:
    """A finding at the message or function with which it becomes too much; types are filled in, families not yet
    spread out.
    """
    known: dict[int, int] = {}
    made = 0
    for section, parts in (("messages", messages), ("functions", functions)):
        for name, data in parts.items():
            made += _values_made_of(data, known)
            if made > MAX_VALUES:
                text = f"families and signal types make more than {MAX_VALUES} keys and values up to here"
                yield error("yaml-size", source.of_key((section, name)), text, "split the catalogue")
                return


def _values_made_of(data: Any, known: dict[int, int]) -> int:
    lists = data.get("for_each") if isinstance(data, dict) else None
    if not isinstance(lists, dict):
        return _values_in(data, known)
    members = max((len(values) for values in lists.values() if isinstance(values, list)), default=1)
    in_each = sum(1 + _values_in(value, known) for key, value in data.items() if key != "for_each")
    return _values_in(lists, known) + in_each * (members if members <= MAX_MEMBERS else 1)  # more are refused anyway


def _values_in(data: Any, known: dict[int, int]) -> int:
    """Keys and values in ``data``; what several places share (so it is still there, and its id its own) is counted
    for each, but looked through once.
    """
    if not isinstance(data, dict | list):
        return 1
    if id(data) not in known:
        inner = data.values() if isinstance(data, dict) else data
        known[id(data)] = 1 + len(data) * isinstance(data, dict) + sum(_values_in(value, known) for value in inner)
    return known[id(data)]
