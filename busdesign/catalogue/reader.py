"""From a YAML file to a frozen catalogue, or to everything that is wrong with it at once.

file → Source (data and places) → Draft (parts that read well) → rules → Catalogue, if no error was found
"""

import os
from collections.abc import Mapping
from typing import Any

from busdesign.catalogue.draft import BusWritten, CatalogueWritten, FunctionWritten, MessageWritten, NodeWritten
from busdesign.catalogue.families import spread
from busdesign.catalogue.freeze import freeze
from busdesign.catalogue.model import Catalogue
from busdesign.catalogue.packing import lay
from busdesign.catalogue.parts import Draft, MessagePart
from busdesign.catalogue.rules import RULES
from busdesign.catalogue.source import Source, Unreadable, parse_source, read_source
from busdesign.catalogue.validation import validated
from busdesign.errors import CatalogueError
from busdesign.findings import Finding, Severity, error, shown

_LAID_OUT_BYTES = 64  # signals of a payload that is too long are still held against each other, up to here


def read_catalogue(path: str | os.PathLike[str]) -> Catalogue:
    """The catalogue in the YAML file at ``path``. Raises CatalogueError with all findings, sorted by place."""
    try:
        source, findings = read_source(path)
    except Unreadable as refused:
        raise CatalogueError([refused.finding]) from None
    return _catalogue(source, findings)


def parse_catalogue(text: str, file: str = "catalogue.yaml") -> Catalogue:
    """The same from YAML text; ``file`` is the name that findings show. Raises CatalogueError."""
    try:
        source, findings = parse_source(text, file)
    except Unreadable as refused:
        raise CatalogueError([refused.finding]) from None
    return _catalogue(source, findings)


def _catalogue(source: Source, findings: list[Finding]) -> Catalogue:
    draft = _draft(source, findings)
    if draft is not None:
        for rule in RULES:
            findings.extend(rule(draft))
    if any(found.severity is Severity.ERROR for found in findings):
        raise CatalogueError(findings)
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
        functions=_good_parts(FunctionWritten, _named(data, "functions"), source),
    )
    _read_messages(_named(data, "messages"), draft, findings)
    return draft


def _read_messages(messages: dict[str, Any], draft: Draft, findings: list[Finding]) -> None:
    families = {name: list(spread(name, data, draft.source, findings)) for name, data in messages.items()}
    members = [member for family in families.values() for member in family]
    draft.message_names = tuple(member.name for member in members)
    draft.broken_families = tuple(name for name, family in families.items() if not family)
    for member in members:
        trail = ("messages", member.name)
        written = validated(MessageWritten, member.data, draft.source, trail, findings, member.origin)
        if written is not None:
            part = MessagePart(member.name, member.family, written, trail, member.origin, draft.source, member.named_at)
            part.layout = lay(part.slots(draft), written.bytes and min(written.bytes, _LAID_OUT_BYTES))
            draft.messages.append(part)


def _check_head(source: Source, findings: list[Finding]) -> None:
    """Everything but the insides of messages, which are validated one by one."""
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
