"""YAML with positions: plain Python data, and the line and column of every key and value.

Scalars follow the YAML 1.2 core schema, so ``on``, ``off``, ``no`` and ``1:30`` stay text. What other readers pass in
silence is a finding here: duplicate keys, numbers that look octal, tags, aliases that explode, files over a limit.
"""

import os
import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import yaml

from busdesign.findings import Finding, Place, Severity

MAX_FILE_BYTES = 4 * 1024 * 1024
MAX_NODES = 200_000
MAX_DEPTH = 40

Step = str | int
Trail = tuple[Any, ...]  # keys and indices from the root of a document to one of its values

_NULL = {"", "~", "null", "Null", "NULL"}
_BOOLEAN = {"true": True, "True": True, "TRUE": True, "false": False, "False": False, "FALSE": False}
_DECIMAL = re.compile(r"[-+]?[0-9]+\Z")
_BASED = re.compile(r"0(?:x[0-9a-fA-F]+|o[0-7]+)\Z")
_LOOKS_OCTAL = re.compile(r"[-+]?0[0-9]+\Z")
_FLOAT = re.compile(r"[-+]?(?:\.[0-9]+|[0-9]+(?:\.[0-9]*)?)(?:[eE][-+]?[0-9]+)?\Z")
_UNTAGGED = {f"tag:yaml.org,2002:{kind}" for kind in ("str", "map", "seq")}
_LINE_ENDS = re.compile("\r\n|[\n\r\x85\u2028\u2029]")  # as YAML counts lines


class _Loader(getattr(yaml, "CSafeLoader", yaml.SafeLoader)):  # type: ignore[misc]
    """Without YAML 1.1's guesses: every plain scalar arrives as text, and is resolved here by the rules of YAML 1.2."""

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
                return found[which if length == len(trail) else 0]
        return Place(self.file, 1, 1, self.lines[0] if self.lines else "")


class Unreadable(Exception):
    """A file that yields no data at all; ``finding`` says why."""

    def __init__(self, finding: Finding) -> None:
        super().__init__(finding.text)
        self.finding = finding


def read_source(path: str | os.PathLike[str]) -> tuple[Source, list[Finding]]:
    """Read the YAML file at ``path``; findings of the YAML level come with it. Raises Unreadable."""
    file = os.fspath(path)
    return parse_source(_text_of(file), file)


