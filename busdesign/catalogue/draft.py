"""A catalogue as written: what each key may hold, before anything is held against anything else.

These pydantic models are the single statement of the YAML's shape; the JSON Schema is made from them.
"""

from fractions import Fraction
from typing import Annotated, Any

from pydantic import BaseModel, ConfigDict, Field, PlainValidator, StringConstraints

from busdesign.catalogue.model import ByteOrder
from busdesign.units import duration_ns, positive, positive_duration_ns, read_quantity


def _bit_rate(written: object) -> Fraction:
    return positive(written, "bit rate")


def _sample_point(written: object) -> Fraction:
    point = read_quantity(written, "ratio")
    if not 0 < point < 1:
        raise ValueError(f"`{written}` is outside the bit: a sample point lies between 0 % and 100 %")
    return point


def _tolerance(written: object) -> Fraction:
    tolerance = read_quantity(written, "ratio")
    if not 0 <= tolerance < Fraction(1, 10):
        raise ValueError(f"`{written}` is no clock's tolerance: allowed is 0 % to below 10 %")
    return tolerance


def _byte_order(written: object) -> ByteOrder:
    try:
        return ByteOrder(written)  # type: ignore[arg-type]
    except ValueError:
        raise ValueError(f"a byte order is `little` or `big`, found `{written}`") from None


def _number(written: object) -> float:
    if isinstance(written, bool) or not isinstance(written, int | float):
        raise ValueError(f"expected a number, found `{written}`")
    return float(written)


def _words(written: object) -> tuple[str, ...]:
    words = [written] if isinstance(written, str) else written
    if not isinstance(words, list) or not all(isinstance(word, str) for word in words):
        raise ValueError(f"expected a name or a list of names such as `[panel, strut_left]`, found `{written}`")
    return tuple(words)


Duration = Annotated[int, PlainValidator(duration_ns)]
PositiveDuration = Annotated[int, PlainValidator(positive_duration_ns)]
BitRate = Annotated[Fraction, PlainValidator(_bit_rate)]
Frequency = Annotated[Fraction, PlainValidator(lambda written: positive(written, "frequency"))]
Length = Annotated[Fraction, PlainValidator(lambda written: positive(written, "length"))]
Resistance = Annotated[Fraction, PlainValidator(lambda written: positive(written, "resistance"))]
Tolerance = Annotated[Fraction, PlainValidator(_tolerance)]
SamplePoint = Annotated[Fraction, PlainValidator(_sample_point)]
Number = Annotated[float, PlainValidator(_number)]
Words = Annotated[tuple[str, ...], PlainValidator(_words)]
Name = Annotated[str, StringConstraints(min_length=1)]


class Written(BaseModel):
    """A mapping in which only the declared keys may stand."""

    model_config = ConfigDict(extra="forbid", strict=True, frozen=True, arbitrary_types_allowed=True)


class HarnessWritten(Written):
    """``bus.harness``, short form."""

    trunk: Length | None = Field(None, description="length of the main pair, such as `9 m`")
    longest_stub: Length | None = Field(None, description="length of the longest branch, such as `0.25 m`")
    termination: Resistance | None = Field(None, description="resistor at each end, such as `120 ohm`")


class BusWritten(Written):
    """``bus``."""

    bit_rate: BitRate = Field(description="such as `250 kbit/s`")
    sample_point: SamplePoint = Field(Fraction(7, 8), description="such as `87.5 %`")
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


class SignalWritten(Written):
    """One entry of ``signals``."""

    bits: int = Field(description="length in bits, 1 to 64", ge=1, le=64)
    start: int | None = Field(None, description="first bit; left out, the signal is packed", ge=0, le=511)
    byte_order: Annotated[ByteOrder, PlainValidator(_byte_order)] = Field(
        ByteOrder.LITTLE, description="`little` or `big`"
    )
    signed: bool = False
    factor: Number = 1.0
    offset: Number = 0.0
    unit: str = ""
    range: list[Number] | None = Field(
        None, description="least and greatest physical value", min_length=2, max_length=2
    )
    codes: str | dict[int, str] | None = Field(None, description="a name under `codes`, or the meanings themselves")
    counts: int | None = Field(None, description="step of a counter that the sender increments", ge=1)
    modulo: int | None = Field(None, description="a counter runs from 0 to one below this", ge=2)
    crc: str | None = Field(None, description="algorithm of a check over the other bytes, such as `crc8-j1850`")
    data_id: int | None = Field(None, description="16-bit number prefixed to what the check covers", ge=0, le=0xFFFF)
    initial: int | float | str | None = Field(None, description="sent until the node says otherwise")
    comment: str = ""


class MessageWritten(Written):
    """One entry of ``messages``, after ``for_each`` has been spread out."""

    id: int | None = Field(None, description="identifier, such as `0x110`", ge=0)
    extended: bool = Field(False, description="`true` for a 29-bit identifier")
    sender: Name = Field(alias="from", description="the node that sends it")
    receivers: Words = Field((), alias="to", description="the nodes that act on it")
    every: PositiveDuration | None = Field(None, description="period, such as `50 ms`")
    irregular: IrregularWritten | None = Field(None, description="in place of `every`: `{at_least_apart: 20 ms}`")
    deadline: PositiveDuration | None = Field(None, description="release to end of frame, such as `10 ms`")
    offset: Duration = Field(0, description="first release, such as `3 ms`")
    jitter: Duration = Field(0, description="latest release after the nominal one, such as `1 ms`")
    lost_after: PositiveDuration | None = Field(None, description="what a receiver calls silence, such as `200 ms`")
    bytes: int | None = Field(None, description="payload length; left out, as short as the signals allow", ge=0)
    byte_order: Annotated[ByteOrder, PlainValidator(_byte_order)] | None = Field(
        None, description="for all its signals that name none"
    )
    moves: bool = Field(False, description="`true` for a message that can move metal")
    accept: dict[str, Any] = Field({}, description="what a receiver believes, and does without it")
    signals: dict[Name, SignalWritten] = {}
    comment: str = ""


class FunctionWritten(Written):
    """One entry of ``functions``."""

    path: Words = Field(description="labels and messages in order, such as `[panel.switch, leg_demand, strut.drive]`")
    within: PositiveDuration = Field(description="such as `120 ms`")
    comment: str = ""


class CatalogueWritten(Written):
    """The whole file; messages are validated one by one, so that one broken message hides no other."""

    catalogue: Name = Field(description="its name")
    revision: int = Field(1, ge=0)
    comment: str = ""
    bus: BusWritten
    nodes: dict[Name, NodeWritten] = Field(description="the stations", min_length=1)
    codes: dict[Name, dict[int, str]] = {}
    messages: dict[Name, Any] = Field(description="what may be said", min_length=1)
    functions: dict[Name, FunctionWritten] = {}
