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
from busdesign.catalogue.packing import Layout, Slot, lay
from busdesign.catalogue.parts import Draft, MessagePart
from busdesign.catalogue.rules import RULES
from busdesign.catalogue.source import Source, Unreadable, parse_source, read_source
from busdesign.catalogue.validation import validated
from busdesign.errors import CatalogueError
from busdesign.findings import Finding, Severity, error


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
        text = "a catalogue is a mapping with `catalogue`, `bus`, `nodes` and `messages`"
        findings.append(error("wrong-value", source.of_value(()), text))
        return None
    nodes = data.get("nodes")
    node_names = tuple(name for name in nodes if isinstance(name, str)) if isinstance(nodes, dict) else ()
    members = list(spread(_mapping(data, "messages"), source, findings))
    _check_head(source, findings)
    draft = Draft(
        source=source,
        name=str(data.get("catalogue")),
        revision=data.get("revision", 1) if isinstance(data.get("revision", 1), int) else 1,
        comment=str(data.get("comment", "")),
        bus=_quiet(BusWritten, data.get("bus"), source),
        nodes=_good_parts(NodeWritten, _mapping(data, "nodes"), source),
        node_names=node_names,
        codes={name: codes for name, codes in _mapping(data, "codes").items() if _is_codes(codes)},
        messages=[],
        functions=_good_parts(FunctionWritten, _mapping(data, "functions"), source),
        message_names=tuple(member.name for member in members),
    )
    for member in members:
        trail = ("messages", member.name)
        written = validated(MessageWritten, member.data, source, trail, findings, member.origin)
        if written is not None:
            part = MessagePart(member.name, member.family, written, trail, member.origin, source)
            part.layout = _layout(part)
            draft.messages.append(part)
    return draft


def _check_head(source: Source, findings: list[Finding]) -> None:
    """Everything but the insides of messages, which are validated one by one."""
    validated(CatalogueWritten, source.data, source, (), findings)


def _quiet(model: Any, data: Any, source: Source) -> Any:
    """``data`` as ``model`` or None; what is wrong with it has been said by ``_check_head``."""
    return validated(model, data, source, (), [])


def _good_parts(model: Any, parts: Mapping[Any, Any], source: Source) -> dict[str, Any]:
    read = {name: _quiet(model, part, source) for name, part in parts.items()}
    return {name: part for name, part in read.items() if part is not None}


def _mapping(data: Mapping[str, Any], key: str) -> dict[Any, Any]:
    found = data.get(key)
    return found if isinstance(found, dict) else {}


def _is_codes(codes: object) -> bool:
    return isinstance(codes, dict) and all(
        isinstance(raw, int) and isinstance(word, str) for raw, word in codes.items()
    )


def _layout(part: MessagePart) -> Layout:
    slots = [
        Slot(name, signal.bits, part.byte_order_of(name), signal.start, whole_bytes=bool(signal.crc))
        for name, signal in part.written.signals.items()
    ]
    return lay(slots, part.written.bytes)
