"""What a pydantic model says about a place in the data: which keys may stand there, and what a key means."""

import types
from typing import Annotated, Any, Union, get_args, get_origin

from pydantic import BaseModel

_WRAPPERS = (Annotated, Union, types.UnionType)


def keys_allowed(model: type[BaseModel], loc: tuple[Any, ...]) -> list[str]:
    """The keys that may stand in the mapping at ``loc``; none if its keys are free."""
    place = _model_at(model, loc)
    fields = place.model_fields.items() if place else ()
    return [_key(name, known) for name, known in fields if not known.exclude]  # those are there to be refused


def description(model: type[BaseModel], loc: tuple[Any, ...]) -> str:
    """What the model says of the key that ends ``loc`` (or of the list whose entry does), or ""."""
    while loc and isinstance(loc[-1], int):
        loc = loc[:-1]
    owner = _model_at(model, loc[:-1]) if loc else None
    fields = owner.model_fields.items() if owner else ()
    return next((known.description or "" for name, known in fields if loc[-1] == _key(name, known)), "")


def _key(name: str, known: Any) -> str:
    return str(known.alias or name)


def _model_at(model: type[BaseModel], loc: tuple[Any, ...]) -> type[BaseModel] | None:
    place: Any = model
    for step in loc:
        place = _inside(place, step)
    return _unwrapped(place)


def _inside(place: Any, step: Any) -> Any:
    """The annotation behind ``step`` of ``place``, or None."""
    if isinstance(place, type) and issubclass(place, BaseModel):
        return next((known.annotation for name, known in place.model_fields.items() if step == _key(name, known)), None)
    origin = get_origin(place)
    if origin in _WRAPPERS:
        return next((found for found in (_inside(arg, step) for arg in get_args(place)) if found is not None), None)
    if origin is dict:
        return get_args(place)[1]
    return get_args(place)[0] if origin in (list, tuple) and isinstance(step, int) else None


def _unwrapped(place: Any) -> type[BaseModel] | None:
    if isinstance(place, type) and issubclass(place, BaseModel):
        return place
    inner = get_args(place) if get_origin(place) in _WRAPPERS else ()
    return next((found for found in map(_unwrapped, inner) if found), None)
