"""The frozen catalogue: what may be said on the bus. What exists here is valid; ``reader`` made sure of it.

Bits of a payload are numbered ``8 * byte + bit`` with bit 0 the least significant bit of a byte, as DBC files do. A
little-endian signal starts at its least significant bit and runs upwards; a big-endian one starts at its most
significant bit and runs down through the byte, then on into the most significant bit of the next byte.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from fractions import Fraction
from functools import lru_cache
from types import MappingProxyType

from busdesign.catalogue.model_controllers import Receive, Transmit
from busdesign.catalogue.model_errors import ErrorModel
from busdesign.catalogue.model_wires import Harness, Supply, Timing
from busdesign.findings import Place
from busdesign.wire.bit_timing import Limits
from busdesign.wire.harness import Transceiver

MAX_BASE_IDENTIFIER = 0x7FF
MAX_EXTENDED_IDENTIFIER = 0x1FFF_FFFF
MAX_SIGNAL_BITS = 64
MAX_CLASSICAL_BYTES = 8


class ByteOrder(StrEnum):
    """How a signal longer than its byte goes on."""

    LITTLE = "little"
    BIG = "big"


class Role(StrEnum):
    """Who fills a signal: the node's application, or (all but VALUE) the codec."""

    VALUE = "value"
    COUNTER = "counter"
    CHECK = "check"
    CONSTANT = "constant"
    RESERVED = "reserved"  # sent as 0, never looked at


@dataclass(frozen=True, slots=True)
class Signal:
    """One field of a message. Physical value = raw * factor + offset, in ``unit``."""

    name: str
    start_bit: int
    length_bits: int
    byte_order: ByteOrder = ByteOrder.LITTLE
    signed: bool = False
    is_float: bool = False  # IEEE 754, 32 or 64 bits; its raw number is that pattern of bits
    factor: float = 1.0
    offset: float = 0.0
    minimum: float | None = None  # physical, as declared; None where the raw range is the limit
    maximum: float | None = None
    unit: str = ""
    codes: Mapping[int, str] = field(default_factory=lambda: MappingProxyType({}))  # ``unknown`` and ``invalid`` too
    unknown_raw: int | None = None  # the sender cannot tell
    invalid_raw: int | None = None  # the sender knows that it is wrong
    resolution: float | None = None  # the coarsest step that would do
    selector: str = ""  # multiplexed: there only if this signal is there too, and its raw number is ...
    selected_by: tuple[int, ...] = ()  # ... one of these
    role: Role = Role.VALUE
    counts: int = 1  # a counter's step
    modulo: int = 0  # a counter runs 0 .. modulo - 1
    crc: str = ""  # a check's algorithm, by its name in ``checksums``
    data_id: int | None = None  # a number that a check covers beside the payload ...
    data_id_as: str = "both"  # ... by one of ``data_ids.WAYS``
    data_ids: tuple[int, ...] = ()  # in its place: bytes, of which the counter's raw number chooses one
    constant: int = 0  # the raw number that is always sent, of a constant
    initial: float | str | None = None  # what is sent until the application says otherwise
    safe: float | str | None = None  # what a receiver takes it for once the message is lost
    comment: str = ""
    place: Place | None = field(default=None, compare=False, repr=False)
    places: Mapping[str, Place] = field(default_factory=lambda: MappingProxyType({}), compare=False, repr=False)

    def place_of(self, key: str) -> Place | None:
        """Where ``key`` of this signal is written, else where the signal is."""
        return self.places.get(key) or self.place

    @property
    def only_codes(self) -> bool:
        """Whether its codes are all it can say: codes, and no range beside them."""
        return self.minimum is None and any(raw not in (self.unknown_raw, self.invalid_raw) for raw in self.codes)

    @property
    def raw_min(self) -> int:
        """The least raw value the bits can hold."""
        return -(1 << (self.length_bits - 1)) if self.signed else 0

    @property
    def raw_max(self) -> int:
        """The greatest raw value the bits can hold."""
        return (1 << (self.length_bits - int(self.signed))) - 1

    @property
    def bit_positions(self) -> tuple[int, ...]:
        """The payload bits it takes, least significant first."""
        return bit_positions(self.start_bit, self.length_bits, self.byte_order)


