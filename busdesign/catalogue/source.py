"""YAML with positions: plain Python data, and the line and column of every key and value.

What other readers pass in silence is a finding here: duplicate keys, numbers that look octal, tags, aliases that
explode.
"""

import gc
import os
import re
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Any

import yaml

from busdesign.catalogue.edits import other_value
from busdesign.catalogue.scalars import ScalarError, resolve
from busdesign.catalogue.syntax_errors import syntax_finding
from busdesign.catalogue.text_file import Unreadable, lines_of, place_in, read_text, refuse_control_characters
from busdesign.findings import Edit, Finding, Place, error, shown
from busdesign.units import decimal_comma, with_decimal_point

__all__ = ["Source", "Trail", "Unreadable", "parse_source", "read_source"]

MAX_VALUES = 400_000  # keys counted too
MAX_REPEATED = 20_000  # of them seen again through an alias
MAX_DEPTH = 40

Trail = tuple[Any, ...]  # keys and indices from the root of a document to one of its values

_TAGS = {
    yaml.ScalarNode: "tag:yaml.org,2002:str",
    yaml.SequenceNode: "tag:yaml.org,2002:seq",
    yaml.MappingNode: "tag:yaml.org,2002:map",
}
_WHOLE, _BEGINS_WITH_DIGIT = re.compile(r"[-+]?[0-9]+\Z"), re.compile(r"[0-9]")
_UNTAGGED = frozenset(_TAGS.values())


class _Loader(getattr(yaml, "CSafeLoader", yaml.SafeLoader)):  # type: ignore[misc]
    """Without YAML 1.1's guesses: every plain scalar arrives as text, and ``scalars`` resolves it."""

    def resolve(self, kind: type[yaml.Node], value: Any, implicit: Any) -> str:
        return _TAGS[kind]


@dataclass(frozen=True, slots=True)
class Source:
    """One YAML document: ``data`` as dicts, lists and scalars, and where each part stands."""

    file: str
    lines: tuple[str, ...]
    data: Any
    places: dict[Trail, tuple[Place, Place]] = field(repr=False)  # (of the key, of the value)
    included: tuple[str, ...] = ()  # the further files whose parts are among them
    spent: tuple[int, int] = (0, 0)  # values, and those of them that aliases repeat

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


def parse_source(text: str, file: str, spent: tuple[int, int] = (0, 0)) -> tuple[Source, list[Finding]]:
    """The same from text already in hand; ``file`` is the name that findings show. Raises Unreadable.

    ``spent`` is what other files of the same catalogue have taken of the budgets.
    """
    text = text.removeprefix("\ufeff")
    refuse_control_characters(text, file)
    lines = lines_of(text)
    with _no_garbage_collection():
        root = _composed(text, file)
        if root is None:
            start = Place(file, 1, 1, lines[0])
            raise Unreadable(error("file-empty", start, "the file says nothing", "is it the right file, and saved?"))
        walk = _Walk(file, lines, spent)
        data = walk.value(root, ())
    walk.places[()] = (walk.place(root), walk.place(root))
    return Source(file, lines, data, walk.places, spent=walk.spent), walk.findings


def _composed(text: str, file: str) -> Any:
    try:
        return yaml.compose(text, Loader=_Loader)
    except yaml.YAMLError as refused:
        raise Unreadable(syntax_finding(refused, text, file)) from None
    except RecursionError:  # of the parser in Python, where the one in C is not there
        raise Unreadable(error("yaml-depth", Place(file, 1, 1), "nested too deeply", "40 levels are read")) from None


@contextmanager
def _no_garbage_collection() -> Iterator[None]:
    """Reading makes many objects and no garbage; looking for some on the way would take most of the time."""
    was_on = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was_on:
            gc.enable()


def _is_rest_of_decimal(number: yaml.Node, key: yaml.Node, value: yaml.Node) -> bool:
    """Whether ``key``, with the empty ``value`` behind it, goes on where ``number`` was cut at a comma."""
    if not all(isinstance(node, yaml.ScalarNode) and not node.style for node in (number, key, value)) or value.value:
        return False
    is_next = (key.start_mark.line, key.start_mark.column) == (number.end_mark.line, number.end_mark.column + 1)
    return is_next and bool(_WHOLE.match(number.value) and _BEGINS_WITH_DIGIT.match(key.value))


class _Walk:
    """One pass over the composed nodes, with budgets against documents that are small on disk and huge in memory."""

    def __init__(self, file: str, lines: tuple[str, ...], spent: tuple[int, int]) -> None:
        self.file, self.lines = file, lines
        self.places: dict[Trail, tuple[Place, Place]] = {}
        self.findings: list[Finding] = []
        self._visited, self._repeated = spent
        self._known: dict[int, Place] = {}  # by the node's id: an alias leads to a node that was there before
        self._spent_on: set[int] = set()
        self._open: set[int] = set()

    @property
    def spent(self) -> tuple[int, int]:
        return self._visited, self._repeated

    def place(self, node: yaml.Node) -> Place:
        known = self._known.get(id(node))
        if known is None:
            mark = node.start_mark
            known = self._known[id(node)] = place_in(self.lines, mark.line, mark.column, self.file)
        return known

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
        self._repeated += id(node) in self._spent_on
        self._spent_on.add(id(node))
        if self._repeated > MAX_REPEATED:
            said = f"aliases repeat more than {MAX_REPEATED} values"
            raise Unreadable(error("yaml-alias", self.place(node), said, "write fewer aliases, or smaller ones"))
        if self._visited > MAX_VALUES:
            said = f"more than {MAX_VALUES} keys and values up to here"
            raise Unreadable(error("yaml-size", self.place(node), said, "split the file"))
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
        if node.flow_style:
            node.value = self._with_decimal_points(node.value)
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

    def _with_decimal_points(self, pairs: list[tuple[yaml.Node, yaml.Node]]) -> list[tuple[yaml.Node, yaml.Node]]:
        """``pairs`` of a mapping in braces, in which ``0,5 %`` reads as 0 and a key ``5 %`` with nothing behind it."""
        kept: list[tuple[yaml.Node, yaml.Node]] = []
        for key_node, value_node in pairs:
            if kept and _is_rest_of_decimal(kept[-1][1], key_node, value_node):
                number = kept[-1][1]
                written = f"{number.value},{key_node.value}"
                edit = other_value(self.place(number), written, with_decimal_point(written))
                self._complain("decimal-comma", number, *decimal_comma(written), edit)
                number.value = written.replace(",", ".")
            else:
                kept.append((key_node, value_node))
        return kept

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

    def _complain(self, rule: str, node: yaml.Node, text: str, fix: str, edit: Edit | None = None) -> None:
        self.findings.append(error(rule, self.place(node), text, fix, edit))
