"""From a YAML file to a frozen catalogue, or to everything that is wrong with it at once.

files → Source (data and places) → Draft (parts that read well) → rules → Catalogue, if no error was found
"""

import os
from collections.abc import Callable, Mapping
from typing import Any

from busdesign.catalogue.draft import CatalogueWritten, FunctionWritten, MessageWritten
from busdesign.catalogue.draft_wires import BusWritten, NodeWritten
from busdesign.catalogue.families import Member, spread
from busdesign.catalogue.freeze import freeze
from busdesign.catalogue.includes import refuse_includes, with_included
from busdesign.catalogue.model import Catalogue
from busdesign.catalogue.packing import lay
from busdesign.catalogue.parts import Draft, FunctionPart, MessagePart
from busdesign.catalogue.rules import RULES
from busdesign.catalogue.signal_types import Filled, SignalTypes, told_once
from busdesign.catalogue.sizes import too_large
from busdesign.catalogue.source import Source, Trail, Unreadable, parse_source, read_source
from busdesign.catalogue.validation import validated
from busdesign.errors import CatalogueError
from busdesign.findings import Finding, Severity, error, shown

_LAID_OUT_BYTES = 64  # signals of a payload that is too long are still held against each other, up to here


def read_catalogue(path: str | os.PathLike[str]) -> Catalogue:
    """The catalogue in the YAML file at ``path``, and in those that it includes.

    Raises CatalogueError with all findings, sorted by place.
    """
    try:
        source, findings = read_source(path)
    except Unreadable as refused:
        raise CatalogueError([refused.finding]) from None
    return _catalogue(with_included(source, findings), findings)


def parse_catalogue(text: str, file: str = "catalogue.yaml") -> Catalogue:
    """The same from YAML text, which includes no files; ``file`` is the name that findings show.

    Raises CatalogueError.
    """
    source, findings = _parsed(text, file)
    refuse_includes(source, findings)
    return _catalogue(source, findings)


def parse_catalogue_at(path: str, text: str) -> Catalogue:
    """The same from YAML text that is to lie in the file at ``path``: what it includes is read from there.

    Raises CatalogueError.
    """
    source, findings = _parsed(text, path)
    return _catalogue(with_included(source, findings), findings)


def _parsed(text: str, file: str) -> tuple[Source, list[Finding]]:
    try:
        return parse_source(text, file)
    except Unreadable as refused:
        raise CatalogueError([refused.finding]) from None


def _catalogue(source: Source, findings: list[Finding]) -> Catalogue:
    draft = _draft(source, findings)
    if draft is not None:
        for rule in RULES:
            findings.extend(rule(draft))
    if any(found.severity is Severity.ERROR for found in findings):
        raise CatalogueError(told_once(findings, source))
    assert draft is not None
    return freeze(draft)


def _draft(source: Source, findings: list[Finding]) -> Draft | None:
    data = source.data
    if not isinstance(data, dict):
        found = shown(data)
        text = f"expected a mapping with `catalogue`, `bus`, `nodes` and `messages`, found {found}"
        fix = "a catalogue begins with `catalogue: its name`"
        findings.append(error("wrong-value", source.of_value(()), text, fix))
        return None
    if "scenario" in data and "messages" not in data:
        text = "this is a scenario, not a catalogue: it says what happens on a bus, not what may be said"
        fix = "simulate it; the catalogue it names is what can be checked"
        findings.append(error("not-a-catalogue", source.of_key(("scenario",)), text, fix))
        return None
    _check_head(source, findings)
    revision = data.get("revision", 1)
    draft = Draft(
        source=source,
        name=str(data.get("catalogue")),
        revision=revision if isinstance(revision, int) else 1,
        comment=str(data.get("comment", "")),
        bus=_quiet(BusWritten, data.get("bus"), source),
        nodes=_good_parts(NodeWritten, _named(data, "nodes"), source),
        node_names=tuple(_named(data, "nodes")),
        codes={name: codes for name, codes in _named(data, "codes").items() if _is_codes(codes)},
        code_names=tuple(_named(data, "codes")),
    )
    _read_messages(_named(data, "messages"), SignalTypes(source, findings), draft, findings)
    _read_functions(_named(data, "functions"), draft, findings)
    return draft


def _read_messages(messages: dict[str, Any], types: SignalTypes, draft: Draft, findings: list[Finding]) -> None:
    filled = {name: types.fill(name, data, findings) for name, data in messages.items()}
    _refuse_too_large({name: found.data for name, found in filled.items()}, draft.source, findings)
    families = {name: list(spread(name, found.data, draft.source, findings)) for name, found in filled.items()}
    draft.message_names = tuple(member.name for family in families.values() for member in family)
    draft.broken_families = tuple(name for name, family in families.items() if not family)
    for name, family in families.items():
        for member in family:
            _read_member(member, filled[name], draft, findings)


def _refuse_too_large(messages: dict[str, Any], source: Source, findings: list[Finding]) -> None:
    found = list(too_large(messages, _named(source.data, "functions"), source))
    if found:
        raise CatalogueError([*findings, *found])


def _read_member(member: Member, filled: Filled, draft: Draft, findings: list[Finding]) -> None:
    trail, origin = ("messages", member.name), _origin(member, filled)
    written = validated(MessageWritten, member.data, draft.source, trail, findings, origin)
    if written is not None and filled.is_whole:
        part = MessagePart(member.name, member.family, written, trail, origin, draft.source, member.named_at)
        part.layout = lay(part.slots(draft), written.bytes and min(written.bytes, _LAID_OUT_BYTES))
        draft.add(part)


def _read_functions(functions: dict[str, Any], draft: Draft, findings: list[Finding]) -> None:
    for name, data in functions.items():
        for member in spread(name, data, draft.source, findings, "functions"):
            trail = ("functions", member.name)
            written = validated(FunctionWritten, member.data, draft.source, trail, findings, member.origin)
            if written is not None:
                part = FunctionPart(member.name, written, trail, member.origin, draft.source, member.named_at)
                draft.functions.append(part)


def _origin(member: Member, filled: Filled) -> Callable[[Trail], Trail]:
    if not filled.from_types:
        return member.origin
    return lambda trail: filled.origin(member.origin(trail))


def _check_head(source: Source, findings: list[Finding]) -> None:
    """Everything but the insides of messages and functions, which are validated one by one."""
    validated(CatalogueWritten, source.data, source, (), findings)


def _quiet(model: Any, data: Any, source: Source) -> Any:
    """``data`` as ``model`` or None; what is wrong with it has been said by ``_check_head``."""
    return validated(model, data, source, (), [])


def _good_parts(model: Any, parts: Mapping[Any, Any], source: Source) -> dict[str, Any]:
    read = {name: _quiet(model, part, source) for name, part in parts.items()}
    return {name: part for name, part in read.items() if part is not None}


def _named(data: Mapping[Any, Any], key: str) -> dict[str, Any]:
    """The mapping at ``key``, without what has no word for a name: ``_check_head`` has said that already."""
    found = data.get(key)
    return {name: part for name, part in found.items() if isinstance(name, str)} if isinstance(found, dict) else {}


def _is_codes(codes: object) -> bool:
    return isinstance(codes, dict) and all(
        isinstance(raw, int) and isinstance(word, str) for raw, word in codes.items()
    )
