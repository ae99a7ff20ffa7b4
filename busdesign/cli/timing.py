"""``busdesign timing``: bit-timing settings for a clock, a rate and a length, or for the nodes of a catalogue."""

import argparse
from collections.abc import Callable, Sequence
from fractions import Fraction
from string import hexdigits
from typing import TYPE_CHECKING, Any

from busdesign.cli.exits import BROKEN, HOLDS
from busdesign.errors import InputError
from busdesign.findings import Finding, Refused, Severity, shown

if TYPE_CHECKING:
    from busdesign.answers.timing_shape import BitTimingAnswer

EPILOG = """exit status: 0 holds, 1 a margin is negative, 2 no setting makes it, with the nearest possible value

example: busdesign timing --clock 16MHz --rate 500kbit/s --sample-point 87.5% --length 30m
example: busdesign timing --clock 16MHz --registers 0x1C41 --length 30m
example: busdesign timing messages/saltmarsh.yaml"""

CONTROLLERS = ("small", "small_halved", "separate", "least_fd", "large")
FIGURES = ("clock", "rate", "sample_point", "length", "delay", "tolerance", "controller", "most", "registers")


def add_to(commands: Any) -> None:
    """Add this command to the command line."""
    about = "bit-timing settings, best first, each with its margins; of a catalogue, each node's"
    # argparse fills help texts in by %, so that one stands for itself when doubled.
    parser = commands.add_parser("timing", help=about, description=about, epilog=EPILOG)
    parser.add_argument("file", metavar="CATALOGUE", nargs="?", help="a YAML file, in place of the figures below")
    parser.add_argument("--clock", metavar="FREQUENCY", help="the controller's, such as 16MHz")
    parser.add_argument("--rate", metavar="RATE", help="the bit rate, such as 500kbit/s")
    parser.add_argument("--sample-point", metavar="SHARE", help="such as 87.5%%; the recommended one if left out")
    parser.add_argument("--length", metavar="LENGTH", help="of the wire between the two furthest nodes, such as 30m")
    parser.add_argument(
        "--delay", metavar="TIME", help="of each node, transmit input to receive output; 255ns if left out"
    )
    parser.add_argument("--tolerance", metavar="SHARE", help="of the clock, either way, such as 100ppm")
    parser.add_argument("--controller", choices=CONTROLLERS, help="what its registers can hold; small if left out")
    parser.add_argument(
        "--registers",
        metavar="WORD",
        help="what such a pair means, BTR1 in the upper byte: 0x1C41; --rate may be left out",
    )
    parser.add_argument("--most", metavar="N", help="settings that are shown; 5 if left out")
    parser.add_argument("--svg", metavar="FILE", help="also draw the bit to scale into an SVG file")
    parser.add_argument("--json", action="store_true", help="the answer as JSON on stdout")
    parser.set_defaults(answer=answer, refused=_refused, refuse=parser.refuse)


def answer(given: argparse.Namespace) -> int:
    """Find the settings, print them, return the exit status."""
    found = _found(given)
    if given.svg:
        _draw(given, found)
    if given.json:
        from busdesign.cli.json_output import print_json

        print_json(found)
    else:
        from busdesign.cli.output import say
        from busdesign.cli.text import next_steps
        from busdesign.cli.timing_text import timing_text

        say(timing_text(found))
        if given.svg:
            say(f"\nwritten: {given.svg}")
        say(next_steps(*_next(given, found)))
    return HOLDS if found.holds else BROKEN


