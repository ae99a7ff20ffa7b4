"""``bus`` and ``nodes`` as written: rates and clocks, settings of controllers, the wires and the supply.

Lengths, resistances and the like may be any number here: what cannot be is told by ``rules.wires``, which knows the
nearest possible value.
"""

import re
from collections.abc import Callable
from fractions import Fraction
from typing import Annotated

from pydantic import Discriminator, Field, Tag

from busdesign.catalogue.draft_controllers import ReceiveWritten, TransmitWritten
from busdesign.catalogue.draft_errors import ErrorsWritten
from busdesign.catalogue.json_shapes import quantity, words
from busdesign.catalogue.written import Comment, Duration, Name, ReadBy, Written, one_of
from busdesign.findings import Refused, shown
from busdesign.units import NS_PER_S, format_bit_rate, positive, read_quantity
from busdesign.wire.bit_timing import GENERIC_LIMITS

_FASTEST_BIT_S = 10**6  # ISO 11898-2: up to 1 Mbit/s, flexible data rate aside
_GIGABITS = re.compile(r"[0-9.]\s*[Gg]bit/s\s*\Z")


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


def _any(kind: str, scale: int = 1) -> Callable[[object], Fraction]:
    """A reader of a quantity of any size."""
    return lambda written: read_quantity(written, kind) * scale


def _controller_tag(written: object) -> str | None:
    return _GENERIC if isinstance(written, str) else _OWN if isinstance(written, dict) else None


_GENERIC, _OWN = "<a generic controller>", "<own limits>"  # no key of a file is spelt like this
_NO_CONTROLLER = "expected a word such as `small`, or own limits such as `{prescaler: [1, 64], ...}`"
_GENERICS = tuple(GENERIC_LIMITS)

BitRate = Annotated[Fraction, ReadBy(_bit_rate, quantity("bit rate"))]
Frequency = Annotated[Fraction, ReadBy(lambda written: positive(written, "frequency"), quantity("frequency"))]
Tolerance = Annotated[Fraction, ReadBy(_tolerance, quantity("ratio", "50 ppm", "0.3 %"))]
SamplePoint = Annotated[Fraction, ReadBy(_sample_point, quantity("ratio", "87.5 %"))]
LoadLimit = Annotated[Fraction, ReadBy(_load_limit, quantity("ratio", "60 %"))]
Length = Annotated[Fraction, ReadBy(_any("length"), quantity("length"))]
Resistance = Annotated[Fraction, ReadBy(_any("resistance"), quantity("resistance"))]
Part = Annotated[Fraction, ReadBy(_any("ratio"), quantity("ratio", "1 %"))]
Delay = Annotated[Fraction, ReadBy(_any("duration", NS_PER_S), quantity("duration", "255 ns"))]
DelayPerMetre = Annotated[Fraction, ReadBy(_any("delay per metre"), quantity("delay per metre"))]
ResistancePerMetre = Annotated[Fraction, ReadBy(_any("resistance per metre"), quantity("resistance per metre"))]
CrossSection = Annotated[Fraction, ReadBy(_any("cross-section"), quantity("cross-section"))]
Temperature = Annotated[Fraction, ReadBy(_any("temperature"), quantity("temperature"))]
Voltage = Annotated[Fraction, ReadBy(_any("voltage"), quantity("voltage"))]
Current = Annotated[Fraction, ReadBy(_any("current"), quantity("current"))]
Quanta = Annotated[int, Field(ge=1, le=100_000)]
Range = Annotated[list[Quanta], Field(min_length=2, max_length=2)]
Voltages = Annotated[list[Voltage], Field(min_length=2, max_length=2)]


class CableWritten(Written):
    """``cable`` of a harness: a pair of conductors."""

    delay: DelayPerMetre | None = Field(None, description="of a signal, one way, such as `5.5 ns/m`")
    resistance: ResistancePerMetre | None = Field(None, description="of one conductor, such as `70 mohm/m`")
    cross_section: CrossSection | None = Field(None, description="in place of `resistance`: copper of `0.25 mm2`")
    temperature: Temperature | None = Field(None, description="of that copper, such as `70 degC`")
    impedance: Resistance | None = Field(None, description="of the pair, such as `120 ohm`")


class StubWritten(Written):
    """One entry of ``stubs``: where a node is tied to the trunk."""

    at: Length = Field(description="place along the trunk from its start, such as `1 m`")
    length: Length = Field(Fraction(0), description="of the branch, such as `0.2 m`; none: the trunk passes through")
    node: Name = Field(description="the node at its end")


class TerminationWritten(Written):
    """One entry of ``terminations``: a resistor across the pair."""

    at: Length = Field(description="place along the trunk from its start, such as `0 m`")
    ohm: Resistance = Field(Fraction(120), description="such as `120 ohm`")
    tolerance: Part = Field(Fraction(0), description="of the resistor, either way, such as `1 %`")


class HarnessWritten(Written):
    """``bus.harness``: the wires, in short (`longest_stub`, `termination`) or at length."""

    trunk: Length | None = Field(None, description="length of the main pair, such as `9 m`")
    longest_stub: Length | None = Field(None, description="length of the longest branch, such as `0.25 m`")
    termination: Resistance | None = Field(None, description="resistor at each end, such as `120 ohm`")
    cable: CableWritten | None = Field(None, description="such as `{delay: 5.5 ns/m, resistance: 70 mohm/m}`")
    stubs: list[StubWritten] | None = Field(None, description="such as `[{at: 1 m, length: 0.2 m, node: panel}]`")
    terminations: list[TerminationWritten] | None = Field(None, description="such as `[{at: 0 m, ohm: 120 ohm}]`")


