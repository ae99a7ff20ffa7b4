"""A catalogue as written: what each key may hold, before anything is held against anything else.

These pydantic models are the single statement of the YAML's shape; the JSON Schema is made from them.
"""

import re
from collections.abc import Callable
from fractions import Fraction
from typing import Annotated, Any

from pydantic import (
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Discriminator,
    Field,
    PlainValidator,
    StringConstraints,
    Tag,
    field_validator,
)
from pydantic_core import PydanticCustomError, PydanticKnownError

from busdesign.catalogue.model import ByteOrder, Role
from busdesign.findings import Refused, did_you_mean, shown
from busdesign.units import duration_ns, format_bit_rate, positive, positive_duration_ns, read_quantity

_FASTEST_BIT_S = 10**6  # ISO 11898-2: up to 1 Mbit/s, flexible data rate aside
_GIGABITS = re.compile(r"[0-9.]\s*[Gg]bit/s\s*\Z")
_GREATEST_NUMBER = 10**30  # far beyond any quantity, and far from where floats end


def _bit_rate(written: object) -> Fraction:
    too_fast = Refused(
        f"{shown(written)} is too fast", f"`{format_bit_rate(_FASTEST_BIT_S)}` is the most of classical CAN"
    )
    if isinstance(written, str) and _GIGABITS.search(written):
        raise too_fast
    rate = positive(written, "bit rate")
    if rate > _FASTEST_BIT_S:
        raise too_fast
    return rate


def _sample_point(written: object) -> Fraction:
    point = read_quantity(written, "ratio", lambda ratio: Fraction(1, 2) <= ratio < 1)
    if not 0 < point < 1:
        raise Refused(f"{shown(written)} is outside the bit", "a sample point lies between 0 % and 100 %")
    return point


def _is_tolerance(ratio: Fraction) -> bool:
    return 0 <= ratio < Fraction(1, 10)


def _tolerance(written: object) -> Fraction:
    tolerance = read_quantity(written, "ratio", _is_tolerance)
    if not _is_tolerance(tolerance):
        raise Refused(f"{shown(written)} is not the tolerance of a clock", "allowed: 0 % to below 10 %")
    return tolerance


def _load_limit(written: object) -> Fraction:
    limit = read_quantity(written, "ratio", lambda ratio: 0 < ratio <= 1)
    if not 0 < limit <= 1:
        raise Refused(f"{shown(written)} is no part of a bus", "more than 0 %, and at most 100 %, is allowed")
    return limit


def _byte_order(written: object) -> ByteOrder:
    if written not in ("little", "big"):
        near = did_you_mean(written, ("little", "big"))
        raise Refused(f"a byte order is `little` or `big`, found {shown(written)}", near if near[0] == "d" else "")
    return ByteOrder(str(written))


def _number(written: object) -> float:
    if isinstance(written, bool) or not isinstance(written, int | float):
        raise PydanticKnownError("float_type")
    if abs(written) > _GREATEST_NUMBER or 0 < abs(written) < 1 / _GREATEST_NUMBER:
        raise Refused(f"{shown(written)} is out of range: 0, or 1e-30 to 1e30 either way, is allowed")
    return float(written)


def _initial(written: object) -> float | str:
    if isinstance(written, bool) or not isinstance(written, int | float | str):
        raise Refused(f"expected a number or the word of a code, found {shown(written)}")
    return written if isinstance(written, str) else _number(written)


def _words(written: object) -> object:
    if isinstance(written, str):
        return (written,)
    if isinstance(written, list):
        return tuple(written)
    raise Refused(f"expected a name, or a list of names such as `[panel, strut_left]`, found {shown(written)}")


def _one_of(*words: str) -> Callable[[object], str]:
    def read(written: object) -> str:
        if written not in words:
            near = did_you_mean(written, words)
            allowed = " or ".join(f"`{word}`" for word in words)
            raise Refused(f"expected {allowed}, found {shown(written)}", near if near[0] == "d" else "")
        return str(written)

    return read


def _raws_or_words(written: object) -> object:
    several = written if isinstance(written, list) else [written]
    if not several or any(isinstance(one, bool) or not isinstance(one, int | str) for one in several):
        raise Refused(
            f"expected a raw number or the word of a code, or a list of them, found {shown(written)}",
            "write it like `{page: 2}` or `{page: [2, 3]}`",
        )
    return tuple(several)


_OF = re.compile(r"([0-9]{1,3}) of ([0-9]{1,3})\Z")


def _good_frames(written: object) -> tuple[int, int]:
    """``2 of 3``, or ``2`` for two in a row."""
    if isinstance(written, int) and not isinstance(written, bool):
        good = latest = written
    else:
        found = _OF.match(written) if isinstance(written, str) else None
        if not found:
            raise Refused(f"expected a number of frames or such as `2 of 3`, found {shown(written)}")
        good, latest = int(found[1]), int(found[2])
    if not 1 <= good <= latest:
        raise Refused(f"{shown(written)} cannot be: at least one frame, and no more than are looked at")
    return good, latest


def _codes_tag(written: object) -> str | None:
    return _CODES_BY_NAME if isinstance(written, str) else _CODES_THEMSELVES if isinstance(written, dict) else None