def _found(given: argparse.Namespace) -> "BitTimingAnswer":
    stray = [f"--{name.replace('_', '-')}" for name in FIGURES if getattr(given, name) is not None]
    if given.file is not None:
        if stray:
            said = f"{', '.join(stray)} and a catalogue, {shown(given.file)}, do not go together"
            given.refuse(
                said, "a catalogue has figures of its own; without one, write each figure as one word: `16MHz`"
            )
        from busdesign.answers.timing_of import timing_of

        return timing_of(given.file)
    if given.registers is not None:
        _refuse_with_registers(given)
    if given.clock is None or (given.rate is None and given.registers is None):
        given.refuse("it takes a clock and a rate, or a catalogue", "add `--clock 16MHz --rate 500kbit/s`")
    from busdesign.answers.timing import timing

    words = _read(given)
    try:
        return timing(words.pop("clock"), words.pop("rate", None), **words)
    except Refused as impossible:
        raise InputError([_finding(impossible.text, impossible.fix)]) from None


def _read(given: argparse.Namespace) -> dict[str, Any]:
    """Every figure that is given, exact; all that cannot be read is told at once."""
    from busdesign.units import NS_PER_S, positive, read_quantity

    def ns(text: str) -> Fraction:
        return read_quantity(text, "duration") * NS_PER_S

    readers: dict[str, tuple[str, Callable[[str], Any]]] = {
        "clock": ("clock", lambda text: positive(text, "frequency")),
        "rate": ("rate", lambda text: positive(text, "bit rate")),
        "sample_point": ("sample_point", lambda text: read_quantity(text, "ratio", _is_sample_point)),
        "length": ("length_m", lambda text: read_quantity(text, "length")),
        "delay": ("node_delay_ns", ns),
        "tolerance": ("clock_tolerance", lambda text: read_quantity(text, "ratio", _is_tolerance)),
        "controller": ("controller", str),
        "most": ("most", _whole),
        "registers": ("registers", _word),
    }
    words, findings = {}, []
    for option, (name, read) in readers.items():
        text = getattr(given, option)
        if text is None:
            continue
        try:
            words[name] = read(text)
        except Refused as refused:
            findings.append(_finding(f"--{option.replace('_', '-')}: {refused.text}", refused.fix))
    if findings:
        raise InputError(findings)
    return words


def _is_sample_point(share: Fraction) -> bool:
    return Fraction(1, 4) < share < 1


def _is_tolerance(share: Fraction) -> bool:
    return 0 <= share < Fraction(1, 10)


def _whole(text: str) -> int:
    if not (text.isascii() and text.isdigit() and len(text) <= 6):
        raise Refused(f"{shown(text)} is no number of settings", "write a whole number such as `5`")
    return int(text)


def _word(text: str) -> int:
    digits = text[2:] if text[:2].lower() == "0x" else ""
    if not (0 < len(digits) <= 4 and all(digit in hexdigits for digit in digits)):
        raise Refused(f"{shown(text)} is not two bytes", "write both as one word, BTR1 first, such as `0x1C41`")
    return int(digits, 16)


def _refuse_with_registers(given: argparse.Namespace) -> None:
    for name in ("sample_point", "most"):
        if getattr(given, name) is not None:
            said = f"--{name.replace('_', '-')} and --registers do not go together"
            given.refuse(said, "registers are one setting with its own sample point")


def _draw(given: argparse.Namespace, found: "BitTimingAnswer") -> None:
    from busdesign.outputs import refuse_to_overwrite, write_text
    from busdesign.report.bit import bits_file

    if given.file is not None:
        refuse_to_overwrite(given.svg, [given.file])
    write_text(given.svg, bits_file(found.settings if given.file is not None else found.settings[:1]))


def _next(given: argparse.Namespace, found: "BitTimingAnswer") -> list[str]:
    from busdesign.cli.text import about_rules, command, typed

    rules = about_rules(found.findings)
    if given.file is not None:
        return [*rules, command("check", typed(given.file))]
    figures = [f"--{name.replace('_', '-')}={getattr(given, name)}" for name in FIGURES if getattr(given, name)]
    return [*rules, command("timing", *figures, "--json")]


def _finding(text: str, fix: str) -> Finding:
    return Finding("no-such-setting", Severity.ERROR, None, text, fix)


def _refused(findings: Sequence[Finding]) -> Any:
    from busdesign.answers.timing_shape import refused

    return refused(findings)