def parse_source(text: str, file: str) -> tuple[Source, list[Finding]]:
    """The same from text already in hand; ``file`` is the name that findings show. Raises Unreadable."""
    lines = tuple(_LINE_ENDS.split(text))
    try:
        root = yaml.compose(text, Loader=_Loader)
    except yaml.MarkedYAMLError as error:
        mark = error.problem_mark or error.context_mark
        where = _place_at(file, lines, mark.line, mark.column) if mark else Place(file, 1, 1)
        said = " ".join(part for part in (error.context, error.problem) if part)
        raise Unreadable(_finding("yaml-syntax", where, f"not readable as YAML: {said}", _syntax_hint(where))) from None
    except (yaml.YAMLError, RecursionError) as error:
        said = str(error).splitlines()[0] if str(error) else "nested too deeply"
        raise Unreadable(_finding("yaml-syntax", Place(file, 1, 1), f"not readable as YAML: {said}")) from None
    if root is None:
        raise Unreadable(_finding("file-empty", Place(file, 1, 1), "the file is empty", "see the starter's files"))
    walk = _Walk(file, lines)
    data = walk.value(root, ())
    walk.places.setdefault((), (walk.place(root), walk.place(root)))
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
        return _place_at(self.file, self.lines, node.start_mark.line, node.start_mark.column)

    def value(self, node: yaml.Node, trail: Trail) -> Any:
        self._spend(node, trail)
        if node.tag not in _UNTAGGED:
            self._complain("yaml-tag", node, f"the tag `{node.tag}` is not used here", "leave the tag out")
            return None
        if isinstance(node, yaml.ScalarNode):
            return self._scalar(node)
        if id(node) in self._open:
            raise Unreadable(_finding("yaml-alias", self.place(node), "an alias stands inside what it refers to"))
        self._open.add(id(node))
        try:
            return self._mapping(node, trail) if isinstance(node, yaml.MappingNode) else self._sequence(node, trail)
        finally:
            self._open.remove(id(node))

    def _spend(self, node: yaml.Node, trail: Trail) -> None:
        self._visited += 1
        if self._visited > MAX_NODES:
            text = f"more than {MAX_NODES} values once its aliases are followed"
            raise Unreadable(_finding("yaml-alias", self.place(node), text, "write fewer aliases, or smaller ones"))
        if len(trail) > MAX_DEPTH:
            raise Unreadable(_finding("yaml-depth", self.place(node), f"nested more than {MAX_DEPTH} levels deep"))

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
            if key_node.value == "<<" and not key_node.style:
                merges.append((key_node, value_node))
                continue
            if not isinstance(key_node, yaml.ScalarNode):
                self._complain("yaml-key", key_node, "a key must be a single word or number")
                continue
            key = self._scalar(key_node)
            if key in result:
                first = self.places[(*trail, key)][0].line
                text = f"the key `{key_node.value}` stands here a second time (first in line {first})"
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
                self._complain("yaml-merge", key_node, "`<<` merges mappings only")
                continue
            known = dict(self.places)
            merged = self.value(part, trail)
            for key, value in merged.items():
                if key not in into:
                    into[key] = value
            self.places.update(known)  # explicit keys keep their own places

    def _scalar(self, node: yaml.ScalarNode) -> Any:
        text = node.value
        if node.style:  # quoted or a block: text as it stands
            return text
        if text in _NULL:
            return None
        if text in _BOOLEAN:
            return _BOOLEAN[text]
        if _LOOKS_OCTAL.match(text):
            decimal, octal = int(text), _octal(text)
            also = f" or octal {octal}" if octal is not None else ""
            fix = f"write `{decimal}`" + (f" or `0o{text.lstrip('+-0') or '0'}`" if octal is not None else "")
            self._complain("leading-zero", node, f"`{text}` can be read as {decimal}{also}", fix)
            return decimal
        if _DECIMAL.match(text) or _BASED.match(text):
            if len(text) > 40:
                self._complain("number-too-long", node, f"a number of {len(text)} digits is not used here")
                return 0
            return int(text, 0) if _BASED.match(text) else int(text)
        if _FLOAT.match(text):
            return float(text)
        return text

    def _complain(self, rule: str, node: yaml.Node, text: str, fix: str = "") -> None:
        self.findings.append(_finding(rule, self.place(node), text, fix))


def _octal(text: str) -> int | None:
    try:
        return int(text, 8)
    except ValueError:
        return None


def _text_of(file: str) -> str:
    start = Place(file, 1, 1)
    path = Path(file)
    try:
        if path.is_dir():
            raise Unreadable(_finding("file-unreadable", start, "this is a folder, not a YAML file", _near_yaml(path)))
        size = path.stat().st_size
        if size > MAX_FILE_BYTES:
            limit = MAX_FILE_BYTES // 1024**2
            text = f"{size / 1024**2:.0f} MiB is over the limit of {limit} MiB for one file"
            raise Unreadable(_finding("file-too-large", start, text))
        raw = path.read_bytes()
    except FileNotFoundError:
        raise Unreadable(_finding("file-missing", start, "there is no such file", _near_yaml(path.parent))) from None
    except (OSError, ValueError) as error:
        said = getattr(error, "strerror", None) or str(error)
        raise Unreadable(_finding("file-unreadable", start, f"cannot be read: {said}")) from None
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = raw.count(b"\n", 0, error.start) + 1
        column = error.start - (raw.rfind(b"\n", 0, error.start) + 1) + 1
        text = f"byte 0x{raw[error.start]:02x} is not UTF-8 text"
        raise Unreadable(_finding("not-utf8", Place(file, line, column), text, "save the file as UTF-8")) from None


def _near_yaml(folder: Path) -> str:
    found = list(_yaml_files(folder))
    return "there is: " + ", ".join(found) if found else ""


def _yaml_files(folder: Path) -> Iterator[str]:
    try:
        names = sorted(entry.name for entry in folder.iterdir() if entry.suffix in (".yaml", ".yml"))
    except OSError:
        return
    yield from (str(folder / name) for name in names[:6])


def _place_at(file: str, lines: tuple[str, ...], line: int, column: int) -> Place:
    quoted = lines[line] if 0 <= line < len(lines) else ""
    return Place(file, line + 1, column + 1, quoted)


def _syntax_hint(where: Place) -> str:
    if "\t" in where.quoted:
        return "YAML indents with spaces, never with tabs"
    return "look for a missing colon, bracket or quote on this line or the one before"


def _finding(rule: str, where: Place, text: str, fix: str = "") -> Finding:
    return Finding(rule, Severity.ERROR, where, text, fix)
