"""``busdesign audit``: a capture from the bench against its catalogue, and against its scenario's expectations."""

import argparse
import os
import sys
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from busdesign.cli.exits import BROKEN, HOLDS

if TYPE_CHECKING:
    from busdesign.answers.audit_answer import AuditAnswer, AuditFinding, WindowSeen
    from busdesign.answers.audit_assumptions import MessageAudit
    from busdesign.answers.audit_functions import FunctionSeen
    from busdesign.answers.audit_story import ZeroAt
    from busdesign.findings import Finding

EPILOG = """exit status: 0 the capture shows nothing that breaks a promise, 1 it does,
2 the capture, the catalogue or the scenario cannot be used

what is known of the recorder stands in a small file beside the capture: run.log.yaml beside run.log

example: busdesign audit run.log --catalogue messages/saltmarsh.yaml --scenario sim/scenarios/retract.yaml"""


def add_to(commands: Any) -> None:
    """Add this command to the command line."""
    about = "a capture against the catalogue: identifiers, lengths, periods, values, counters, checks, functions, load"
    parser = commands.add_parser("audit", help=about, description=about, epilog=EPILOG)
    parser.add_argument("capture", metavar="CAPTURE", help="the recording, such as a .log (SocketCAN text)")
    parser.add_argument("--catalogue", metavar="CATALOGUE", help="the YAML file; without it, the scenario's own")
    parser.add_argument("--scenario", metavar="SCENARIO", help="also its expectations, as far as they are on the wire")
    parser.add_argument("--channel", metavar="NAME", help="of a recording of several buses, this one")
    where = "where the scenario's time zero lies: on the recorder's clock (12.5s), or from the first frame (+2s, =-2s)"
    parser.add_argument("--zero-at", metavar="TIME", help=where)
    parser.add_argument("--report", metavar="FILE", help="write what was seen as one HTML page")
    parser.add_argument("--json", action="store_true", help="the answer as JSON on stdout")
    parser.set_defaults(answer=answer, refused=_refused, refuse=parser.refuse)


def answer(given: argparse.Namespace) -> int:
    """Audit, print, write what was asked for, return the exit status."""
    from busdesign.answers.audit import audit
    from busdesign.cli.progress import progress_bar

    if given.catalogue is None and given.scenario is None:
        given.refuse("a capture is held against a catalogue", "add `--catalogue FILE`, or `--scenario FILE`, or both")
    _refuse_unwritable(given)
    zero_at = None if given.zero_at is None else _zero_at(given)
    with progress_bar(f"reading {given.capture}") as progress:
        found = audit(
            given.capture,
            given.catalogue,
            scenario=given.scenario,
            channel=given.channel,
            zero_at=zero_at,
            progress=progress,
        )
    if given.report:
        from busdesign.report.audit import write_audit_report

        write_audit_report(given.report, found)
    if given.json:
        from busdesign.cli.json_output import print_json

        print_json(found)
    else:
        from busdesign.cli.output import say

        say(audit_text(found))
        say(f"\nwritten: {given.report}" if given.report else _next(found, given))
    return HOLDS if found.holds else BROKEN


def _next(found: "AuditAnswer", given: argparse.Namespace) -> str:
    from busdesign.cli.text import about_rules, command, next_steps, typed

    catalogue = ["--catalogue", given.catalogue] if given.catalogue else []
    scenario = ["--scenario", given.scenario] if given.scenario else []
    zero = [f"--zero-at={given.zero_at}"] if given.zero_at else []
    rules = about_rules([one.finding for one in found.findings])
    return next_steps(
        *rules, command("audit", typed(given.capture), *catalogue, *scenario, *zero, "--report", "audit.html")
    )


def _zero_at(given: argparse.Namespace) -> "ZeroAt":
    from busdesign.answers.audit_story import read_zero_at
    from busdesign.units import QuantityError

    try:
        return read_zero_at(given.zero_at)
    except QuantityError as wrong:
        given.refuse(f"--zero-at: {wrong.text}", wrong.fix)
        raise


def _refuse_unwritable(given: argparse.Namespace) -> None:
    """Before a long capture is read: OutputError if the report can lie nowhere, or on what is read."""
    if given.report is None:
        return
    from busdesign.answers.compile import folder_for
    from busdesign.errors import OutputError

    folder_for(os.path.dirname(given.report) or ".")
    if os.path.isdir(given.report):
        raise OutputError(f"cannot write `{given.report}`: it is a folder")
    for source in (given.capture, given.catalogue, given.scenario):
        both_exist = source and os.path.exists(source) and os.path.exists(given.report)
        if both_exist and os.path.samefile(given.report, source):
            raise OutputError(f"cannot write `{given.report}`: the audit reads it, and it would be lost")


