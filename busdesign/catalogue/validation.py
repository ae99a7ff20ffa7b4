"""From what pydantic says to findings with a place, the words of the file, and a hint."""

import re
from collections.abc import Callable, Iterator, Mapping
from typing import Any, TypeVar

from pydantic import BaseModel, ValidationError

from busdesign.catalogue.scalars import ScalarError, resolve
from busdesign.catalogue.shape import description, keys_allowed
from busdesign.catalogue.source import Source, Trail
from busdesign.findings import Finding, Refused, did_you_mean, error, shown
from busdesign.units import UnitError, decimal_comma

Model = TypeVar("Model", bound=BaseModel)

_EXPECTED = {
    "int_type": "a whole number",
    "int_from_float": "a whole number",
    "float_type": "a number",
    "bool_type": "`true` or `false`",
    "string_type": "a text",
    "string_too_short": "a text",
    "dict_type": "a mapping such as `{key: value}`",
    "model_type": "a mapping such as `{key: value}`",
    "list_type": "a list such as `[one, two]`",
    "union_tag_not_found": "the name of codes or a mapping such as `{0: off, 1: on}`",
}
_YES, _NO = {"yes", "y", "on", "1"}, {"no", "n", "off", "0"}
_KEY = "[key]"  # how pydantic ends the location of a problem with a key itself


def validated(
    model: type[Model],
    data: Any,
    source: Source,
    trail: Trail,
    findings: list[Finding],
    origin: Callable[[Trail], Trail] = lambda trail: trail,
) -> Model | None:
    """``data`` (at ``trail`` of ``source``) as a ``model``, or None with everything wrong added to ``findings``.

    ``origin`` leads from a place in spread-out data back to where it was written.
    """
    try:
        return model.model_validate(data)
    except ValidationError as refused:
        problems = refused.errors(include_url=False)
    bad_keys = {problem["loc"][:-1] for problem in problems if problem["loc"][-1:] == (_KEY,)}
    # Of a wrong key, its value is not worth a second finding.
    readings = [_Reading(model, data, problem) for problem in problems if problem["loc"] not in bad_keys]
    findings.extend(reading.finding(source, trail, origin) for reading in readings)
    return None


