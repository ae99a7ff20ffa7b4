"""``include``: further files whose nodes, codes, signal types, messages and functions belong to one catalogue.

They are merged as plain data with places, so that all that follows knows one document, whose parts remember their file.
"""

import os
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

from pydantic import Field

from busdesign.catalogue.draft import CatalogueWritten, Words
from busdesign.catalogue.lone_parts import about_a_lone_part
from busdesign.catalogue.named_files import named_from, near_files
from busdesign.catalogue.source import Source, parse_source
from busdesign.catalogue.text_file import MAX_FILE_BYTES, Unreadable, decoded, read_raw
from busdesign.catalogue.validation import validated
from busdesign.catalogue.written import Written
from busdesign.errors import CatalogueError
from busdesign.findings import Finding, Place, error, shown

MAX_FILES = 50  # of one catalogue

_SECTIONS = ("nodes", "codes", "signal_types", "messages", "functions")
_OF_THE_MAIN_FILE = ("catalogue", "bus", "revision")
_HEAD_OF_ANY = {"catalogue": "a part", "bus": {"bit_rate": "250 kbit/s"}}


def _about(section: str) -> str:
    return CatalogueWritten.model_fields[section].description or ""


class IncludedWritten(Written):
    """An included file; what is inside its sections is validated with that of the others."""

    include: Words = Field((), description=_about("include"))
    nodes: dict[Any, Any] = Field({}, description=_about("nodes"))
    codes: dict[Any, Any] = Field({}, description=_about("codes"))
    signal_types: dict[Any, Any] = Field({}, description=_about("signal_types"))
    messages: dict[Any, Any] = Field({}, description=_about("messages"))
    functions: dict[Any, Any] = Field({}, description=_about("functions"))
    comment: str = Field("", description="a note for those who read the file")


def with_included(main: Source, findings: list[Finding]) -> Source:
    """``main`` with the parts of the files it includes; what is wrong with their form goes to ``findings``.

    Raises CatalogueError if one of them cannot be had: whatever it would define would seem to be missing.
    """
    if not isinstance(main.data, dict):
        return main
    if _is_lone_part(main.data):
        findings.append(about_a_lone_part(main.file, project_folder(main.file)))
        main = replace(main, data={**_HEAD_OF_ANY, **main.data})  # that these are missing has just been said
    if "include" not in main.data:
        return main
    reading = _Reading(main, findings)
    reading.follow(main, ((os.path.realpath(main.file), main.file),))
    merged = _merged(main, reading.parts, findings)
    if not reading.is_complete:
        raise CatalogueError(findings)
    return replace(merged, included=tuple(part.file for part in reading.parts))


def _is_lone_part(data: dict[Any, Any]) -> bool:
    parts = (*_SECTIONS, "include", "comment")
    return bool(data) and all(key in parts for key in data) and any(key in data for key in _SECTIONS)


def refuse_includes(source: Source, findings: list[Finding]) -> None:
    """For a catalogue that is no file on disk. Raises CatalogueError if it includes one."""
    if isinstance(source.data, dict) and source.data.get("include"):
        text = "a catalogue given as text has no folder in which to look for the files it includes"
        fix = "save it as a file and read that, or write the parts here"
        raise CatalogueError([*findings, error("include", source.of_key(("include",)), text, fix)])


def project_folder(file: str | os.PathLike[str]) -> Path:
    """The folder that the includes of the catalogue ``file`` may not leave, absolute and free of symbolic links.

    The nearest one above the file that holds a folder ``messages``; else the one in which the file lies.
    """
    home = Path(os.path.realpath(os.path.dirname(os.fspath(file)) or "."))
    folders = (folder for folder in (home, *home.parents) if folder != folder.parent)
    return next((folder for folder in folders if (folder / "messages").is_dir()), home)


Chain = tuple[tuple[str, str], ...]  # of the files that led here: each one's real path, and as it is named


