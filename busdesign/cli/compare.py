"""``busdesign compare``: two recordings of one bus, or a recording and a simulation, beside each other."""

import argparse
import sys
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any

from busdesign.cli.exits import BROKEN, HOLDS

if TYPE_CHECKING:
    from busdesign.answers.compare_answer import CompareAnswer
    from busdesign.findings import Finding

EPILOG = """exit status: 0 they say the same, 1 something differs, 2 one of them cannot be used

the clocks are aligned by the frames themselves; only the time in which both listened is compared

example: busdesign compare monday.log tuesday.log --catalogue messages/saltmarsh.yaml"""


def add_to(commands: Any) -> None:
    """Add this command to the command line."""
    about = "two recordings, or a recording and a scenario: which messages, periods and values differ"
    parser = commands.add_parser("compare", help=about, description=about, epilog=EPILOG)
    parser.add_argument("old", metavar="OLD", help="a recording, such as a .log (SocketCAN text)")
    parser.add_argument("new", metavar="NEW", help="another one, or the YAML file of a scenario, which is simulated")
    parser.add_argument("--catalogue", metavar="CATALOGUE", help="the YAML file that names messages and signals")
    parser.add_argument("--channel", metavar="NAME", help="of recordings of several buses, this one")
    parser.add_argument("--new-channel", metavar="NAME", help="the same of NEW, where it has another name there")
    where = "the moment of NEW at which OLD's time zero lies (3.2s, or =-3.2s); found from the frames if left out"
    parser.add_argument("--aligned-at", metavar="TIME", help=where)
    within = "how much earlier or later a frame may come; 1 ms if left out, beside a scenario as much as it explains"
    parser.add_argument("--within", metavar="TIME", help=within)
    parser.add_argument("--json", action="store_true", help="the answer as JSON on stdout")
    parser.set_defaults(answer=answer, refused=_refused, refuse=parser.refuse)


def answer(given: argparse.Namespace) -> int:
    """Compare, print, return the exit status."""
    from busdesign.answers.compare import compare
    from busdesign.answers.moments import read_moment
    from busdesign.cli.progress import progress_bar
    from busdesign.units import positive_duration_ns

    aligned_at_ns = _read(given, "--aligned-at", given.aligned_at, read_moment)
    within_ns = _read(given, "--within", given.within, positive_duration_ns)
    with progress_bar(f"reading {given.old}") as progress:
        found = compare(
            given.old,
            given.new,
            given.catalogue,
            channel=given.channel,
            new_channel=given.new_channel,
            aligned_at_ns=aligned_at_ns,
            within_ns=within_ns,
            progress=progress,
        )
    if given.json:
        from busdesign.cli.json_output import print_json

        print_json(found)
    else:
        from busdesign.cli.output import say

        say(compare_text(found))
        say(_next(found, given))
    return HOLDS if found.same else BROKEN


def _read(given: argparse.Namespace, option: str, written: str | None, read: Callable[[str], int]) -> int | None:
    from busdesign.findings import Refused

    if written is None:
        return None
    try:
        return read(written)
    except Refused as wrong:
        given.refuse(f"{option}: {wrong.text}", wrong.fix)
        raise


def _next(found: "CompareAnswer", given: argparse.Namespace) -> str:
    from busdesign.cli.text import command, next_steps, typed

    catalogue = given.catalogue or "CATALOGUE.yaml"
    recordings = [given.old] if given.new.lower().endswith((".yaml", ".yml")) else [given.old, given.new]
    return next_steps(*(command("audit", typed(path), "--catalogue", catalogue) for path in recordings))


def compare_text(found: "CompareAnswer") -> str:
    """The answer for people: the differences first, then what was measured."""
    from busdesign.cli.text import printable, verdict
    from busdesign.findings import counted

    begin, end = found.compared_s
    drift = "" if found.drift_ppm is None else f", its clock gains {found.drift_ppm:.1f} ppm"
    parts = [
        f"{printable(found.old)} beside {printable(found.new)}",
        f"{found.old_frames} and {found.new_frames} frames; both listened from {begin:.6f} s to {end:.6f} s",
        f"what is at 0 s in the first is at {found.offset_s:.6f} s in the second{drift}",
        *(printable(notice) for notice in found.notices),
        "",
        *_differences(found),
        *_values(found),
        _messages(found),
        "",
    ]
    said = f"{counted(len(found.differences), 'difference')} in {counted(found.paired, 'pair')} of frames"
    said = f"the same in {counted(found.paired, 'frame')}" if found.same else said
    return "\n".join([*parts, verdict(found.same, said, sys.stdout)])


def _differences(found: "CompareAnswer") -> list[str]:
    from busdesign.cli.text import figure, printable, table

    if not found.differences:
        return []
    rows = [
        (
            one.kind,
            printable(one.subject) or "the bus",
            str(one.count),
            figure(one.first_at_s, 6),
            "-" if one.old_frame is None else str(one.old_frame),
            "-" if one.new_frame is None else str(one.new_frame),
        )
        for one in found.differences
    ]
    heads = ("differs", "about", "times", "first at s", "frame in first", "in second")
    return [table(heads, rows, left=(0, 1)), "", *(printable(one.text) for one in found.differences), ""]


def _values(found: "CompareAnswer") -> list[str]:
    from busdesign.cli.text import printable, table

    if not found.values:
        return []
    rows = [
        (
            f"{printable(one.message)}.{printable(one.signal)}",
            str(one.count),
            f"{one.first_at_s:.6f}",
            printable(one.old),
            printable(one.new),
            "-" if one.most is None else f"{one.most:g}",
        )
        for one in found.values
    ]
    return [table(("signal", "frames", "first at s", "first", "second", "apart at most"), rows), ""]


def _messages(found: "CompareAnswer") -> str:
    from busdesign.cli.text import figure, printable, table

    rows = [
        (
            printable(one.name),
            str(one.old_count),
            str(one.new_count),
            str(one.paired),
            figure(one.old_usual_ms),
            figure(one.new_usual_ms),
            str(one.changed),
            figure(one.most_apart_ms),
        )
        for one in found.messages
    ]
    return table(("message", "frames", "in second", "paired", "usual ms", "in second", "changed", "apart ms"), rows)


def _refused(findings: "Sequence[Finding]") -> Any:
    from busdesign.answers.compare_answer import refused

    return refused(findings)
