"""An answer as plain data for ``--json``: the same names, only what scripts need, nothing that is not a fact."""

from collections.abc import Mapping, Sequence
from dataclasses import fields, is_dataclass
from enum import Enum
from fractions import Fraction
from pathlib import Path
from typing import Any, get_origin

from busdesign.findings import Finding, Place


def as_plain(value: Any) -> Any:
    """``value`` as dicts, lists and scalars. Fields marked ``json=False`` in their metadata are left out."""
    if isinstance(value, Place):
        return {"file": value.file, "line": value.line, "column": value.column}
    if is_dataclass(value) and not isinstance(value, type):
        return {
            part.name: as_plain(getattr(value, part.name)) for part in fields(value) if part.metadata.get("json", True)
        }
    if isinstance(value, Mapping):
        return {str(key): as_plain(inner) for key, inner in value.items()}
    if isinstance(value, tuple | list):
        return [as_plain(inner) for inner in value]
    if isinstance(value, Enum):
        return value.value
    if isinstance(value, Fraction):
        return float(value)
    if isinstance(value, Path):
        return str(value)
    return value


def without_facts(answer: type[Any], findings: Sequence[Finding]) -> dict[str, Any]:
    """The shape of an ``answer`` that could not be given: lists are empty, the rest is None, ``holds`` is false."""
    return {**_empty(answer), "findings": list(findings), "holds": False}


def _empty(answer: type[Any]) -> dict[str, Any]:
    return {part.name: _nothing(part.type) for part in fields(answer) if part.metadata.get("json", True)}


def _nothing(kind: Any) -> Any:
    if get_origin(kind) is tuple:
        return []
    return _empty(kind) if is_dataclass(kind) and isinstance(kind, type) else None
