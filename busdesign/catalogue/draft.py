"""A catalogue as written: what each key may hold, before anything is held against anything else.

These pydantic models are the single statement of the YAML's shape; the JSON Schema is made from them.
"""

import re
from typing import Annotated, Any

from pydantic import (
    BeforeValidator,
    ConfigDict,
    Discriminator,
    Field,
    Tag,
    WithJsonSchema,
)
from pydantic_core import PydanticKnownError

from busdesign.catalogue.data_ids import WAYS
from busdesign.catalogue.draft_wires import BusWritten, NodeWritten
from busdesign.catalogue.edits import word_meant
from busdesign.catalogue.json_shapes import (
    CODE_WORDS,
    CODES,
    DATA_ID,
    GOOD_FRAMES,
    NAME_OR_NAMES,
    NUMBER_OR_WORD,
    RAWS_OR_WORDS,
    ReadAs,
    bits_or_type,
    number,
    one_or_a_family,
    takes_words,
    whole_or_included,
    words,
)
from busdesign.catalogue.model import ByteOrder, Role
from busdesign.catalogue.written import Comment, Duration, Name, PositiveDuration, ReadBy, Written, one_of
from busdesign.findings import Refused, did_you_mean, shown

_MOST_SIGNALS = 1000  # of one message; without pages, no more than its bits
_GREATEST_NUMBER = 1e30  # far beyond any quantity, and far from where floats end


def _byte_order(written: object) -> ByteOrder:
    if written not in ("little", "big"):
        near = did_you_mean(written, ("little", "big"))
        meant = word_meant(written, ("little", "big"), near, closed=True)
        text = f"a byte order is `little` or `big`, found {shown(written)}"
        raise Refused(text, near if near.startswith("did") else "", meant)
    return ByteOrder(str(written))


def _number(written: object) -> float:
    if isinstance(written, bool) or not isinstance(written, int | float):
        raise PydanticKnownError("float_type")
    if abs(written) > _GREATEST_NUMBER or 0 < abs(written) < 1e-30:
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

Number = Annotated[float, ReadBy(_number, number(_GREATEST_NUMBER))]
Initial = Annotated[float | str, ReadBy(_initial, NUMBER_OR_WORD)]
Order = Annotated[ByteOrder, ReadBy(_byte_order, words("little", "big"))]
RawsOrWords = Annotated[tuple[int | str, ...], ReadBy(_raws_or_words, RAWS_OR_WORDS)]
GoodFrames = Annotated[tuple[int, int], ReadBy(_good_frames, GOOD_FRAMES)]
Words = Annotated[tuple[Name, ...], BeforeValidator(_words), NAME_OR_NAMES]
CodeWords = Annotated[dict[int, Name], WithJsonSchema(CODE_WORDS)]
DataId = Annotated[int, Field(ge=0, le=0xFFFF), WithJsonSchema(DATA_ID)]  # a number, by way of a word of `for_each` too
DataIdAs = Annotated[str, ReadBy(one_of(*WAYS), words(*WAYS))]
Byte = Annotated[int, Field(ge=0, le=0xFF)]
WhatOfBad = Annotated[str, ReadBy(one_of("drop", "accept"), words("drop", "accept"))]
WhatOfFirst = Annotated[str, ReadBy(one_of("accept", "ignore"), words("accept", "ignore"))]
WhenLost = Annotated[str, ReadBy(one_of("hold", "safe"), words("hold", "safe"))]
CodesOfSignal = Annotated[
    Annotated[str, Tag(_CODES_BY_NAME)] | Annotated[CodeWords, Tag(_CODES_THEMSELVES)],
    Discriminator(_codes_tag),
    CODES,
]


class IrregularWritten(Written):
    """``irregular`` of a message."""

    model_config = ConfigDict(json_schema_extra=takes_words)

    at_least_apart: PositiveDuration = Field(description="least time between two, such as `20 ms`")


class AcceptWritten(Written):
    """``accept`` of a message: what its receivers believe."""

    model_config = ConfigDict(json_schema_extra=takes_words)

    good_frames: GoodFrames = Field((1, 1), description="good ones before it acts, such as `2 of 3`, or `2` in a row")
    bad_counter: WhatOfBad = Field("drop", description="a frame whose counter does not fit: `drop` or `accept`")
    bad_check: WhatOfBad = Field("drop", description="a frame whose check does not fit: `drop` or `accept`")
    first_after_reset: WhatOfFirst = Field(
        "accept", description="the first frame after the receiver's reset: `accept` or `ignore`"
    )
    when_lost: WhenLost = Field("hold", description="`hold` the last values, or take the signals' `safe` ones: `safe`")


