"""YAML with positions: plain Python data, and the line and column of every key and value.

What other readers pass in silence is a finding here: duplicate keys, numbers that look octal, tags, aliases that
explode.
"""

import os
from dataclasses import dataclass, field
from typing import Any

import yaml

from busdesign.catalogue.scalars import ScalarError, resolve
from busdesign.catalogue.syntax_errors import syntax_finding
from busdesign.catalogue.text_file import Unreadable, lines_of, read_text, refuse_control_characters
from busdesign.findings import Finding, Place, error, shown

__all__ = ["MAX_DEPTH", "MAX_VALUES", "Source", "Trail", "Unreadable", "parse_source", "read_source"]

MAX_VALUES = 200_000
MAX_DEPTH = 40

Trail = tuple[Any, ...]  # keys and indices from the root of a document to one of its values

_UNTAGGED = {f"tag:yaml.org,2002:{kind}" for kind in ("str", "map", "seq")}


class _Loader(getattr(yaml, "CSafeLoader", yaml.SafeLoader)):  # type: ignore[misc]
    """Without YAML 1.1's guesses: every plain scalar arrives as text, and ``scalars`` resolves it."""

    yaml_implicit_resolvers: dict[str, Any] = {}  # noqa: RUF012 (PyYAML's own protocol)


@dataclass(frozen=True, slots=True)
class Source:
    """One YAML document: ``data`` as dicts, lists and scalars, and where each part stands."""

    file: str
    lines: tuple[str, ...]
    data: Any
    places: dict[Trail, tuple[Place, Place]] = field(repr=False)  # (of the key, of the value)

    def of_key(self, trail: Trail) -> Place:
        """Where the key that ends ``trail`` stands, or the nearest place above it."""
        return self._nearest(trail, 0)

    def of_value(self, trail: Trail) -> Place:
        """Where the value that ``trail`` leads to stands, or the nearest place above it."""
        return self._nearest(trail, 1)

    def _nearest(self, trail: Trail, which: int) -> Place:
        for length in range(len(trail), -1, -1):
            found = self.places.get(trail[:length])
            if found:
                # An index below what is no list: one name written where a list of names may stand.
                is_sole_entry = length == len(trail) - 1 and isinstance(trail[-1], int)
                return found[which if length == len(trail) or is_sole_entry else 0]
        return Place(self.file, 1, 1, self.lines[0])


def read_source(path: str | os.PathLike[str]) -> tuple[Source, list[Finding]]:
    """Read the YAML file at ``path``; findings of the YAML level come with it. Raises Unreadable."""
    return parse_source(read_text(path), os.fspath(path))


def parse_source(text: str, file: str) -> tuple[Source, list[Finding]]:
    """The same from text already in hand; ``file`` is the name that findings show. Raises Unreadable."""
    text = text.removeprefix("\ufeff")
    refuse_control_characters(text, file)
    lines = lines_of(text)
    try:
        root = yaml.compose(text, Loader=_Loader)
    except yaml.YAMLError as refused:
        raise Unreadable(syntax_finding(refused, text, file)) from None
    except RecursionError:
        raise Unreadable(error("yaml-depth", Place(file, 1, 1, lines[0]), "nested too deeply")) from None
    if root is None:
        where = Place(file, 1, 1, lines[0])
        raise Unreadable(error("file-empty", where, "the file says nothing", "`busdesign new DIR` lays out a full one"))
    walk = _Walk(file, lines)
    data = walk.value(root, ())
    walk.places[()] = (walk.place(root), walk.place(root))
    return Source(file, lines, data, walk.places), walk.findings


