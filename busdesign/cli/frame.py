"""``busdesign frame``: one frame on the wire, bit by bit."""

import argparse
import re
import sys
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any

from busdesign.cli.exits import HOLDS
from busdesign.errors import InputError
from busdesign.findings import Finding, Refused, Severity, shown

if TYPE_CHECKING:
    from busdesign.answers.frame import FrameAnswer

EPILOG = """exit status: 0, or 2 if there is no such frame

example: busdesign frame 0x110 --data 0200"""


def add_to(commands: Any) -> None:
    """Add this command to the command line."""
    about = "one frame on the wire: its bits, fields, stuffing and CRC"
    parser = commands.add_parser("frame", help=about, description=about, epilog=EPILOG)
    parser.add_argument("identifier", metavar="ID", help="such as 0x110 or 272")
    parser.add_argument("--data", metavar="HEX", default="", help="payload, up to 8 bytes")
    parser.add_argument("--extended", action="store_true", help="29-bit identifier")
    parser.add_argument("--remote", action="store_true", help="remote frame: a request without data")
    parser.add_argument("--length", metavar="N", help="length code of a remote frame; 9 to 15 also go with 8 bytes")
    parser.add_argument("--json", action="store_true", help="the answer as JSON on stdout")
    parser.set_defaults(answer=answer, refused=_refused)


def answer(given: argparse.Namespace) -> int:
    """Lay the frame out, print it, return the exit status."""
    found = _frame(given)
    if given.json:
        from busdesign.cli.json_output import print_json

        print_json(found)
    else:
        from busdesign.cli.output import say

        say(frame_text(found))
    return HOLDS


def _frame(given: argparse.Namespace) -> "FrameAnswer":
    from busdesign.answers.frame import frame

    readers: dict[str, Callable[[Any], object]] = {"identifier": _identifier, "data": _payload, "length": _length}
    words: dict[str, Any] = {}
    findings = []
    for name, read in readers.items():
        try:
            words[name] = read(getattr(given, name))
        except Refused as refused:
            findings.append(_finding(refused.text, refused.fix))
    if findings:
        raise InputError(findings)
    try:
        return frame(**words, extended=given.extended, remote=given.remote)
    except ValueError as impossible:
        raise InputError([_finding(str(impossible), _what_would_do(given, **words))]) from None


def _finding(text: str, fix: str) -> Finding:
    return Finding("no-such-frame", Severity.ERROR, None, text, fix)


def _identifier(text: str) -> int:
    number = re.fullmatch(r"0[xX]([0-9a-fA-F]{1,9})|-?(?:0|[1-9][0-9]{0,9})", text)
    if not number:
        raise Refused(f"{shown(text)} is no identifier", "write it like `0x110` or `272`")
    return int(number[1], 16) if number[1] else int(text)


def _payload(text: str) -> bytes:
    digits = re.sub(r"^0[xX]|[\s:_.-]", "", text)
    if re.search("[^0-9a-fA-F]", digits):
        raise Refused(f"{shown(text)} is not hexadecimal", "write two digits a byte, like `0200`")
    if len(digits) % 2:
        raise Refused(f"{shown(text)} has an odd number of digits", "write two digits a byte, like `0200`")
    return bytes.fromhex(digits)


def _length(text: str | None) -> int | None:
    if text is None:
        return None
    if not re.fullmatch("[0-9]{1,3}", text):
        raise Refused(f"{shown(text)} is no length code", "write a number from 0 to 15")
    return int(text)


def _what_would_do(given: argparse.Namespace, identifier: int, data: bytes, length: int | None) -> str:
    """A hint for a frame that cannot be, judged by what was given."""
    if not given.extended and 0x7FF < identifier <= 0x1FFF_FFFF:
        return "`--extended` makes it a 29-bit identifier"
    if given.remote and data:
        return "leave out `--data`, or `--remote`"
    if length is not None and not given.remote:
        return "leave out `--length`: it follows from the data; or ask with `--remote`"
    return ""


def frame_text(found: "FrameAnswer") -> str:
    """The frame for people: a line for each field, stuff bits in brackets, dominant low and recessive high."""
    from busdesign.cli.text import table
    from busdesign.findings import counted

    kind = "remote" if found.remote else "data"
    identifier = f"0x{found.id:08X}, 29 bits" if found.extended else f"0x{found.id:03X}, 11 bits"
    stuffed = set(found.stuff_positions)
    rows = [(part.name, str(part.first_bit), _bits(part.first_bit, part.bits, stuffed)) for part in found.fields]
    length = f"length code {found.length_code}, {counted(found.length_bytes, 'byte')} of data"
    stretch = f"{found.length_bits} bits from start of frame to the end of intermission"
    return "\n".join(
        [
            f"{kind} frame, identifier {identifier}, {length}",
            f"{stretch}, {found.stuff_bits} of them stuff bits, CRC {found.crc}",
            "",
            table(("field", "from bit", "bits, stuff bits in brackets"), rows, left=(0, 2)),
            "",
            "level, dominant low and recessive high:",
            *_levels(found.bits),
            "",
            "acknowledge slot shown dominant, as any receiver drives it",
        ]
    )


def _bits(first: int, bits: str, stuffed: set[int]) -> str:
    return "".join(f"({bit})" if first + index in stuffed else bit for index, bit in enumerate(bits))


def _levels(bits: str, width: int = 80) -> list[str]:
    from busdesign.cli.output import can_show

    low, high = "▁▔" if can_show("▁▔", sys.stdout) else "_-"
    drawn = "".join(low if bit == "0" else high for bit in bits)
    return [drawn[start : start + width] for start in range(0, len(drawn), width)]


def _refused(findings: Sequence[Finding]) -> Any:
    from busdesign.answers.frame import refused

    return refused(findings)
