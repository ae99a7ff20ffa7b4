"""A classical CAN frame, bit by bit as the standard tells it: fields, CRC-15, bit stuffing.

This is the reference: slow, plain, and meant to be read beside the text. `lengths` and `columns` count the same
bits faster and are held against it.

Sources: Bosch CAN Specification 2.0 (1991), part A, 3.1.1 (data frame, CRC sequence), 3.1.2 (remote frame) and
"Coding" (bit stuffing); part B for the 29-bit frame formats. Length codes 9 to 15 as ISO 11898-1:2015 allows them.
Numbers and titles of sections are from memory, but for 3.1.1.

Bits are written as on the pair: `0` is dominant, `1` is recessive.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from itertools import accumulate, islice

BASE_IDENTIFIER_BITS = 11
EXTENDED_IDENTIFIER_BITS = 29
LARGEST_LENGTH_BYTES = 8
LARGEST_LENGTH_CODE = 15
CRC_BITS = 15
CRC_POLYNOMIAL = 0x4599  # x15 + x14 + x10 + x8 + x7 + x4 + x3 + 1, Bosch CAN 2.0 part A, 3.1.1
LONGEST_RUN_BITS = 5  # after so many equal bits the sender inserts the complement, Bosch CAN 2.0 part A, "Coding"

INTERMISSION_BITS = 3  # Bosch CAN 2.0 part A, interframe space

# What follows the CRC sequence, never stuffed; the acknowledge slot as the receivers leave it, dominant.
TRAILER = {
    "crc delimiter": "1",
    "acknowledge slot": "0",
    "acknowledge delimiter": "1",
    "end of frame": "1" * 7,
    "intermission": "1" * INTERMISSION_BITS,
}


def require_identifier(identifier: int, *, extended: bool) -> None:
    """Raise ValueError unless ``identifier`` fits 11 bits, or 29 bits where ``extended``."""
    width_bits = EXTENDED_IDENTIFIER_BITS if extended else BASE_IDENTIFIER_BITS
    largest = (1 << width_bits) - 1
    if not 0 <= identifier <= largest:
        raise ValueError(f"identifier {identifier:#x} is not within 0..{largest:#x}, the {width_bits}-bit identifiers")


@dataclass(frozen=True, slots=True)
class Frame:
    """One classical frame; what exists is valid.

    ``dlc`` is the length code as sent. Left out, it is the number of data bytes. A remote frame carries no data
    and asks for ``dlc`` 0..15; a data frame of 8 bytes may carry any code 8..15.

    Raises ValueError where a part is out of range or contradicts another.
    """

    identifier: int
    data: bytes = b""
    extended: bool = False
    remote: bool = False
    dlc: int | None = None

    def __post_init__(self) -> None:
        require_identifier(self.identifier, extended=self.extended)
        length_bytes = len(self.data)
        if length_bytes > LARGEST_LENGTH_BYTES:
            raise ValueError(f"{length_bytes} data bytes are too many for a classical frame, allowed: 0..8")
        if self.remote and length_bytes:
            raise ValueError(f"a remote frame carries no data, got {length_bytes} bytes")
        if not 0 <= self.length_code <= LARGEST_LENGTH_CODE:
            raise ValueError(f"length code {self.length_code} is not within 0..15")
        if not self.remote and min(self.length_code, LARGEST_LENGTH_BYTES) != length_bytes:
            allowed = "8..15" if length_bytes == LARGEST_LENGTH_BYTES else f"{length_bytes}"
            raise ValueError(
                f"length code {self.length_code} contradicts {length_bytes} data bytes, allowed: {allowed}"
            )
        object.__setattr__(self, "dlc", self.length_code)  # equal frames compare equal, however they were written

    @property
    def length_code(self) -> int:
        """``dlc``, known not to be None."""
        return len(self.data) if self.dlc is None else self.dlc


@dataclass(frozen=True, slots=True)
class Field:
    """A named stretch of the wire; a stuff bit belongs to the field of the bit that it follows."""

    name: str
    first_bit: int
    bits: str


@dataclass(frozen=True, slots=True)
class WireFrame:
    """A frame on the pair, from start of frame to the third bit of intermission, acknowledged.

    ``bits`` is the concatenation of the fields' bits. ``stuff_positions`` are the places in it that hold a stuff
    bit, ascending. ``crc`` is the CRC sequence as a number.
    """

    bits: str
    fields: tuple[Field, ...]
    stuff_positions: tuple[int, ...]
    crc: int

    @property
    def length_bits(self) -> int:
        """All bits, those of intermission and the stuff bits included."""
        return len(self.bits)

    @property
    def stuff_bits(self) -> int:
        """How many of them are stuff bits."""
        return len(self.stuff_positions)


def lay_out(frame: Frame) -> WireFrame:
    """The bits that ``frame`` puts on the pair; a field without bits (no data) is left out."""
    covered = _fields_before_crc(frame)
    crc = crc15("".join(covered.values()))
    stuffed = covered | {"crc": f"{crc:0{CRC_BITS}b}"}
    sent = list(_with_stuff_bits("".join(stuffed.values())))
    ends = accumulate(map(len, sent))
    one_by_one = iter(sent)
    on_wire = {name: "".join(islice(one_by_one, len(bits))) for name, bits in stuffed.items()} | TRAILER
    starts = accumulate(map(len, on_wire.values()), initial=0)
    return WireFrame(
        bits="".join(on_wire.values()),
        fields=tuple(Field(name, start, bits) for (name, bits), start in zip(on_wire.items(), starts, strict=False)),
        stuff_positions=tuple(end - 1 for bits, end in zip(sent, ends, strict=True) if len(bits) > 1),
        crc=crc,
    )


def _fields_before_crc(frame: Frame) -> dict[str, str]:
    """Field name to bits, without stuff bits, in the order of sending; all of it is covered by the CRC."""
    arbitration = _extended_arbitration(frame) if frame.extended else _base_arbitration(frame)
    data = {"data": "".join(f"{byte:08b}" for byte in frame.data)} if frame.data else {}
    return {"start of frame": "0"} | arbitration | {"length code": f"{frame.length_code:04b}"} | data


def _base_arbitration(frame: Frame) -> dict[str, str]:
    return {
        "identifier": f"{frame.identifier:011b}",
        "remote transmission request": f"{frame.remote:b}",
        "identifier extension": "0",
        "r0": "0",
    }


def _extended_arbitration(frame: Frame) -> dict[str, str]:
    identifier = f"{frame.identifier:029b}"
    return {
        "base identifier": identifier[:BASE_IDENTIFIER_BITS],
        "substitute remote request": "1",
        "identifier extension": "1",
        "extended identifier": identifier[BASE_IDENTIFIER_BITS:],
        "remote transmission request": f"{frame.remote:b}",
        "r1": "0",
        "r0": "0",
    }


def crc15(bits: str | Iterable[int]) -> int:
    """The CRC sequence over ``bits`` (first sent first), by the shift register of Bosch CAN 2.0 part A, 3.1.1."""
    register = 0
    for bit in bits:
        feedback = int(bit) ^ register >> (CRC_BITS - 1)
        register = register << 1 & (1 << CRC_BITS) - 1
        if feedback:
            register ^= CRC_POLYNOMIAL
    return register


def stuff(bits: str) -> str:
    """``bits`` with the complement inserted after each five equal bits, stuff bits counted among the five."""
    return "".join(_with_stuff_bits(bits))


def _with_stuff_bits(bits: str) -> Iterator[str]:
    """For each bit what goes on the pair: the bit itself, or the bit and its stuff bit."""
    last, run = "", 0
    for bit in bits:
        run = run + 1 if bit == last else 1
        last = bit
        if run == LONGEST_RUN_BITS:
            last, run = _complement(bit), 1
            yield bit + last
        else:
            yield bit


def destuff(bits: str) -> str:
    """``bits`` as a receiver reads them, without the stuff bits. Raises ValueError on six equal bits (stuff error)."""
    kept: list[str] = []
    last, run = "", 0
    for position, bit in enumerate(bits):
        is_stuff_bit = run == LONGEST_RUN_BITS
        if is_stuff_bit and bit == last:
            raise ValueError(f"stuff error: bit {position} is the sixth equal bit in a row")
        if not is_stuff_bit:
            kept.append(bit)
        run = run + 1 if bit == last else 1
        last = bit
    return "".join(kept)


def _complement(bit: str) -> str:
    return "1" if bit == "0" else "0"