@lru_cache(maxsize=4096)
def bit_positions(start_bit: int, length_bits: int, byte_order: ByteOrder) -> tuple[int, ...]:
    """Payload bit numbers of a field, least significant bit of the field first.

    For a big-endian field the bit after bit 0 of a byte is bit 7 of the next byte.
    """
    if byte_order is ByteOrder.LITTLE:
        return tuple(range(start_bit, start_bit + length_bits))
    first = 8 * (start_bit // 8) + (7 - start_bit % 8)  # counted from the top of byte 0, most significant first
    from_top = range(first, first + length_bits)
    return tuple(8 * (place // 8) + (7 - place % 8) for place in reversed(from_top))


@dataclass(frozen=True, slots=True)
class Acceptance:
    """What a receiver believes: ``good_frames`` (how many good ones, of how many latest) before it acts on a value."""

    good_frames: tuple[int, int] = (1, 1)
    drops_bad_counter: bool = True
    drops_bad_check: bool = True
    ignores_first: bool = False  # the first frame after the receiver's own reset
    safe_when_lost: bool = False  # the signals' ``safe`` values once lost, else the last ones hold


@dataclass(frozen=True, slots=True)
class Message:
    """One definition: who says what, in which bits, how often and by when. A frame is one transmission of it."""

    name: str
    identifier: int | None  # None until one is assigned: then it has no place on the wire yet
    extended: bool
    length_bytes: int
    sender: str
    receivers: tuple[str, ...]
    signals: tuple[Signal, ...]
    period_ns: int  # of a periodic message; of an irregular one the least distance between two
    irregular: bool = False
    deadline_ns: int = 0  # as declared, else the period
    offset_ns: int = 0  # first release
    jitter_ns: int = 0
    lost_after_ns: int | None = None
    moves: bool = False  # can move metal
    accept: Acceptance | None = None
    requests: str = ""  # of a remote frame: the message it asks for, whose identifier and length it bears
    tags: tuple[str, ...] = ()
    long_code: int | None = None  # 9 to 15, sent as the length code of 8 bytes
    family: str = ""  # the name written in the catalogue, where ``for_each`` made several
    comment: str = ""
    places: Mapping[str, Place] = field(default_factory=lambda: MappingProxyType({}), compare=False, repr=False)

    def signal(self, name: str) -> Signal:
        """The signal called ``name``. Raises KeyError."""
        for signal in self.signals:
            if signal.name == name:
                return signal
        raise KeyError(name)

    @property
    def is_remote(self) -> bool:
        """Whether its frames are remote frames: a length and no data."""
        return bool(self.requests)

    @property
    def length_code(self) -> int:
        """The length code in its frames: ``length_bytes``, unless another one was chosen for 8 bytes."""
        return self.length_bytes if self.long_code is None else self.long_code

    @property
    def data_bytes(self) -> int:
        """Bytes of data in its frames: ``length_bytes``, or none in a remote frame."""
        return 0 if self.requests else self.length_bytes

    def is_carried(self, signal: Signal, raws: Mapping[str, int]) -> bool:
        """Whether a frame whose signals have the raw numbers ``raws`` carries ``signal``."""
        while signal.selector:
            if raws[signal.selector] not in signal.selected_by:
                return False
            signal = self.signal(signal.selector)
        return True

    def place_of(self, key: str = "") -> Place | None:
        """Where ``key`` of this message is written, else where the message is."""
        return self.places.get(key) or self.places.get("")


@dataclass(frozen=True, slots=True)
class Node:
    """One station on the bus."""

    name: str
    clock_hz: Fraction | None = None
    tolerance: Fraction = Fraction(0)  # of its clock, as a fraction of one, either way
    processing_ns: int = 0
    comment: str = ""
    controller: Limits | None = None
    timing: Timing | None = None  # its setting, where the catalogue gives one
    transceiver: Transceiver | None = None
    common_mode_v: tuple[Fraction, Fraction] | None = None  # of its transceiver, against its own ground
    supply: Supply | None = None
    transmit: Transmit | None = None  # None: always offers its most urgent frame
    receive: Receive | None = None  # None: reads in time, whatever comes
    place: Place | None = field(default=None, compare=False, repr=False)


@dataclass(frozen=True, slots=True)
class Bus:
    """What all nodes share."""

    bit_rate_bit_s: Fraction
    sample_point: Fraction
    load_limit: Fraction | None = None  # a fraction of 1
    harness: Harness = field(default_factory=Harness)
    supply_v: Fraction | None = None  # at the source, at the least
    errors: ErrorModel | None = None  # None: no promise is made of what happens with errors
    place: Place | None = field(default=None, compare=False, repr=False)

    @property
    def bit_ns(self) -> Fraction:
        """The nominal bit time, exact."""
        return Fraction(1_000_000_000) / self.bit_rate_bit_s


@dataclass(frozen=True, slots=True)
class Function:
    """An end-to-end promise over labels and messages."""

    name: str
    path: tuple[str, ...]
    within_ns: int  # the longest from its first step to the first effect at its last
    age_ns: int | None = None  # the oldest that what the last step acts on may be
    skew_ns: int | None = None  # the most between its effect and that of those that begin with the same messages
    place: Place | None = field(default=None, compare=False, repr=False)
    places: Mapping[str, Place] = field(default_factory=lambda: MappingProxyType({}), compare=False, repr=False)

    def place_of(self, key: str) -> Place | None:
        """Where ``key`` of this function is written, else where the function is."""
        return self.places.get(key) or self.place


@dataclass(frozen=True, slots=True)
class Catalogue:
    """Everything that may be said on one bus."""

    name: str
    revision: int
    bus: Bus
    nodes: Mapping[str, Node]
    messages: tuple[Message, ...]
    codes: Mapping[str, Mapping[int, str]] = field(default_factory=lambda: MappingProxyType({}))
    functions: tuple[Function, ...] = ()
    comment: str = ""
    file: str = field(default="", compare=False)
    files: tuple[str, ...] = field(default=(), compare=False)  # ``file``, and those that it includes
    places: Mapping[tuple[str, ...], Place] = field(
        default_factory=lambda: MappingProxyType({}), compare=False, repr=False
    )  # of what has no place of its own, such as ``("codes", "lamp")`` or ``("bus", "harness", "trunk")``
    _by_name: Mapping[str, Message] = field(init=False, compare=False, repr=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "_by_name", {message.name: message for message in self.messages})

    def message(self, name: str) -> Message:
        """The message called ``name``. Raises KeyError."""
        return self._by_name[name]

    def sent_by(self, node: str) -> tuple[Message, ...]:
        """The messages that ``node`` sends, in the catalogue's order."""
        return tuple(message for message in self.messages if message.sender == node)