class SourceWritten(Written):
    """``bus.supply``: what feeds the nodes."""

    voltage: Voltage = Field(description="at its terminals, at the least, such as `12 V`")


class BusWritten(Written):
    """``bus``."""

    bit_rate: BitRate = Field(description="such as `250 kbit/s`")
    sample_point: SamplePoint = Field(Fraction(7, 8), description="such as `87.5 %`")
    load_limit: LoadLimit | None = Field(None, description="most of the bus that may be asked for, such as `60 %`")
    errors: ErrorsWritten | None = Field(None, description="how often they come: `{at_least_apart: 10 ms}`")
    harness: HarnessWritten = Field(HarnessWritten.model_construct(), description="the wires")
    supply: SourceWritten | None = Field(None, description="what feeds the nodes, such as `{voltage: 12 V}`")


class LimitsWritten(Written):
    """``controller`` of a node: smallest and largest that its registers hold, in quanta."""

    prescaler: Range = Field(description="cycles of the clock in a quantum, such as `[1, 64]`")
    time_segment1: Range | None = Field(None, description="prop_seg and phase_seg1 together, such as `[2, 16]`")
    prop_seg: Range | None = Field(None, description="where it has a register of its own, such as `[1, 8]`")
    phase_seg1: Range | None = Field(None, description="where it has a register of its own, such as `[1, 8]`")
    phase_seg2: Range = Field(description="such as `[1, 8]`")
    sjw: Quanta = Field(description="most of the jump width, such as `4`")
    quanta: Range = Field([8, 25], description="of the whole bit, such as `[8, 25]`")
    prescaler_step: Quanta = Field(1, description="`2` where the controller halves its clock first")
    information_processing: int = Field(0, description="quanta after the sample point that it needs", ge=0, le=100)


class TimingWritten(Written):
    """``timing`` of a node: what its registers are set to, in quanta."""

    prescaler: Quanta = Field(description="cycles of the clock in a quantum, such as `2`")
    prop_seg: Quanta = Field(description="such as `5`")
    phase_seg1: Quanta = Field(description="such as `2`")
    phase_seg2: Quanta = Field(description="such as `2`")
    sjw: Quanta = Field(description="jump width, such as `1`")


class TransceiverWritten(Written):
    """``transceiver`` of a node: what ties it to the wires."""

    loop_delay: Delay | None = Field(None, description="transmit input to receive output, such as `255 ns`")
    isolator: Delay | None = Field(None, description="one way through an isolator, such as `20 ns`")
    input: Resistance | None = Field(None, description="between the wires, at the least, such as `20 kohm`")
    dominant: Voltages | None = Field(None, description="driven into 60 ohm, least and most: `[1.5 V, 3 V]`")
    common_mode: Voltages | None = Field(None, description="where it still hears, such as `[-12 V, 12 V]`")


class GroundWritten(Written):
    """``ground`` of a supply: the way back, where it is not as the way there."""

    length: Length | None = Field(None, description="such as `0.5 m`")
    cross_section: CrossSection | None = Field(None, description="such as `1 mm2`")
    joints: Resistance | None = Field(None, description="all its connectors together, such as `10 mohm`")


class SupplyWritten(Written):
    """``supply`` of a node: wires of its own from the source, and what it draws through them."""

    length: Length = Field(description="one way, such as `6 m`")
    cross_section: CrossSection = Field(description="of the copper, such as `0.5 mm2`")
    temperature: Temperature | None = Field(None, description="of that copper, such as `70 degC`")
    joints: Resistance | None = Field(None, description="all its connectors together, such as `10 mohm`")
    ground: GroundWritten | None = Field(None, description="the way back, where it differs: `{length: 0.5 m}`")
    peak: Current = Field(description="the most it draws, such as `3 A`")
    idle: Current = Field(Fraction(0), description="the least it draws, such as `50 mA`")
    at_least: Voltage = Field(description="what it needs at its own terminals, such as `9 V`")


Controller = Annotated[
    Annotated[str, ReadBy(one_of(*_GENERICS), words(*_GENERICS)), Tag(_GENERIC)] | Annotated[LimitsWritten, Tag(_OWN)],
    Discriminator(_controller_tag, custom_error_type="controller", custom_error_message=_NO_CONTROLLER),
]


class NodeWritten(Written):
    """One entry of ``nodes``."""

    clock: Frequency | None = Field(None, description="of the controller, such as `16 MHz`")
    tolerance: Tolerance = Field(Fraction(0), description="of that clock, such as `50 ppm` or `0.3 %`")
    controller: Controller | None = Field(None, description="what its registers hold, such as `small` or `large`")
    timing: TimingWritten | None = Field(None, description="its setting; left out, the best one is taken")
    transceiver: TransceiverWritten | None = Field(None, description="such as `{loop_delay: 255 ns}`")
    supply: SupplyWritten | None = Field(None, description="the wires that feed it, and what it draws")
    transmit: TransmitWritten | None = Field(None, description="how frames wait: `{queue: fifo, depth: 8}`")
    receive: ReceiveWritten | None = Field(None, description="how heard ones wait: `{depth: 3, read_every: 5 ms}`")
    processing: Duration = Field(0, description="from hearing to acting, such as `2 ms`")
    comment: Comment = ""
