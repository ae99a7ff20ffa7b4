"""How a JSON Schema describes what the files hold and JSON has no type for: quantities, words, numbers before a colon.

``draft`` puts these beside the validators that decide; where the two differ, a schema lets pass what it cannot weigh.
"""

from copy import deepcopy
from typing import Any

from pydantic import BaseModel, GetJsonSchemaHandler, WithJsonSchema
from pydantic_core import CoreSchema

from busdesign.units import MAX_CHARACTERS, quantity_form

JsonSchema = dict[str, Any]

# YAML 1.2's whole numbers, as they stand before a colon: a key is a text to a JSON Schema.
_WHOLE_NUMBER = r"^(?:[-+]?(?:0|[1-9][0-9]*)|0x[0-9a-fA-F]+|0o[0-7]+)$"
_NAME: JsonSchema = {"type": "string", "minLength": 1}
_MOST_MEMBERS = 1000
_WORD = r"\{[A-Za-z_][A-Za-z0-9_]*\}"


def quantity(kind: str, *examples: str) -> WithJsonSchema:
    """A quantity of ``kind``, as ``units`` reads it; its limits are not said."""
    return WithJsonSchema(quantity_schema(kind, *examples))


def quantity_schema(kind: str, *examples: str) -> JsonSchema:
    """The schema of a quantity of ``kind``."""
    pattern, example = quantity_form(kind)
    return {"type": "string", "pattern": pattern, "maxLength": MAX_CHARACTERS, "examples": [*(examples or [example])]}


def words(*allowed: str) -> WithJsonSchema:
    """One of the words ``allowed``."""
    return WithJsonSchema({"enum": [*allowed]})


def number(greatest: float) -> WithJsonSchema:
    """A number whose size is at most ``greatest``."""
    return WithJsonSchema({"type": "number", "minimum": -float(greatest), "maximum": float(greatest)})


NUMBER_OR_WORD = WithJsonSchema({"type": ["number", "string"]})
NAME_OR_NAMES = WithJsonSchema({"anyOf": [_NAME, {"type": "array", "items": _NAME}]})
RAWS_OR_WORDS = WithJsonSchema(
    {
        "anyOf": [
            {"type": ["integer", "string"]},
            {"type": "array", "items": {"type": ["integer", "string"]}, "minItems": 1},
        ]
    }
)
GOOD_FRAMES = WithJsonSchema(
    {
        "anyOf": [
            {"type": "integer", "minimum": 1},
            {"type": "string", "pattern": "^0{0,2}[1-9][0-9]{0,2} of [0-9]{1,3}$", "maxLength": 10},
        ],
        "examples": ["2 of 3", 2],
    }
)
DATA_ID: JsonSchema = {
    "anyOf": [{"type": "integer", "minimum": 0, "maximum": 0xFFFF}, {"type": "string", "pattern": f"^{_WORD}$"}]
}
CODE_WORDS: JsonSchema = {
    "type": "object",
    "propertyNames": {"pattern": _WHOLE_NUMBER},
    "additionalProperties": _NAME,
    "examples": [{"0": "off", "1": "on"}],
}
CODES = WithJsonSchema({"anyOf": [_NAME, CODE_WORDS], "examples": ["lamp", {"0": "off", "1": "on"}]})


class ReadAs:
    """Beside ``Any``, whose values are read one by one as ``model``: its schema.

    With ``without``, it is that of a part: that key does not belong there, and no key is required.
    """

    def __init__(self, model: type[BaseModel], *, without: str = "") -> None:
        self._model, self._without = model, without

    def __get_pydantic_json_schema__(self, _: CoreSchema, handler: GetJsonSchemaHandler) -> JsonSchema:
        reference = handler(self._model.__pydantic_core_schema__)
        if not self._without:
            return reference
        whole = deepcopy(handler.resolve_ref_schema(reference))
        del whole["properties"][self._without]
        return {key: said for key, said in whole.items() if key not in ("required", "anyOf", "description")}


def takes_words(schema: JsonSchema) -> None:
    """Of a part of a message: ``{leg}`` in a text stands for a word of ``for_each``, whatever the text is to be."""
    schema["properties"] = {key: _with_words(said) for key, said in schema["properties"].items()}


def bits_or_type(schema: JsonSchema) -> None:
    """A signal may leave to its type what is required of it otherwise."""
    required = schema.pop("required")
    schema["anyOf"] = [{"required": required}, {"required": ["type"]}]
    takes_words(schema)


def one_or_a_family(schema: JsonSchema) -> None:
    """A message with ``for_each`` gives its members a list for any key, required ones too, and for words of its own."""
    keys: JsonSchema = schema["properties"]
    lists = {key: _list_of(kind) for key, kind in keys.items() if key != "for_each"}
    words_of_its_own = _list_of({"type": ["string", "integer"]})
    keys["for_each"] |= {"properties": lists, "additionalProperties": words_of_its_own, "minProperties": 1}
    required = schema.pop("required")
    listed = {"required": ["for_each"], "properties": {"for_each": {"required": required}}}
    schema["anyOf"] = [{"required": required}, listed]
    takes_words(schema)


def whole_or_included(schema: JsonSchema) -> None:
    """An included file names no catalogue and no bus; a catalogue that includes files may leave the rest to them."""
    head, others = ["catalogue", "bus"], ["nodes", "messages"]
    assert sorted(schema.pop("required")) == sorted(head + others)
    is_head = {"anyOf": [{"required": [key]} for key in (*head, "revision")]}
    is_whole = {"required": ["catalogue"], "not": {"required": ["include"]}}
    schema["allOf"] = [
        {"if": is_head, "then": {"required": head}},
        {"if": is_whole, "then": {"required": others}},
    ]


def _list_of(kind: JsonSchema) -> JsonSchema:
    """A list with an entry for each member."""
    plain = {key: deepcopy(said) for key, said in kind.items() if key not in ("description", "default", "examples")}
    told = kind.get("description", "a word of your own").partition(", such as")[0]
    length = {"minItems": 1, "maxItems": _MOST_MEMBERS}
    return {"description": f"one for each member: {told}", "type": "array", "items": plain, **length}


def _with_words(said: Any) -> Any:
    if isinstance(said, list):
        return [_with_words(inner) for inner in said]
    if not isinstance(said, dict):
        return said
    if "enum" in said:
        rest = {key: value for key, value in said.items() if key != "enum"}
        return {**rest, "anyOf": [{"enum": said["enum"]}, {"type": "string", "pattern": _WORD}]}
    if said.get("type") == "string" and "pattern" in said:
        rest = {key: value for key, value in said.items() if key != "maxLength"}
        return {**rest, "pattern": f"{said['pattern']}|{_WORD}"}
    return {key: inner if key == "propertyNames" else _with_words(inner) for key, inner in said.items()}
