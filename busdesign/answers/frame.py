"""One frame on the wire: its bits, fields, stuffing and CRC."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from busdesign.answers.plain import without_facts
from busdesign.findings import Finding
from busdesign.wire.frame import Frame, lay_out


@dataclass(frozen=True, slots=True)
class FieldAnswer:
    """One field; ``bits`` as on the wire, stuff bits included, 0 = dominant."""

    name: str
    first_bit: int
    bits: str


@dataclass(frozen=True, slots=True)
class FrameAnswer:
    """One frame, from start of frame to the end of intermission, acknowledge slot dominant.

    ``length_code`` is the one that is sent; it equals ``length_bytes`` but for remote frames and codes above 8. A frame
    that cannot be is raised, so ``holds`` is always true.
    """

    id: int
    extended: bool
    remote: bool
    length_bytes: int
    length_code: int
    data: str
    bits: str
    length_bits: int
    stuff_bits: int
    stuff_positions: tuple[int, ...]
    crc: str
    fields: tuple[FieldAnswer, ...]
    findings: tuple[Finding, ...] = ()
    holds: bool = True


def frame(
    identifier: int, data: bytes = b"", *, extended: bool = False, remote: bool = False, length: int | None = None
) -> FrameAnswer:
    """The frame with this identifier and payload; ``length`` is its length code where ``data`` does not say it.

    Raises ValueError with what is allowed.
    """
    asked = Frame(identifier, data, extended=extended, remote=remote, dlc=length)
    laid = lay_out(asked)
    return FrameAnswer(
        id=identifier,
        extended=extended,
        remote=remote,
        length_bytes=len(data),
        length_code=asked.length_code,
        data=data.hex(),
        bits=laid.bits,
        length_bits=laid.length_bits,
        stuff_bits=laid.stuff_bits,
        stuff_positions=laid.stuff_positions,
        crc=f"0x{laid.crc:04x}",
        fields=tuple(FieldAnswer(part.name, part.first_bit, part.bits) for part in laid.fields),
    )


def refused(findings: Sequence[Finding]) -> dict[str, Any]:
    """The shape of ``frame --json`` where there is no such frame."""
    return without_facts(FrameAnswer, findings)
