"""An entry of ``faults`` as written: what each key may hold. Which keys a kind takes is said by ``faults.kinds``."""

from fractions import Fraction
from typing import Annotated, Any

from pydantic import ConfigDict, Field

from busdesign.catalogue.json_shapes import NAME_OR_NAMES, quantity, words
from busdesign.catalogue.written import Comment, Duration, Name, PositiveDuration, ReadBy, Written
from busdesign.findings import Refused, did_you_mean, shown
from busdesign.scenario.faults.kinds import KINDS
from busdesign.units import format_bit_rate, positive, read_quantity

MOST_FRAMES = 10**9
MOST_ATTEMPTS = 1000
MOST_OFF = Fraction(1, 10)  # as far as ``drift`` goes
FASTEST_BIT_S = 10**6
WHO = ("all", "transmitter", "receivers")
WIRES = ("high", "low")
FIELDS = (
    "start of frame", "identifier", "base identifier", "substitute remote request", "remote transmission request",
    "identifier extension", "extended identifier", "reserved", "length code", "data", "crc", "crc delimiter",
    "acknowledge slot", "acknowledge delimiter", "end of frame", "intermission",
)  # fmt: skip


def _kind(written: object) -> str:
    if isinstance(written, str) and written in KINDS:
        return written
    raise Refused(f"there is no kind of fault {shown(written)}", did_you_mean(written, KINDS, most=len(KINDS)))


def _seen_by(written: object) -> str | tuple[str, ...]:
    names: list[Any] = written if isinstance(written, list) else [written]
    if not names or not all(isinstance(name, str) and name for name in names):
        raise Refused(
            f"expected `all`, `transmitter`, `receivers` or nodes, found {shown(written)}", "such as `[panel]`"
        )
    return str(written) if isinstance(written, str) and written in WHO else tuple(names)


def _within(kind: str, least: Fraction, most: Fraction, allowed: str, what: str) -> Any:
    def read(written: object) -> Fraction:
        found = read_quantity(written, kind, lambda ratio: least <= ratio <= most)
        if not least <= found <= most:
            raise Refused(f"{shown(written)} is not {what}", f"allowed: {allowed}")
        return found

    return read


def _probability(least_included: bool) -> Any:
    def read(written: object) -> Fraction:
        found = read_quantity(written, "ratio", lambda ratio: 0 <= ratio < 1)
        if not (0 <= found < 1 if least_included else 0 < found < 1):
            least = "0 %" if least_included else "more than 0 %"
            raise Refused(f"{shown(written)} is no such probability", f"allowed: {least} to below 100 %")
        return found

    return read


def _error(written: object) -> Fraction:
    error = read_quantity(written, "ratio", lambda ratio: abs(ratio) <= MOST_OFF)
    if not 0 < abs(error) <= MOST_OFF:
        raise Refused(f"{shown(written)} is no such error of a clock", "allowed: -10 % to +10 %, but not 0 %")
    return error


def _bit_rate(written: object) -> Fraction:
    rate = positive(written, "bit rate")
    if rate > FASTEST_BIT_S:
        raise Refused(f"{shown(written)} is too fast", f"allowed: more than 0, up to {format_bit_rate(FASTEST_BIT_S)}")
    return rate


def _wire(written: object) -> str:
    if written in WIRES:
        return str(written)
    raise Refused(f"expected `high` or `low`, found {shown(written)}", did_you_mean(written, WIRES))


def _field(written: object) -> str:
    if written in FIELDS:
        return str(written)
    raise Refused(f"a frame has no field {shown(written)}", did_you_mean(written, FIELDS, most=len(FIELDS)))


_POINT = _within("ratio", Fraction(1, 100), Fraction(99, 100), "1 % to 99 %", "a sample point")
_LENGTH = _within("length", Fraction(0), Fraction(10_000), "0 m to 10 km", "a place on a trunk")
_OHM = _within("resistance", Fraction(0), Fraction(10**6), "0 ohm to 1000 kohm", "such a resistance")
_VOLTAGE = _within("voltage", Fraction(0), Fraction(100), "0 V to 100 V", "such a voltage")

