"""What every part of a file as written has in common: no unknown keys, something behind each key, the plain kinds."""

from collections.abc import Callable
from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field, PlainValidator, StringConstraints, field_validator
from pydantic_core import PydanticCustomError

from busdesign.catalogue.edits import word_meant
from busdesign.catalogue.json_shapes import quantity
from busdesign.findings import Refused, did_you_mean, shown
from busdesign.units import duration_ns, positive_duration_ns

Duration = Annotated[int, PlainValidator(duration_ns), quantity("duration")]
PositiveDuration = Annotated[int, PlainValidator(positive_duration_ns), quantity("duration")]
Name = Annotated[str, StringConstraints(min_length=1)]
Comment = Annotated[str, Field(description="a note for those who read the file")]


class Written(BaseModel):
    """A mapping in which only the declared keys may stand, each with something behind it."""

    model_config = ConfigDict(extra="forbid", strict=True, frozen=True, arbitrary_types_allowed=True)

    @field_validator("*", mode="before")
    @classmethod
    def _has_something_behind_it(cls, written: object) -> object:
        if written is None:
            raise PydanticCustomError("nothing", "nothing stands here")
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
