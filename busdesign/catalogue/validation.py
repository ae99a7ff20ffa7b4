"""From what pydantic says to findings with a place, the words of the file, and a hint."""

from collections.abc import Callable, Iterator, Mapping
from typing import Any, TypeVar

from pydantic import BaseModel, ValidationError

from busdesign.catalogue.edits import other_value, other_word, word_meant
from busdesign.catalogue.retyping import NO_QUOTES, Advised, as_number, as_text, as_truth
from busdesign.catalogue.scalars import looks_like
from busdesign.catalogue.shape import description, keys_allowed
from busdesign.catalogue.source import Source, Trail
from busdesign.catalogue.written import NOTHING
from busdesign.findings import Edit, Finding, Place, Refused, did_you_mean, error, shown
from busdesign.units import UnitError

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
_OF_A_KEY = ("extra_forbidden", "invalid_key")
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
        is_empty = problem.get("input") is NOTHING and problem["type"] not in _OF_A_KEY
        self.kind: str = "nothing" if is_empty else problem["type"]
        self.context: Mapping[str, Any] = problem.get("ctx", {})
        self.said: str = problem["msg"]
        self.found: Any = problem.get("input") if not is_empty else None
        self.of_key = problem["loc"][-1:] == (_KEY,)
        self.loc = tuple(_steps(problem["loc"], data, self.kind == "missing"))
        self.value = _value_at(data, self.loc)
        self.beside = _value_at(data, self.loc[:-1])

    def finding(self, source: Source, trail: Trail, origin: Callable[[Trail], Trail]) -> Finding:
        at = origin(trail + self.loc)
        if self.kind == "missing":
            return error("missing-key", source.of_key(origin(trail + self.loc[:-1])), *self._missing())
        if self.kind in _OF_A_KEY:
            where = source.of_key(at)
            return error("unknown-key", where, f"unknown key {_key_shown(self.loc[-1])}", *self._other_key(where))
        where = source.of_key(at) if self.of_key or self.found is None else source.of_value(at)
        rule = "wrong-unit" if isinstance(self.context.get("error"), UnitError) else "wrong-value"
        return error(rule, where, *(self._wrong_key(where) if self.of_key else self._wrong_value(where)))

    def _other_key(self, where: Place) -> Advised:
        """A hint for a key that is unknown; the edit names no key that stands beside it already."""
        key, known = self.loc[-1], keys_allowed(self.model, self.loc[:-1])
        word, colon, value = _text(key).partition(":")
        if colon and value and word in known:
            return _spaced(key, where)
        hint = did_you_mean(_text(key), known, most=len(known))
        free = [name for name in known if name not in self.beside]
        return hint, other_word(where, _text(key), word_meant(key, free, hint, closed=True))

    def _missing(self) -> tuple[str, str]:
        example = description(self.model, self.loc)
        return f"`{self.loc[-1]}` is missing", f"add `{self.loc[-1]}:`" + (f", {example}" if example else "")

    def _wrong_key(self, where: Place) -> tuple[str, str, Edit | None]:
        key = self.loc[-1]
        if self.kind != "int_type":
            return f"{_key_shown(key)} is not a name", "a name begins with a letter or `_`", None
        number, colon, word = _text(key).partition(":")
        if colon and word and looks_like(number, int):
            advised = _spaced(key, where)
        elif looks_like(_text(key), int):
            advised = NO_QUOTES, other_value(where, _text(key), _text(key))
        elif isinstance(self.value, int) and not isinstance(self.value, bool):
            advised = f"write `{self.value}: {key}`", None
        else:
            advised = "write it like `0: off`", None
        return f"expected a whole number before the `:`, found {_key_shown(key)}", *advised

    def _wrong_value(self, where: Place) -> tuple[str, str, Edit | None]:
        hint = description(self.model, self.loc) or self._keys_of_mapping()
        reason = self.context.get("error") if self.kind != "nothing" else None
        if isinstance(reason, Refused):
            return reason.text, reason.fix or hint, other_word(where, str(self.found), reason.meant)
        if reason is not None:
            return str(reason), hint, None
        if self.kind in _EXPECTED:
            better, edit = self._retyped(where)
            return f"expected {_EXPECTED[self.kind]}, found {_as_written(self.found)}", better or hint, edit
        return *self._out_of_place(hint), None

    def _out_of_place(self, hint: str) -> tuple[str, str]:
        if self.kind == "nothing":
            return f"`{self.loc[-1]}` has nothing behind it", hint or "give it a value, or remove it"
        if self.kind in ("greater_than_equal", "less_than_equal"):
            limit = f"at least {self.context['ge']}" if "ge" in self.context else f"at most {self.context['le']}"
            return f"{shown(self.found)} is out of range: {limit} is allowed", hint
        if self.kind in ("too_short", "too_long"):
            have, least = len(self.found), self.context.get("min_length")
            wanted = f"at least {least}" if self.kind == "too_short" else f"at most {self.context['max_length']}"
            return f"expected {wanted} {'entry' if wanted.endswith(' 1') else 'entries'}, found {have or 'none'}", hint
        return self.said[:1].lower() + self.said[1:], hint

    def _keys_of_mapping(self) -> str:
        known = keys_allowed(self.model, self.loc) if self.kind == "model_type" else []
        return "its keys are " + ", ".join(f"`{key}`" for key in known) if known else ""

    def _retyped(self, where: Place) -> Advised:
        """A hint and an edit for a value that is right but for its type."""
        wanted = _EXPECTED[self.kind]
        if wanted.endswith(" number"):
            return as_number(self.found, where, whole=wanted == "a whole number")
        if self.kind == "bool_type":
            return as_truth(self.found, where)
        return as_text(self.found, where) if wanted == "a text" else ("", None)


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
    is_quoted = isinstance(found, str) and (found == "" or looks_like(found, int | float | bool | None))
    return f"`'{found}'`" if is_quoted else shown(found)


def _text(key: object) -> str:
    return key if isinstance(key, str) else ""


def _spaced(key: Any, where: Place) -> Advised:
    """What to say of ``id:0x110``, one word to YAML."""
    word, _, value = key.partition(":")
    spaced = f"{word}: {value}"
    return f"write {shown(spaced)}, a space after the `:`", other_word(where, key, spaced)


def _key_shown(key: object) -> str:
    return "`~`" if key is None else "`''`" if key == "" else shown(key)
