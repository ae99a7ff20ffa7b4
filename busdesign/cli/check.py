"""``busdesign check``: is the catalogue consistent, and does it fit the bus?"""

import argparse
import sys
from collections.abc import Sequence
from math import floor
from typing import TYPE_CHECKING, Any

from busdesign.cli import fix
from busdesign.cli.exits import BROKEN, HOLDS

if TYPE_CHECKING:
    from busdesign.answers.check import CheckAnswer, MessageAnswer
    from busdesign.answers.longest import LongestFrame
    from busdesign.answers.window import WindowAnswer
    from busdesign.findings import Finding

EPILOG = """exit status: 0 holds, 1 a promise is broken, 2 the catalogue cannot be used

--fix mends the file itself: only what cannot have been meant otherwise, with comments and layout as they are.

example: busdesign check messages/saltmarsh.yaml"""


LENGTHS = ("any-payload", "published", "as-declared")


def add_to(commands: Any) -> None:
    """Add this command to the command line."""
    about = "is the catalogue consistent, and does it fit the bus: rules, load, worst-case response times"
    parser = commands.add_parser("check", help=about, description=about, epilog=EPILOG)
    parser.add_argument("file", metavar="CATALOGUE", help="the YAML file")
    parser.add_argument(
        "--lengths",
        choices=LENGTHS,
        default=LENGTHS[0],
        help="longest frames by which method: any-payload (exact, whatever the data; the default), published (the "
        "formula of Davis et al. 2007), as-declared (narrowed by ranges and codes, for information only)",
    )
    parser.add_argument("--longest", action="store_true", help="also a frame of each message that is as long as any")
    parser.add_argument(
        "--window",
        metavar="TIME",
        help="also the most that the bus can carry in any window such as `100ms`, and of what",
    )
    parser.add_argument("--rates", action="store_true", help="also the load and the worst waits at other bit rates")
    fix.add_options(parser)
    parser.add_argument("--json", action="store_true", help="the answer as JSON on stdout")
    parser.set_defaults(answer=answer, refused=_refused)


def answer(given: argparse.Namespace) -> int:
    """Check, print, return the exit status."""
    from busdesign.answers.check import check
    from busdesign.answers.longest import longest_frames_of
    from busdesign.answers.rates import at_rates

    if given.fix:
        fix.offer(given)
    elif given.yes:
        given.refuse("--yes answers a question that only --fix asks", "add `--fix`")
    found = check(given.file, lengths=given.lengths)
    longest = longest_frames_of(found) if given.longest else ()
    window = _window(found, given) if given.window is not None else None
    rates = at_rates(found) if given.rates else ()
    if given.json:
        from busdesign.answers.plain import as_plain
        from busdesign.cli.json_output import print_json

        more = {"fixes": given.fixes} if given.fix else {}
        asked = {"longest_frames": longest, "window": window, "rates": rates}
        print_json({**as_plain(found), **more, **{key: said for key, said in asked.items() if said}})
    else:
        from busdesign.answers.starter import scenarios_beside
        from busdesign.cli.load_text import rates_text, window_text
        from busdesign.cli.output import say
        from busdesign.cli.text import about_rules, command, next_steps, typed

        parts = [_longest_text(longest)] if longest else []
        parts += [window_text(window)] if window else []
        parts += [rates_text(rates)] if rates else []
        say("\n".join([*parts, check_text(found)]))
        file, rules = typed(given.file), about_rules(found.findings)
        stories = [command("simulate", typed(str(story))) for story in scenarios_beside(given.file)[:1]]
        say(next_steps(*rules, command("compile", file, "-o", "out"), *stories, command("check", file, "--json")))
    return HOLDS if found.holds else BROKEN


def _window(found: "CheckAnswer", given: argparse.Namespace) -> "WindowAnswer | None":
    from busdesign.answers.window import fullest_window
    from busdesign.units import QuantityError

    try:
        return fullest_window(found, given.window)
    except QuantityError as wrong:
        given.refuse(f"--window: {wrong.text}", wrong.fix)
        return None


def check_text(found: "CheckAnswer") -> str:
    """The answer for people."""
    from busdesign.cli.functions_text import functions_text
    from busdesign.cli.load_text import errors_text
    from busdesign.cli.text import findings_text, printable, table, verdict
    from busdesign.cli.wires_text import wires_text
    from busdesign.units import format_bit_rate, format_ratio

    bus = found.bus
    heads = ("message", "id", "from", "bytes", "bits at most", "period ms", "worst ms", "deadline ms", "margin")
    rows = [_row(message) for message in found.messages]
    bit_rate = format_bit_rate(found.definition.bus.bit_rate_bit_s)
    parts = [
        f"{printable(found.catalogue)}, revision {found.revision}, {bit_rate}",
        f"load: {format_ratio(bus.load_nominal)} nominal, {format_ratio(bus.load_worst)} worst",
        f"longest frames: {_lengths_text(found)}",
        "",
        table(heads, rows, left=(0, 1, 2)),
        "",
    ]
    disturbed = errors_text(found)
    parts += [*disturbed, ""] if disturbed else []
    promises = functions_text(found)
    parts += [*promises, ""] if promises else []
    physical = [printable(line) for line in wires_text(found)]
    parts += [*physical, ""] if physical else []
    if found.findings:
        parts += [findings_text(found.findings, sys.stdout), ""]
    return "\n".join([*parts, verdict(found.holds, _summary(found), sys.stdout)])


def _lengths_text(found: "CheckAnswer") -> str:
    if found.lengths == "published":
        return "by the textbook formula, which no frame attains"
    won = f"{found.bits_won} bits below the textbook formula in all, {found.bits_won_most} in one"
    only = "; void if a board sends what it should not" if found.lengths == "as-declared" else ""
    return f"exact ({found.lengths}), {won}{only}"


def _longest_text(frames: "Sequence[LongestFrame]") -> str:
    from busdesign.cli.text import table

    heads = ("message", "bits at least", "bits at most", "formula", "data that attains it")
    rows = [
        (
            frame.name,
            str(frame.bits_min),
            str(frame.bits),
            str(frame.bits_formula),
            "-" if frame.data is None else frame.data or "no data",
        )
        for frame in frames
    ]
    return table(heads, rows, left=(0, 4)) + "\n"


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
    from busdesign.findings import Severity, counted

    messages = counted(len(found.messages), "message")
    broken = sum(finding.severity is Severity.BROKEN for finding in found.findings)
    late = [message.name for message in found.messages if message.meets_deadline is not True]
    if found.holds:
        return f"{messages}, each within its deadline in the worst case, on an error-free bus"
    if late:
        return (
            f"{len(late)} of {messages} beyond the deadline, or without a bound, in the worst case: {', '.join(late)}"
        )
    return f"{counted(broken, 'promise')} broken, though every message is within its deadline"


def _refused(findings: "Sequence[Finding]") -> Any:
    from busdesign.answers.check import refused

    return refused(findings)
