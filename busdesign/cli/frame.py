"""``busdesign frame``: one frame on the wire, bit by bit."""

import argparse
from typing import TYPE_CHECKING, Any

from busdesign.cli.exits import HOLDS

if TYPE_CHECKING:
    from busdesign.answers.frame import FrameAnswer

EPILOG = """exit status: 0, or 2 if there is no such frame

example: busdesign frame 0x110 --data 0200"""


def add_to(commands: Any) -> None:
    """Add this command to the command line."""
    about = "one frame on the wire: its bits, fields, stuffing and CRC"
    parser = commands.add_parser("frame", help=about, description=about, epilog=EPILOG)
    parser.add_argument("identifier", metavar="ID", type=_identifier, help="such as 0x110 or 272")
    parser.add_argument("--data", metavar="HEX", type=_payload, default=b"", help="payload, up to 8 bytes")
    parser.add_argument("--extended", action="store_true", help="29-bit identifier")
    parser.add_argument("--remote", action="store_true", help="remote frame: a request without data")
    parser.add_argument("--length", metavar="N", type=_length, help="length code of a remote frame")
    parser.add_argument("--json", action="store_true", help="the answer as JSON on stdout")
    parser.set_defaults(answer=answer, parser=parser)


def answer(given: argparse.Namespace) -> int:
    """Lay the frame out, print it, return the exit status."""
    from busdesign.answers.frame import frame

    try:
        found = frame(given.identifier, given.data, extended=given.extended, remote=given.remote, length=given.length)
    except ValueError as error:
        given.parser.error(str(error))
    if given.json:
        from busdesign.cli.json_output import print_json

        print_json(found)
    else:
        print(frame_text(found))
    return HOLDS


def frame_text(found: "FrameAnswer") -> str:
    """The frame for people: a line for each field, stuff bits in brackets, dominant low and recessive high."""
    from busdesign.cli.text import table

    kind = "remote" if found.remote else "data"
    identifier = f"0x{found.id:08X}, 29 bits" if found.extended else f"0x{found.id:03X}, 11 bits"
    stuffing = f"{found.stuff_bits} of them stuff bits"
    stuffed = set(found.stuff_positions)
    rows = [(part.name, str(part.first_bit), _bits(part.first_bit, part.bits, stuffed)) for part in found.fields]
    return "\n".join(
        [
            f"{kind} frame, identifier {identifier}, {found.length_bytes} bytes",
            f"{found.length_bits} bits on the wire with intermission, {stuffing}, CRC {found.crc}",
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
    drawn = "".join("▁" if bit == "0" else "▔" for bit in bits)
    return [drawn[start : start + width] for start in range(0, len(drawn), width)]


def _identifier(text: str) -> int:
    try:
        return int(text, 0)
    except ValueError:
        raise argparse.ArgumentTypeError(f"`{text}` is no identifier; write it like 0x110 or 272") from None


def _length(text: str) -> int:
    try:
        return int(text)
    except ValueError:
        raise argparse.ArgumentTypeError(f"`{text}` is no length code; write a number from 0 to 8") from None


def _payload(text: str) -> bytes:
    cleaned = text.removeprefix("0x").replace(" ", "")
    try:
        return bytes.fromhex(cleaned)
    except ValueError:
        why = "an odd number of digits" if len(cleaned) % 2 else "not hexadecimal"
        raise argparse.ArgumentTypeError(f"`{text}` is {why}; write two digits a byte, like 0200") from None