FaultKindName = Annotated[str, ReadBy(_kind, words(*KINDS))]
SeenBy = Annotated[Any, ReadBy(_seen_by, NAME_OR_NAMES)]
Rate = Annotated[Fraction, ReadBy(_probability(False), quantity("ratio", "20 ppm"))]
ErrorRate = Annotated[Fraction, ReadBy(_probability(True), quantity("ratio", "20 ppm"))]
ClockError = Annotated[Fraction, ReadBy(_error, quantity("ratio", "+3 %"))]
BitRate = Annotated[Fraction, ReadBy(_bit_rate, quantity("bit rate"))]
SamplePoint = Annotated[Fraction, ReadBy(_POINT, quantity("ratio", "60 %"))]
Position = Annotated[Fraction, ReadBy(_LENGTH, quantity("length"))]
Ohm = Annotated[Fraction, ReadBy(_OHM, quantity("resistance"))]
Voltage = Annotated[Fraction, ReadBy(_VOLTAGE, quantity("voltage"))]
Wire = Annotated[str, ReadBy(_wire, words(*WIRES))]
FieldName = Annotated[str, ReadBy(_field, words(*FIELDS))]


def _keys_of_kinds(schema: dict[str, Any]) -> None:
    """Each kind has its own keys."""
    schema["allOf"] = [
        {
            "if": {"properties": {"kind": {"const": kind.name}}, "required": ["kind"]},
            "then": {
                "required": [*kind.needs],
                "propertyNames": {"enum": [*kind.allowed]},
            },
        }
        for kind in KINDS.values()
    ]


class FaultWritten(Written):
    """One entry of ``faults``."""

    model_config = ConfigDict(json_schema_extra=_keys_of_kinds)

    kind: FaultKindName = Field(description="such as `silent`")
    at: Duration = Field(description="when it begins, such as `3.2 s`")
    until: Duration | None = Field(None, description="when it ends; left out, it lasts to the end")
    name: Name | None = Field(None, description="what it is called, in a few words")
    node: Name | None = Field(None, description="the node that fails, such as `strut_left`")
    message: Name | None = Field(None, description="the message that it hits, such as `leg_demand`")
    frame: int = Field(1, description="which frame of the message since `at`, from `1`", ge=1, le=MOST_FRAMES)
    bit: int | None = Field(None, description="which bit from the start of frame (or of `field`), from `0`", ge=0)
    field: FieldName | None = Field(None, description="the field in which bits are counted, such as `data`")
    attempts: int = Field(1, description="in so many tries of it, such as `2`", ge=1, le=MOST_ATTEMPTS)
    seen_by: SeenBy | None = Field(None, description="who reads it wrong: `all`, `transmitter`, `receivers` or nodes")
    rate: Rate | None = Field(None, description="probability of each bit, such as `20 ppm`")
    seed: int | None = Field(None, description="of what is random here; left out, the scenario's", ge=0, le=2**63 - 1)
    lasts: PositiveDuration | None = Field(None, description="how long each burst lasts, such as `200 us`")
    every: PositiveDuration | None = Field(None, description="how often it comes, such as `10 ms`")
    time_out: PositiveDuration | None = Field(None, description="of the transceiver, such as `2 ms`")
    id: int | None = Field(None, description="identifier of the flood, such as `0x001`", ge=0, le=0x1FFF_FFFF)
    extended: bool = Field(False, description="whether `id` is one of 29 bits")
    bytes: int = Field(8, description="data bytes of the flood's frames", ge=0, le=8)
    by: PositiveDuration | None = Field(None, description="how late at most, such as `30 ms`")
    payload_bit: int | None = Field(None, description="bit of the payload, 8 * byte + bit, from `0`", ge=0, le=63)
    one_in: int | None = Field(None, description="only each so many-th frame, such as `4`", ge=2, le=MOST_FRAMES)
    bit_rate: BitRate | None = Field(None, description="what the node is set to, such as `125 kbit/s`")
    sample_point: SamplePoint | None = Field(None, description="where the node samples, such as `60 %`")
    error: ClockError | None = Field(None, description="of the node's oscillator, such as `+3 %`")
    position: Position | None = Field(None, description="place on the trunk, such as `5 m`")
    between: list[Name] | None = Field(
        None, description="two neighbours on the trunk, such as `[panel, air_data]`", min_length=2, max_length=2
    )
    wire: Wire | None = Field(None, description="`high` or `low`")
    ohm: Ohm | None = Field(None, description="resistance between the two wires, such as `30 ohm`")
    error_rate: ErrorRate = Field(Fraction(0), description="assumed probability of each bit, such as `20 ppm`")
    voltage: Voltage | None = Field(None, description="what is left of the unit's supply, such as `6 V`")
    restart: Duration = Field(0, description="how long the unit takes to begin anew, such as `300 ms`")
    comment: Comment = ""
