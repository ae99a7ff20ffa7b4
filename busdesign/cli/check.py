"""``busdesign check``: is the catalogue consistent, and does it fit the bus?"""

import argparse
import sys
from collections.abc import Sequence
from math import floor
from typing import TYPE_CHECKING, Any

from busdesign.cli.exits import BROKEN, HOLDS

if TYPE_CHECKING:
    from busdesign.answers.check import CheckAnswer, MessageAnswer
    from busdesign.findings import Finding

EPILOG = """exit status: 0 holds, 1 a promise is broken, 2 the catalogue cannot be used

example: busdesign check messages/saltmarsh.yaml"""


def add_to(commands: Any) -> None:
    """Add this command to the command line."""
    about = "is the catalogue consistent, and does it fit the bus: rules, load, worst-case response times"
    parser = commands.add_parser("check", help=about, description=about, epilog=EPILOG)
    parser.add_argument("file", metavar="CATALOGUE", help="the YAML file")
    parser.add_argument(
        "--lengths",
        choices=("published",),
        default="published",
        help="longest frames by which method (published: the formula of Davis et al. 2007)",
    )
    parser.add_argument("--json", action="store_true", help="the answer as JSON on stdout")
    parser.set_defaults(answer=answer, refused=_refused)


def answer(given: argparse.Namespace) -> int:
    """Check, print, return the exit status."""
    from busdesign.answers.check import check

    found = check(given.file, lengths=given.lengths)
    if given.json:
        from busdesign.cli.json_output import print_json

        print_json(found)
    else:
        from busdesign.answers.starter import scenarios_beside
        from busdesign.cli.output import say
        from busdesign.cli.text import command, next_steps, typed

        say(check_text(found))
        file = typed(given.file)
        stories = [command("simulate", typed(str(story))) for story in scenarios_beside(given.file)[:1]]
        say(next_steps(command("compile", file, "-o", "out"), *stories, command("check", file, "--json")))
    return HOLDS if found.holds else BROKEN


def check_text(found: "CheckAnswer") -> str:
    """The answer for people."""
    from busdesign.cli.text import findings_text, printable, table, verdict
    from busdesign.units import format_bit_rate, format_ratio

    bus = found.bus
    heads = ("message", "id", "from", "bytes", "bits at most", "period ms", "worst ms", "deadline ms", "margin")
    rows = [_row(message) for message in found.messages]
    bit_rate = format_bit_rate(found.definition.bus.bit_rate_bit_s)
    parts = [
        f"{printable(found.catalogue)}, revision {found.revision}, {bit_rate}",
        f"load: {format_ratio(bus.load_nominal)} nominal, {format_ratio(bus.load_worst)} worst",
        "",
        table(heads, rows, left=(0, 1, 2)),
        "",
    ]
    if found.findings:
        parts += [findings_text(found.findings, sys.stdout), ""]
    return "\n".join([*parts, verdict(found.holds, _summary(found), sys.stdout)])


def _row(message: "MessageAnswer") -> tuple[str, ...]:
    from busdesign.cli.text import figure

    digits = 8 if message.extended else 3
    margin = "-"
    if message.margin is not None:
        margin = f"{floor(message.margin * 100)} %"
    return (
        message.name,
        "-" if message.id is None else f"0x{message.id:0{digits}X}",
        message.sender,
        str(message.length_bytes),
        str(message.frame_bits_max),
        f"{message.period_ms:g}",
        figure(message.response_worst_ms),
        f"{message.deadline_ms:g}",
        margin,
    )


def _summary(found: "CheckAnswer") -> str:
    from busdesign.findings import counted

    messages = counted(len(found.messages), "message")
    late = [message.name for message in found.messages if message.meets_deadline is not True]
    if found.holds:
        return f"{messages}, each within its deadline in the worst case, on an error-free bus"
    return f"{len(late)} of {messages} beyond the deadline, or without a bound, in the worst case: {', '.join(late)}"


def _refused(findings: "Sequence[Finding]") -> Any:
    from busdesign.answers.check import refused

    return refused(findings)
