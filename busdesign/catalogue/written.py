"""What every part of a file as written has in common: no unknown keys, something behind each key, the plain kinds."""

from collections.abc import Callable
from typing import Annotated, Any

from pydantic import BaseModel, ConfigDict, Field, WithJsonSchema, model_validator
from pydantic_core import CoreSchema, core_schema

from busdesign.catalogue.edits import word_meant
from busdesign.catalogue.json_shapes import quantity
from busdesign.findings import Refused, did_you_mean, shown
from busdesign.units import duration_ns, positive_duration_ns


class ReadBy:
    """A value is what ``read`` makes of it; JSON Schema says of it what ``shape`` says.

    pydantic's own validator does the same, but builds a schema of the result's type first, which costs each start.
    """

    def __init__(self, read: Callable[[object], Any], shape: WithJsonSchema) -> None:
        self._read = read
        self.__get_pydantic_json_schema__ = shape.__get_pydantic_json_schema__

    def __get_pydantic_core_schema__(self, *_: object) -> CoreSchema:
        return core_schema.no_info_plain_validator_function(self._read)


Duration = Annotated[int, ReadBy(duration_ns, quantity("duration"))]
PositiveDuration = Annotated[int, ReadBy(positive_duration_ns, quantity("duration"))]
Name = Annotated[str, Field(min_length=1)]
Comment = Annotated[str, Field(description="a note for those who read the file")]


class _Nothing:
    """What stands behind a key with nothing behind it: of no type that a key could want."""


NOTHING = _Nothing()


class Written(BaseModel):
    """A mapping in which only the declared keys may stand, each with something behind it."""

    model_config = ConfigDict(extra="forbid", strict=True, frozen=True, arbitrary_types_allowed=True)

    @model_validator(mode="before")
    @classmethod
    def _has_something_behind_each_key(cls, written: object) -> object:
        """Where nothing stands, no key may take it for "left out"."""
        if isinstance(written, dict) and None in written.values():
            return {key: NOTHING if value is None else value for key, value in written.items()}
        return written


def one_of(*words: str) -> Callable[[object], str]:
    """A reader of one of the ``words``; its refusal names the nearest one."""

    def read(written: object) -> str:
        if written not in words:
            near = did_you_mean(written, words)
            allowed = " or ".join(f"`{word}`" for word in words)
            meant = word_meant(written, words, near, closed=True)
            raise Refused(f"expected {allowed}, found {shown(written)}", near if near[0] == "d" else "", meant)
        return str(written)

    return read