def audit_text(found: "AuditAnswer") -> str:
    """The answer for people: the findings' summary first, then what was measured, then the findings in full."""
    from busdesign.cli.text import printable, table, verdict
    from busdesign.findings import counted
    from busdesign.units import format_ratio

    against = f" and {printable(found.scenario)}" if found.scenario else ""
    bad = f", {counted(found.bad_lines, 'line')} that cannot be read" if found.bad_lines else ""
    parts = [
        f"{printable(found.capture)} against {printable(found.catalogue)}{against}",
        f"{counted(found.frames, 'frame')} in {found.duration_s:g} s{bad}, mean load {format_ratio(found.load_mean)}",
        *(printable(notice) for notice in found.notices),
        *([f"times count from {found.zero_ns / 1e9:.6f} s of the recorder's clock"] if found.zero_ns else []),
        "",
        *_summary_table(found.findings),
        table(
            ("message", "frames", "mean ms", "least ms", "most ms", "declared ms", "spread ms", "explained ms"),
            [_message_row(message) for message in found.messages],
        ),
        "",
        table(("window", "fullest", "from s", "at most"), [_window_row(window) for window in found.windows]),
        "",
    ]
    if found.functions:
        heads = ("function", "slowest ms", "bound ms", "within ms", "oldest ms", "bound ms", "moments")
        parts += [table(heads, [_function_row(function) for function in found.functions]), ""]
    parts += _expectation_lines(found)
    if found.patch:
        parts += ["what the catalogue could say instead:", "", found.patch, ""]
    parts += ["not to be seen in this capture:", *(f"  - {printable(line)}" for line in found.not_seen), ""]
    if found.findings:
        parts += [_findings(found.findings), ""]
    return "\n".join([*parts, verdict(found.holds, _verdict(found), sys.stdout)])


def _summary_table(findings: "Sequence[AuditFinding]") -> list[str]:
    from busdesign.cli.text import in_severity, printable, severity_word, table

    if not findings:
        return []
    rows = [
        (
            severity_word(found.severity),
            found.rule,
            printable(found.subject) or "the bus",
            str(found.count),
            "-" if found.first_at_s is None else f"{found.first_at_s:.6f}",
            "-" if found.first_frame is None else str(found.first_frame),
            found.frame or "-",
        )
        for found in findings
    ]
    heads = ("severity", "rule", "about", "times", "first at s", "frame no.", "frame")
    lines = table(heads, rows, left=(0, 1, 2, 6)).split("\n")
    painted = [in_severity(line, found.severity, sys.stdout) for line, found in zip(lines[2:], findings, strict=True)]
    return [*lines[:2], *painted, ""]


def _message_row(message: "MessageAudit") -> tuple[str, ...]:
    from busdesign.cli.text import figure, printable

    period = message.period_ms
    times = (period.mean, period.min, period.max) if period else (None,) * 3
    declared = f"{message.declared_ms:g}" + (" apart" if message.irregular else "")
    return (
        printable(message.name),
        str(message.count),
        *(figure(time) for time in times),
        declared,
        figure(message.spread_ms),
        figure(message.wait_ms),
    )


def _window_row(window: "WindowSeen") -> tuple[str, ...]:
    from busdesign.units import format_ratio

    bound = "-" if window.bound is None else format_ratio(window.bound)
    return f"{window.window_ms:g} ms", format_ratio(window.load), f"{window.at_s:.3f}", bound


def _function_row(function: "FunctionSeen") -> tuple[str, ...]:
    from busdesign.cli.text import figure, printable

    return (
        printable(function.name),
        figure(function.reaction_ms),
        figure(function.bound_ms),
        f"{function.within_ms:g}",
        figure(function.age_ms),
        figure(function.age_bound_ms),
        str(function.moments),
    )


def _expectation_lines(found: "AuditAnswer") -> list[str]:
    from busdesign.cli.text import painted, printable

    if not found.expectations:
        return []
    words = {True: ("holds ", "32"), False: ("broken", "1;31"), None: ("open  ", "1;33")}
    lines = []
    for expected in found.expectations:
        word, colour = words[expected.holds]
        said = expected.text.partition(";")[0] if expected.holds is None else expected.text
        text = f"{printable(expected.name)}: {printable(said)}"
        lines.append(f"{painted(word, colour, sys.stdout)}  {text}")
    return [*lines, ""]


def _findings(findings: "Sequence[AuditFinding]") -> str:
    from busdesign.cli.text import findings_text

    return findings_text([found.finding for found in findings], sys.stdout)


def _verdict(found: "AuditAnswer") -> str:
    from busdesign.findings import Severity, counted

    broken = sum(one.severity is Severity.BROKEN for one in found.findings)
    parts = [f"{counted(broken, 'broken promise')} in this capture" if broken else "this capture breaks no promise"]
    if found.expectations:
        held = sum(expected.holds is True for expected in found.expectations)
        failed = sum(expected.holds is False for expected in found.expectations)
        unseen = len(found.expectations) - held - failed
        parts.append(
            f"of {counted(len(found.expectations), 'expectation')} {held} held, {failed} broken, {unseen} open"
        )
    return "; ".join(parts)


def _refused(findings: "Sequence[Finding]") -> Any:
    from busdesign.answers.audit_answer import refused

    return refused(findings)