class _Reading:
    """One catalogue's files, read one after another as they are named, each of them once."""

    def __init__(self, main: Source, findings: list[Finding]) -> None:
        self.parts: list[Source] = []
        self.is_complete = True
        self._findings = findings
        self._root = project_folder(main.file)
        self._known = {os.path.realpath(main.file)}
        self._bytes = sum(len(line.encode()) + 1 for line in main.lines)
        self._spent = main.spent

    def follow(self, source: Source, chain: Chain) -> None:
        """Read what ``source`` includes, and what that includes."""
        shell = validated(IncludedWritten, {"include": source.data.get("include", [])}, source, (), self._findings)
        self.is_complete &= shell is not None
        for index, written in enumerate(shell.include if shell else ()):
            try:
                self._take(written, source, source.of_value(("include", index)), chain)
            except Unreadable as refused:
                self._findings.append(refused.finding)
                self.is_complete = False

    def _take(self, written: str, source: Source, where: Place, chain: Chain) -> None:
        path, real = self._inside(written, source, where)
        if real in [known for known, _ in chain]:
            names = [name for known, name in chain[[known for known, _ in chain].index(real) :]]
            circle = " includes ".join(f"`{name}`" for name in [*names, names[0]])
            fix = "what two files need of each other belongs in a third one"
            self._findings.append(error("include-loop", where, f"the includes never end: {circle}", fix))
        elif real not in self._known:
            if len(self._known) == MAX_FILES:
                text = f"more than {MAX_FILES} files belong to this catalogue"
                raise Unreadable(error("include", where, text, "join some of them"))
            self._known.add(real)
            part = self._read(path, real, source, where)
            self.is_complete &= _is_part(part, chain[0][1], self._findings)
            if isinstance(part.data, dict):
                self.parts.append(part)
                self.follow(part, (*chain, (real, path)))

    def _inside(self, written: str, source: Source, where: Place) -> tuple[str, str]:
        """The path that is ``written`` in ``source``, and the real one behind it, which lies in the project."""
        if "\0" in written:
            raise Unreadable(error("include", where, "a file name holds no zero character"))
        path = named_from(written, source.file)
        real = os.path.realpath(path)
        if os.path.isabs(written):
            inside = Path(real).is_relative_to(self._root)
            straight = os.path.relpath(real, os.path.realpath(os.path.dirname(source.file) or "."))
            fix = f"write `{straight}`" if inside else "name a file by its way from here, such as `legs.yaml`"
            text = f"{shown(written)} is named from the root of the disk, which is another one for everybody else"
            raise Unreadable(error("include-outside", where, text, fix))
        if not Path(real).is_relative_to(self._root):
            led = "leads" if os.path.lexists(path) and os.path.normpath(os.path.abspath(path)) != real else "lies"
            text = f"{shown(written)} {led} outside the project's folder `{self._root}`"
            raise Unreadable(error("include-outside", where, text, "copy the file into the project"))
        return path, real

    def _read(self, path: str, real: str, source: Source, where: Place) -> Source:
        if not os.path.exists(real):
            text = f"there is no file `{path}` to include"
            raise Unreadable(error("file-missing", where, text, near_files(path, source.file)))
        if not os.path.isfile(real):
            what = "a folder" if os.path.isdir(real) else "a device or a pipe"
            text, fix = f"`{path}` is {what}, not a file", "name the YAML files one by one, such as `[legs.yaml]`"
            raise Unreadable(error("file-unreadable", where, text, fix))
        try:
            raw = read_raw(real)
        except Unreadable as refused:
            found = refused.finding
            raise Unreadable(error(found.rule, where, f"`{path}`: {found.text}", found.fix)) from None
        self._bytes += len(raw)
        if self._bytes > MAX_FILE_BYTES:
            text = f"with `{path}` the catalogue is larger than {MAX_FILE_BYTES // 1024**2} MiB, the most that is read"
            raise Unreadable(error("file-too-large", where, text, "is it the right file?"))
        part, found_in_it = parse_source(decoded(raw, path), path, self._spent)
        self._findings.extend(found_in_it)
        self._spent = part.spent
        return part


def _is_part(part: Source, main: str, findings: list[Finding]) -> bool:
    """Whether an included file has the form of one; if not, ``findings`` says why."""
    data, where = part.data, part.of_value(())
    if not isinstance(data, dict):
        text = f"expected a mapping with some of {', '.join(f'`{name}`' for name in _SECTIONS)}, found {shown(data)}"
        findings.append(error("wrong-value", where, text, f"`{main}` includes this file"))
        return False
    if "scenario" in data:
        text = "this is a scenario: it holds no parts of a catalogue"
        findings.append(error("include", part.of_key(("scenario",)), text, f"`{main}` should not include it"))
        return False
    for key in [key for key in _OF_THE_MAIN_FILE if key in data][:1]:
        it_is = "this file is a catalogue of its own" if key == "catalogue" else f"`{key}` belongs in the main file"
        fix = "what catalogues share goes into a file without " + ", ".join(f"`{known}`" for known in _OF_THE_MAIN_FILE)
        findings.append(error("include", part.of_key((key,)), f"{it_is}: `{main}` includes it", fix))
    shell = {key: value for key, value in data.items() if key not in (*_OF_THE_MAIN_FILE, "include")}
    return validated(IncludedWritten, shell, part, (), findings) is not None


def _merged(main: Source, parts: list[Source], findings: list[Finding]) -> Source:
    """The main file's parts, then those of the others in the order in which they are named."""
    data, places = dict(main.data), dict(main.places)
    for part in parts:
        taken = set()
        for section, name, value in _named(part):
            if section not in data:
                data[section], places[(section,)] = {}, part.places[(section,)]
            elif data[section] is main.data.get(section) and isinstance(data[section], dict):
                data[section] = dict(data[section])
            if not isinstance(data[section], dict):
                continue  # that is one finding, and no name is to be lost in it
            if name in data[section]:
                findings.append(_twice(section, name, part.of_key((section, name)), places))
                continue
            data[section][name] = value
            taken.add((section, name))
        places.update((trail, found) for trail, found in part.places.items() if trail[:2] in taken)
    return replace(main, data=data, places=places)


def _named(part: Source) -> Iterator[tuple[str, Any, Any]]:
    for section in _SECTIONS:
        named = part.data.get(section)
        yield from ((section, name, value) for name, value in (named.items() if isinstance(named, dict) else ()))


def _twice(section: str, name: Any, where: Place, places: dict[Any, tuple[Place, Place]]) -> Finding:
    first = places[(section, name)][0]
    text = f"`{section}` holds {shown(name)} a second time (first at {first})"
    return error("duplicate-key", where, text, "rename or remove one of the two")
