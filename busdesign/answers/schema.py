"""The JSON Schema (draft 2020-12) of a catalogue or a scenario, for editors that complete keys and mark mistakes.

It is made from the models that read the files. It knows a file's shape, not what the parts say of each other: what
it refuses the reader refuses too, and ``check`` finds what it lets pass. Of draft 2020-12 it needs no keyword that
older editors would pass over.
"""

import json
import re
from collections.abc import Mapping
from typing import Any

from pydantic import BaseModel
from pydantic.json_schema import GenerateJsonSchema, JsonSchemaValue
from pydantic_core import core_schema

from busdesign.catalogue.draft import CatalogueWritten
from busdesign.catalogue.source import parse_source
from busdesign.findings import Refused, did_you_mean, shown
from busdesign.scenario.draft import ScenarioWritten

_KINDS: Mapping[str, tuple[type[BaseModel], str]] = {
    "catalogue": (CatalogueWritten, "who says what on the bus, in which bits, how often and by when"),
    "scenario": (ScenarioWritten, "what happens on the bus, and what must hold"),
}
KINDS = tuple(_KINDS)
_NUMBERS = "The files are YAML 1.2: 0x110 and 0o420 are whole numbers, and so is 272; on, off, yes and no are words."
_FIRST = ("$schema", "$ref", "title", "description", "$comment", "type", "enum", "pattern", "examples", "default")
_LAST = ("properties", "additionalProperties", "items", "required", "anyOf", "oneOf", "allOf", "$defs")
_NAMED = ("properties", "$defs")  # behind these keywords stand names, not keywords
_EXAMPLE = re.compile(r"such as `([^`]+)`")
_TYPES: Mapping[str, Any] = {"enum": str, "string": str, "boolean": bool, "integer": int, "number": int | float}


def schema_text(kind: str) -> str:
    """The schema of ``kind`` as JSON text that ends with a line end. Raises Refused, as ``schema`` does."""
    return json.dumps(schema(kind), indent=2) + "\n"  # in ASCII: a terminal that knows no other letters spoils none


def schema(kind: str) -> dict[str, Any]:
    """The schema of ``kind``: ``catalogue`` or ``scenario``. Raises Refused, a ValueError, for any other."""
    if kind not in _KINDS:
        raise Refused(f"there is no schema of {shown(kind)}", did_you_mean(kind, KINDS))
    model, about = _KINDS[kind]
    made = model.model_json_schema(schema_generator=_AsWritten)
    parts: dict[str, Any] = made.pop("$defs", {})
    head = {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": f"busdesign {kind}",
        "description": about,
        "$comment": _NUMBERS,
    }
    named = {_name(part): parts[part] for part in sorted(parts)}
    whole: dict[str, Any] = _in_order({**made, **head, "$defs": named})
    return whole


class _AsWritten(GenerateJsonSchema):
    """What may stand in a file: no null for what is left out, no default that nobody would write so."""

    def field_title_should_be_set(self, schema: Any) -> bool:
        return False

    def nullable_schema(self, schema: core_schema.NullableSchema) -> JsonSchemaValue:
        return self.generate_inner(schema["schema"])

    def default_schema(self, schema: core_schema.WithDefaultSchema) -> JsonSchemaValue:
        made, default = self.generate_inner(schema["schema"]), schema.get("default")
        if default not in ("", None) and isinstance(default, _TYPES.get(made.get("type", "enum"), ())):
            return {**made, "default": getattr(default, "value", default)}
        return made

    def sort(self, value: JsonSchemaValue, parent_key: str | None = None) -> JsonSchemaValue:
        return value  # in the order of the models, which is that of a file


def _in_order(said: Any) -> Any:
    """``said`` with the keywords of each schema in one order, its parts by short names, and examples where told."""
    if not isinstance(said, dict):
        return [_in_order(inner) for inner in said] if isinstance(said, list) else said
    plain = {key: value for key, value in said.items() if key != "title" or "$schema" in said}
    if "gt" in plain:  # pydantic's word for it, where a validator of ours decides
        plain["exclusiveMinimum"] = plain.pop("gt")
    if "$ref" in plain:
        plain["$ref"] = "#/$defs/" + _name(plain["$ref"].rpartition("/")[2])
    if "description" in plain:
        plain["description"] = _first_words(plain["description"])
        told = _EXAMPLE.search(plain["description"])
        if told:
            plain["examples"] = [_as_json(parse_source(told[1], "example")[0].data)]
    ordered = sorted(plain, key=_rank)
    return {key: _parts_in_order(plain[key]) if key in _NAMED else _of_keyword(key, plain[key]) for key in ordered}


def _parts_in_order(parts: Mapping[str, Any]) -> dict[str, Any]:
    return {name: _in_order(part) for name, part in parts.items()}


def _of_keyword(key: str, value: Any) -> Any:
    return value if key in ("examples", "enum", "default", "required") else _in_order(value)


def _rank(key: str) -> tuple[int, str]:
    if key in _FIRST:
        return _FIRST.index(key), key
    return len(_FIRST) + (_LAST.index(key) + 1 if key in _LAST else 0), key


def _name(model: str) -> str:
    return model.removesuffix("Written").lower()


def _first_words(docstring: str) -> str:
    return docstring.partition("\n\n")[0].replace("``", "`")


def _as_json(data: Any) -> Any:
    """``data`` of a YAML file as JSON has it: every key a text."""
    if isinstance(data, dict):
        return {str(key): _as_json(value) for key, value in data.items()}
    return [_as_json(value) for value in data] if isinstance(data, list) else data