_CODES_BY_NAME, _CODES_THEMSELVES = "<codes by name>", "<codes themselves>"  # no key of a file is spelt like this

Duration = Annotated[int, PlainValidator(duration_ns)]
PositiveDuration = Annotated[int, PlainValidator(positive_duration_ns)]
BitRate = Annotated[Fraction, PlainValidator(_bit_rate)]
Frequency = Annotated[Fraction, PlainValidator(lambda written: positive(written, "frequency"))]
Length = Annotated[Fraction, PlainValidator(lambda written: positive(written, "length"))]
Resistance = Annotated[Fraction, PlainValidator(lambda written: positive(written, "resistance"))]
Tolerance = Annotated[Fraction, PlainValidator(_tolerance)]
SamplePoint = Annotated[Fraction, PlainValidator(_sample_point)]
LoadLimit = Annotated[Fraction, PlainValidator(_load_limit)]
Number = Annotated[float, PlainValidator(_number)]
Initial = Annotated[float | str, PlainValidator(_initial)]
Order = Annotated[ByteOrder, PlainValidator(_byte_order)]
Name = Annotated[str, StringConstraints(min_length=1)]
RawsOrWords = Annotated[tuple[int | str, ...], PlainValidator(_raws_or_words)]
GoodFrames = Annotated[tuple[int, int], PlainValidator(_good_frames)]
Words = Annotated[tuple[Name, ...], BeforeValidator(_words)]
CodeWords = dict[int, Name]
WhatOfBad = Annotated[str, PlainValidator(_one_of("drop", "accept"))]
WhatOfFirst = Annotated[str, PlainValidator(_one_of("accept", "ignore"))]
WhenLost = Annotated[str, PlainValidator(_one_of("hold", "safe"))]
CodesOfSignal = Annotated[
    Annotated[str, Tag(_CODES_BY_NAME)] | Annotated[CodeWords, Tag(_CODES_THEMSELVES)], Discriminator(_codes_tag)
]


class Written(BaseModel):
    """A mapping in which only the declared keys may stand, each with something behind it."""

    model_config = ConfigDict(extra="forbid", strict=True, frozen=True, arbitrary_types_allowed=True)

    @field_validator("*", mode="before")
    @classmethod
    def _has_something_behind_it(cls, written: object) -> object:
        if written is None:
            raise PydanticCustomError("nothing", "nothing stands here")
        return written


class HarnessWritten(Written):
    """``bus.harness``, short form."""

    trunk: Length | None = Field(None, description="length of the main pair, such as `9 m`")
    longest_stub: Length | None = Field(None, description="length of the longest branch, such as `0.25 m`")
    termination: Resistance | None = Field(None, description="resistor at each end, such as `120 ohm`")


class BusWritten(Written):
    """``bus``."""

    bit_rate: BitRate = Field(description="such as `250 kbit/s`")
    sample_point: SamplePoint = Field(Fraction(7, 8), description="such as `87.5 %`")
    load_limit: LoadLimit | None = Field(None, description="most of the bus that may be asked for, such as `60 %`")
    harness: HarnessWritten = Field(HarnessWritten.model_construct(), description="the wires")


class NodeWritten(Written):
    """One entry of ``nodes``."""

    clock: Frequency | None = Field(None, description="of the controller, such as `16 MHz`")
    tolerance: Tolerance = Field(Fraction(0), description="of that clock, such as `50 ppm` or `0.3 %`")
    processing: Duration = Field(0, description="from hearing to acting, such as `2 ms`")
    comment: str = ""


class IrregularWritten(Written):
    """``irregular`` of a message."""

    at_least_apart: PositiveDuration = Field(description="least time between two, such as `20 ms`")


class AcceptWritten(Written):
    """``accept`` of a message: what its receivers believe."""

    good_frames: GoodFrames = Field((1, 1), description="good ones before it acts, such as `2 of 3`, or `2` in a row")
    bad_counter: WhatOfBad = Field("drop", description="a frame whose counter does not fit: `drop` or `accept`")
    bad_check: WhatOfBad = Field("drop", description="a frame whose check does not fit: `drop` or `accept`")
    first_after_reset: WhatOfFirst = Field(
        "accept", description="the first frame after the receiver's reset: `accept` or `ignore`"
    )
    when_lost: WhenLost = Field("hold", description="`hold` the last values, or take the signals' `safe` ones: `safe`")