class _Walk:
    """One pass over the composed nodes, with budgets against documents that are small on disk and huge in memory."""

    def __init__(self, file: str, lines: tuple[str, ...]) -> None:
        self.file, self.lines = file, lines
        self.places: dict[Trail, tuple[Place, Place]] = {}
        self.findings: list[Finding] = []
        self._visited = 0
        self._open: set[int] = set()

    def place(self, node: yaml.Node) -> Place:
        line, column = node.start_mark.line, node.start_mark.column
        return Place(self.file, line + 1, column + 1, self.lines[line])

    def value(self, node: yaml.Node, trail: Trail) -> Any:
        self._spend(node, trail)
        if node.tag not in _UNTAGGED:
            tag = shown(node.tag.replace("tag:yaml.org,2002:", "!!"))
            self._complain("yaml-tag", node, f"the tag {tag} is not used here", "leave the tag out")
        if isinstance(node, yaml.ScalarNode):
            return self._scalar(node)
        if id(node) in self._open:
            said = "an alias stands inside what it refers to, so it never ends"
            raise Unreadable(error("yaml-alias", self.place(node), said, "write out what is meant"))
        self._open.add(id(node))
        try:
            return self._mapping(node, trail) if isinstance(node, yaml.MappingNode) else self._sequence(node, trail)
        finally:
            self._open.remove(id(node))

    def _spend(self, node: yaml.Node, trail: Trail) -> None:
        self._visited += 1
        if self._visited > MAX_VALUES:
            said = f"more than {MAX_VALUES} values up to here, those that aliases repeat among them"
            raise Unreadable(error("yaml-size", self.place(node), said, "split the file, or write fewer aliases"))
        if len(trail) > MAX_DEPTH:
            said = f"nested more than {MAX_DEPTH} levels deep"
            raise Unreadable(error("yaml-depth", self.place(node), said, "a bracket may be missing above"))

    def _sequence(self, node: yaml.Node, trail: Trail) -> list[Any]:
        items = []
        for index, item in enumerate(node.value):
            place = self.place(item)
            self.places[(*trail, index)] = (place, place)
            items.append(self.value(item, (*trail, index)))
        return items

    def _mapping(self, node: yaml.MappingNode, trail: Trail) -> dict[Any, Any]:
        result: dict[Any, Any] = {}
        merges: list[tuple[yaml.Node, yaml.Node]] = []
        for key_node, value_node in node.value:
            self._spend(key_node, trail)
            if not isinstance(key_node, yaml.ScalarNode) or key_node.tag not in _UNTAGGED:
                self._complain("yaml-key", key_node, "a key is a single word or number", "put quotes round it")
                continue
            if key_node.value == "<<" and not key_node.style:
                merges.append((key_node, value_node))
                continue
            key = self._scalar(key_node)
            if key in result:
                first = self.places[(*trail, key)][0].line
                text = f"the key {shown(key_node.value)} stands here a second time (first in line {first})"
                self._complain("duplicate-key", key_node, text, "rename or remove one of the two")
                continue
            self.places[(*trail, key)] = (self.place(key_node), self.place(value_node))
            result[key] = self.value(value_node, (*trail, key))
        for key_node, value_node in merges:
            self._merge(key_node, value_node, trail, result)
        return result

    def _merge(self, key_node: yaml.Node, value_node: yaml.Node, trail: Trail, into: dict[Any, Any]) -> None:
        parts = value_node.value if isinstance(value_node, yaml.SequenceNode) else [value_node]
        for part in parts:
            if not isinstance(part, yaml.MappingNode):
                fix = "write `<<: *name`, with `&name` before a mapping above"
                self._complain("yaml-merge", key_node, "`<<` takes in mappings only", fix)
                continue
            outer, self.places = self.places, {}
            merged = self.value(part, trail)
            inner, self.places = self.places, outer
            for place_trail, places in inner.items():
                if place_trail[len(trail)] not in into:  # explicit keys keep their values and places
                    self.places[place_trail] = places
            into.update((key, value) for key, value in merged.items() if key not in into)

    def _scalar(self, node: yaml.ScalarNode) -> Any:
        if node.style:  # quoted or a block: text as it stands
            return node.value
        try:
            return resolve(node.value)
        except ScalarError as refused:
            self._complain(refused.rule, node, refused.text, refused.fix)
            return refused.instead

    def _complain(self, rule: str, node: yaml.Node, text: str, fix: str) -> None:
        self.findings.append(error(rule, self.place(node), text, fix))