class _Reading:
    """One problem as pydantic states it, followed to the data it speaks of."""

    def __init__(self, model: type[BaseModel], data: Any, problem: Any) -> None:
        self.model = model
        self.kind: str = problem["type"]
        self.context: Mapping[str, Any] = problem.get("ctx", {})
        self.said: str = problem["msg"]
        self.found: Any = problem.get("input")
        self.of_key = problem["loc"][-1:] == (_KEY,)
        self.loc = tuple(_steps(problem["loc"], data, self.kind == "missing"))
        self.value = _value_at(data, self.loc)

    def finding(self, source: Source, trail: Trail, origin: Callable[[Trail], Trail]) -> Finding:
        at = origin(trail + self.loc)
        if self.kind == "missing":
            return error("missing-key", source.of_key(origin(trail + self.loc[:-1])), *self._missing())
        if self.kind in ("extra_forbidden", "invalid_key"):
            known = keys_allowed(self.model, self.loc[:-1])
            hint = _glued(self.loc[-1], known) or did_you_mean(_text(self.loc[-1]), known, most=len(known))
            return error("unknown-key", source.of_key(at), f"unknown key {_key_shown(self.loc[-1])}", hint)
        where = source.of_key(at) if self.of_key or self.found is None else source.of_value(at)
        rule = "wrong-unit" if isinstance(self.context.get("error"), UnitError) else "wrong-value"
        return error(rule, where, *(self._wrong_key() if self.of_key else self._wrong_value()))

    def _missing(self) -> tuple[str, str]:
        example = description(self.model, self.loc)
        return f"`{self.loc[-1]}` is missing", f"add `{self.loc[-1]}:`" + (f", {example}" if example else "")

    def _wrong_key(self) -> tuple[str, str]:
        key = _key_shown(self.loc[-1])
        if self.kind == "int_type":
            swapped = isinstance(self.value, int) and not isinstance(self.value, bool)
            fix = f"write `{self.value}: {self.loc[-1]}`" if swapped else "write it like `0: off`"
            return f"expected a whole number before the `:`, found {key}", fix
        return f"{key} is not a name", "a name begins with a letter or `_`"

    def _wrong_value(self) -> tuple[str, str]:
        hint = description(self.model, self.loc) or self._keys_of_mapping()
        reason = self.context.get("error")
        if isinstance(reason, Refused):
            return reason.text, reason.fix or hint
        if reason is not None:
            return str(reason), hint
        if self.kind == "nothing":
            return f"`{self.loc[-1]}` has nothing behind it", hint or "give it a value, or remove it"
        if self.kind in _EXPECTED:
            return f"expected {_EXPECTED[self.kind]}, found {_as_written(self.found)}", self._retyped() or hint
        if self.kind in ("greater_than_equal", "less_than_equal"):
            limit = f"at least {self.context['ge']}" if "ge" in self.context else f"at most {self.context['le']}"
            return f"{shown(self.found)} is out of range: {limit} is allowed", hint
        if self.kind in ("too_short", "too_long"):
            have, least = self.context["actual_length"], self.context.get("min_length")
            wanted = f"at least {least}" if self.kind == "too_short" else f"at most {self.context['max_length']}"
            return f"expected {wanted} {'entry' if wanted.endswith(' 1') else 'entries'}, found {have or 'none'}", hint
        return self.said[:1].lower() + self.said[1:], hint

    def _keys_of_mapping(self) -> str:
        known = keys_allowed(self.model, self.loc) if self.kind == "model_type" else []
        return "its keys are " + ", ".join(f"`{key}`" for key in known) if known else ""

    def _retyped(self) -> str:
        """A hint for a value that is right but for its type, or ""."""
        found, wanted = self.found, _EXPECTED[self.kind]
        if wanted.endswith(" number") and isinstance(found, str) and re.fullmatch(r"[-+]?[0-9]+,[0-9]+", found):
            return decimal_comma(found)[1]
        if wanted == "a whole number" and isinstance(found, float) and found.is_integer():
            return f"write `{found:.0f}`"
        if wanted.endswith(" number") and isinstance(found, str) and _looks_like(found, int | float):
            return "leave the quotes out"
        if self.kind == "bool_type":
            word = str(found).lower()
            return "write `true`" if word in _YES else "write `false`" if word in _NO else ""
        if wanted == "a text":
            if isinstance(found, dict) and list(found.values()) == [None]:
                name = next(iter(found))
                return f"in YAML `{{{name}}}` is a mapping; write `'{{{name}}}'`"
            return "put it in quotes" if isinstance(found, int | float) else ""
        return ""


def _steps(loc: tuple[Any, ...], data: Any, last_is_missing: bool) -> Iterator[Any]:
    """The steps of ``loc`` that are keys or indices of the data; pydantic puts the tags of unions among them."""
    for step in loc[:-1] if last_is_missing else loc:
        if isinstance(data, dict):
            # A key that is no word or number stands in ``loc`` as its text.
            keys = [key for key in data if key == step] or [key for key in data if str(key) == step]
            if keys:
                data = data[keys[0]]
                yield keys[0]
        elif isinstance(data, list) and isinstance(step, int) and step < len(data):
            data = data[step]
            yield step
    if last_is_missing:
        yield loc[-1]


def _value_at(data: Any, loc: tuple[Any, ...]) -> Any:
    for step in loc:
        known = isinstance(data, list) or (isinstance(data, dict) and step in data)
        data = data[step] if known else None
    return data


def _as_written(found: object) -> str:
    is_quoted = isinstance(found, str) and (found == "" or _looks_like(found, int | float | bool | None))
    return f"`'{found}'`" if is_quoted else shown(found)


def _looks_like(word: str, kind: Any) -> bool:
    try:
        return isinstance(resolve(word), kind)
    except ScalarError:
        return False


def _text(key: object) -> str:
    return key if isinstance(key, str) else ""


def _glued(key: object, known: list[str]) -> str:
    """A hint for ``id:0x110``, one word to YAML, or ""."""
    word, colon, value = _text(key).partition(":")
    return f"write {shown(f'{word}: {value}')}, a space after the `:`" if colon and value and word in known else ""


def _key_shown(key: object) -> str:
    return "`~`" if key is None else "`''`" if key == "" else shown(key)
