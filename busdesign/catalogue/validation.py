"""From what pydantic says to findings with a place, the words of the file, and a hint."""

import types
from collections.abc import Callable, Iterator
from typing import Annotated, Any, TypeVar, Union, get_args, get_origin

from pydantic import BaseModel, ValidationError

from busdesign.catalogue.source import Source, Trail
from busdesign.findings import Finding, Severity, did_you_mean

Model = TypeVar("Model", bound=BaseModel)

_EXPECTED = {
    "int_type": "a whole number",
    "int_parsing": "a whole number",
    "int_from_float": "a whole number",
    "float_type": "a number",
    "bool_type": "`true` or `false`",
    "string_type": "a text",
    "dict_type": "a mapping such as `{key: value}`",
    "model_type": "a mapping such as `{key: value}`",
    "list_type": "a list such as `[one, two]`",
    "string_too_short": "a name",
}


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
    except ValidationError as error:
        findings.extend(_finding(problem, model, source, trail, origin) for problem in error.errors(include_url=False))
        return None


def _finding(problem: Any, model: type[BaseModel], source: Source, trail: Trail, origin: Any) -> Finding:
    kind, ctx = problem["type"], problem.get("ctx", {})
    loc = tuple(_without_tags(problem["loc"], model))
    at = origin(trail + loc)
    found = problem.get("input")
    if kind == "extra_forbidden":
        return _error(
            "unknown-key", source.of_key(at), f"unknown key `{loc[-1]}`", did_you_mean(loc[-1], _keys(model, loc[:-1]))
        )
    if kind == "missing":
        whole = origin(trail + loc[:-1])
        example = _description(model, loc)
        fix = f"add `{loc[-1]}:`" + (f", {example}" if example else "")
        return _error("missing-key", source.of_key(whole), f"`{loc[-1]}` is missing", fix)
    if kind == "value_error":
        return _error("wrong-value", source.of_value(at), str(ctx.get("error", problem["msg"])))
    where = source.of_value(at)
    if kind in _EXPECTED:
        hint = _description(model, loc)
        return _error("wrong-value", where, f"expected {_EXPECTED[kind]}, found {_show(found)}", hint)
    if kind in ("greater_than_equal", "less_than_equal"):
        limit = ctx.get("ge", ctx.get("le"))
        word = "at least" if "ge" in ctx else "at most"
        return _error("wrong-value", where, f"`{found}` is out of range: {word} {limit} is allowed")
    if kind in ("too_short", "too_long"):
        want = f"{ctx.get('min_length', ctx.get('max_length'))}"
        have = ctx.get("actual_length")
        return _error("wrong-value", where, f"{have} entries where {want} belong", _description(model, loc))
    return _error("wrong-value", where, problem["msg"].lower())


def _error(rule: str, where: Any, text: str, fix: str = "") -> Finding:
    return Finding(rule, Severity.ERROR, where, text, fix)


def _show(found: object) -> str:
    if found is None:
        return "nothing"
    if isinstance(found, dict):
        return "a mapping"
    if isinstance(found, list):
        return "a list"
    text = str(found).lower() if isinstance(found, bool) else str(found)
    return f"`{text if len(text) <= 40 else text[:37] + '...'}`"


def _without_tags(loc: tuple[Any, ...], model: type[BaseModel]) -> Iterator[Any]:
    """Drop what pydantic adds to a location: union members (``str``, ``dict[int,str]``) and ``[key]``."""
    place: Any = model
    for step in loc:
        inner = _inside(place, step)
        if inner is None or step == "[key]":
            continue
        place = inner
        yield step


def _inside(place: Any, step: Any) -> Any:
    """The annotation behind ``step`` of ``place``, or None if ``step`` is not a step of the data."""
    if isinstance(place, type) and issubclass(place, BaseModel):
        for name, known in place.model_fields.items():
            if step == (known.alias or name):
                return known.annotation
        return Any if isinstance(step, str) else None
    origin = get_origin(place)
    if origin is Annotated:
        return _inside(get_args(place)[0], step)
    if origin in (Union, types.UnionType):
        return next((found for found in (_inside(arg, step) for arg in get_args(place)) if found is not None), None)
    if origin is dict:
        key_type = get_args(place)[0]
        wants_int = key_type is int
        is_tag = isinstance(step, str) and (wants_int or "[" in step)
        return None if is_tag else get_args(place)[1]
    if origin in (list, tuple):
        return get_args(place)[0] if isinstance(step, int) else None
    return Any if place is Any else None


def _keys(model: type[BaseModel], loc: tuple[Any, ...]) -> list[str]:
    """The keys allowed in the mapping at ``loc``."""
    place: Any = model
    for step in loc:
        place = _inside(place, step)
    place = _model_in(place)
    return [known.alias or name for name, known in place.model_fields.items()] if place else []


def _model_in(place: Any) -> type[BaseModel] | None:
    if isinstance(place, type) and issubclass(place, BaseModel):
        return place
    return next((found for found in map(_model_in, get_args(place)) if found), None)


def _description(model: type[BaseModel], loc: tuple[Any, ...]) -> str:
    """What the model says of the key that ends ``loc``, for a hint."""
    place: Any = model
    for step in loc[:-1]:
        place = _inside(place, step)
    owner = _model_in(place)
    if owner is None or not loc:
        return ""
    for name, known in owner.model_fields.items():
        if loc[-1] == (known.alias or name):
            return known.description or ""
    return ""