class SignalWritten(Written):
    """One entry of ``signals``.

    It is read after its ``type`` was filled in.
    """

    model_config = ConfigDict(json_schema_extra=bits_or_type)

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
    data_id: DataId | None = Field(None, description="16-bit number that the check covers beside the payload")
    data_id_as: DataIdAs | None = Field(None, description="which of its bytes, and where: `both` before the payload")
    data_ids: list[Byte] | None = Field(
        None, description="in its place: bytes, of which the counter chooses one", min_length=2, max_length=256
    )
    initial: Initial | None = Field(
        None, description="sent until the node says otherwise, such as `0` or a code's word"
    )
    safe: Initial | None = Field(None, description="what a receiver takes it for once the message is lost")
    comment: Comment = ""

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
    """One entry of ``messages``.

    It is read after ``for_each`` has been spread out.
    """

    model_config = ConfigDict(json_schema_extra=one_or_a_family)

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
    length_code: int | None = Field(None, description="sent for 8 bytes in place of `8`, such as `12`", ge=9, le=15)
    byte_order: Order | None = Field(None, description="for all its signals that name none")
    moves: bool = Field(False, description="`true` for a message that can move metal")
    tags: Words = Field((), description="words of your own, such as `[maintenance]`")
    accept: AcceptWritten | None = Field(None, description="what a receiver believes, and does without it")
    signals: dict[Name, SignalWritten] = Field(
        {}, description="its fields, such as `{speed: {bits: 12}}`", max_length=_MOST_SIGNALS
    )
    comment: Comment = ""


class FunctionWritten(Written):
    """One entry of ``functions``, or one for each of several nodes."""

    model_config = ConfigDict(json_schema_extra=one_or_a_family)

    for_each: dict[str, Any] | None = Field(None, description="several at once, such as `{leg: [nose, left]}`")
    path: Words = Field(
        description="labels and messages in order, such as `[panel.switch, leg_demand, strut.drive]`",
        min_length=1,
        json_schema_extra={"minItems": 1},
    )
    within: PositiveDuration = Field(description="from the first step to the last, such as `120 ms`")
    age: PositiveDuration | None = Field(None, description="the oldest that the last step acts on, such as `150 ms`")
    skew: PositiveDuration | None = Field(
        None, description="apart from those that begin with the same messages, such as `20 ms`"
    )
    comment: Comment = ""


class CatalogueWritten(Written):
    """The whole file.

    Messages are validated one by one, so that one broken message hides no other.
    """

    model_config = ConfigDict(json_schema_extra=whole_or_included)

    catalogue: Name = Field(description="its name, such as `undercarriage`")
    revision: int = Field(1, description="counts upwards", ge=0)
    comment: Comment = ""
    include: Words = Field((), description="further files whose parts belong here, such as `[legs.yaml]`")
    bus: BusWritten = Field(description="such as `{bit_rate: 250 kbit/s}`")
    nodes: dict[Name, NodeWritten] = Field(description="the stations, such as `{panel: {clock: 16 MHz}}`", min_length=1)
    codes: dict[Name, CodeWords] = Field({}, description="shared meanings, such as `{lamp: {0: dark, 1: red}}`")
    signal_types: dict[Name, Annotated[Any, ReadAs(SignalWritten, without="type")]] = Field(
        {}, description="shared keys of signals, such as `{percent: {bits: 12, factor: 0.05, unit: '%'}}`"
    )
    messages: dict[Name, Annotated[Any, ReadAs(MessageWritten)]] = Field(
        description="such as `{lamp: {id: 0x300, from: panel, every: 50 ms, signals: {colour: {bits: 2}}}}`",
        min_length=1,
    )
    functions: dict[Name, Annotated[Any, ReadAs(FunctionWritten)]] = Field(
        {}, description="end-to-end promises, such as `{shown: {path: [leg.state, report, panel.lamp], within: 90 ms}}`"
    )