class SignalWritten(Written):
    """One entry of ``signals``, after its ``type`` was filled in."""

    type: Name | None = Field(None, description="a name under `signal_types`: its keys hold here unless written here")
    bits: int = Field(description="length in bits, 1 to 64", ge=1, le=64)
    start: int | None = Field(None, description="first bit; left out, the signal is packed", ge=0, le=511)
    byte_order: Order = Field(ByteOrder.LITTLE, description="`little` or `big`")
    signed: bool = Field(False, description="`true` for two's complement")
    is_float: bool = Field(False, alias="float", description="`true` for an IEEE 754 number of 32 or 64 bits")
    factor: Number = Field(1.0, description="physical value = raw * factor + offset")
    offset: Number = Field(0.0, description="physical value = raw * factor + offset")
    unit: str = Field("", description="of the physical value, such as `km/h`")
    range: list[Number] | None = Field(
        None, description="least and greatest physical value, such as `[0, 100]`", min_length=2, max_length=2
    )
    codes: CodesOfSignal | None = Field(None, description="a name under `codes`, or `{0: off, 1: on}` itself")
    unknown: int | None = Field(None, description="raw number by which the sender says that it cannot tell")
    invalid: int | None = Field(None, description="raw number by which the sender says that its value is wrong")
    resolution: Number | None = Field(None, description="coarsest step that would do, in its unit", gt=0)
    constant: int | None = Field(None, description="raw number that is always sent")
    reserved: bool = Field(False, description="`true` for bits kept free, sent as 0 and not looked at")
    when: dict[Name, RawsOrWords] | None = Field(
        None, description="only in frames whose signal says so, such as `{page: 2}`", min_length=1, max_length=1
    )
    counts: int | None = Field(None, description="step of a counter that the sender increments", ge=1)
    modulo: int | None = Field(None, description="a counter runs from 0 to one below this", ge=2)
    crc: str | None = Field(None, description="algorithm of a check over the other bytes, such as `crc8-j1850`")
    data_id: int | None = Field(None, description="16-bit number prefixed to what the check covers", ge=0, le=0xFFFF)
    initial: Initial | None = Field(
        None, description="sent until the node says otherwise, such as `0` or a code's word"
    )
    safe: Initial | None = Field(None, description="what a receiver takes it for once the message is lost")
    comment: str = ""

    @property
    def role(self) -> Role:
        """Who fills it."""
        if self.counts is not None:
            return Role.COUNTER
        if self.crc is not None:
            return Role.CHECK
        if self.reserved:
            return Role.RESERVED
        return Role.VALUE if self.constant is None else Role.CONSTANT


class MessageWritten(Written):
    """One entry of ``messages``, after ``for_each`` has been spread out."""

    for_each: dict[Name, list[Any]] | None = Field(
        None, description="several messages at once, such as `{leg: [nose, left], id: [0x210, 0x211]}`"
    )
    id: int | None = Field(None, description="identifier, such as `0x110`", ge=0)
    extended: bool = Field(False, description="`true` for a 29-bit identifier")
    requests: Name | None = Field(None, description="a remote frame: the irregular message that it asks for")
    sender: Name = Field(alias="from", description="the node that sends it")
    receivers: Words = Field((), alias="to", description="the nodes that act on it")
    every: PositiveDuration | None = Field(None, description="period, such as `50 ms`")
    irregular: IrregularWritten | None = Field(None, description="in place of `every`: `{at_least_apart: 20 ms}`")
    deadline: PositiveDuration | None = Field(None, description="release to end of intermission, such as `10 ms`")
    offset: Duration = Field(0, description="first release, such as `3 ms`")
    jitter: Duration = Field(0, description="latest release after the nominal one, such as `1 ms`")
    lost_after: PositiveDuration | None = Field(None, description="what a receiver calls silence, such as `200 ms`")
    bytes: int | None = Field(None, description="payload length; left out, as short as the signals allow", ge=0)
    byte_order: Order | None = Field(None, description="for all its signals that name none")
    moves: bool = Field(False, description="`true` for a message that can move metal")
    tags: Words = Field((), description="words of your own, such as `[maintenance]`")
    accept: AcceptWritten | None = Field(None, description="what a receiver believes, and does without it")
    signals: dict[Name, SignalWritten] = Field({}, description="its fields, such as `{speed: {bits: 12}}`")
    comment: str = ""


class FunctionWritten(Written):
    """One entry of ``functions``."""

    path: Words = Field(
        description="labels and messages in order, such as `[panel.switch, leg_demand, strut.drive]`", min_length=1
    )
    within: PositiveDuration = Field(description="such as `120 ms`")
    comment: str = ""


class CatalogueWritten(Written):
    """The whole file; messages are validated one by one, so that one broken message hides no other."""

    catalogue: Name = Field(description="its name, such as `undercarriage`")
    revision: int = Field(1, description="counts upwards", ge=0)
    comment: str = ""
    include: Words = Field((), description="further files whose parts belong here, such as `[legs.yaml]`")
    bus: BusWritten = Field(description="such as `{bit_rate: 250 kbit/s}`")
    nodes: dict[Name, NodeWritten] = Field(description="the stations, such as `{panel: {clock: 16 MHz}}`", min_length=1)
    codes: dict[Name, CodeWords] = Field({}, description="shared meanings, such as `{lamp: {0: dark, 1: red}}`")
    signal_types: dict[Name, Any] = Field(
        {}, description="shared keys of signals, such as `{percent: {bits: 12, factor: 0.05, unit: '%'}}`"
    )
    messages: dict[Name, Any] = Field(
        description="such as `{lamp: {id: 0x300, from: panel, every: 50 ms, signals: {colour: {bits: 2}}}}`",
        min_length=1,
    )
    functions: dict[Name, FunctionWritten] = Field({}, description="end-to-end promises")
