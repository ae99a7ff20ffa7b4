"""``busdesign simulate``: what happens on the bus in a scenario."""

import argparse
import os
import sys
from collections.abc import Sequence
from contextlib import redirect_stdout
from typing import TYPE_CHECKING, Any

from busdesign.cli.exits import BROKEN, HOLDS

if TYPE_CHECKING:
    from busdesign.answers.simulate import ExpectationAnswer, MessageRun, SimulateAnswer
    from busdesign.findings import Finding
    from busdesign.scenario.model import Scenario

EPILOG = """exit status: 0 all expectations held and every frame kept within its bound, 1 not so,
2 the scenario cannot be used

example: busdesign simulate sim/scenarios/retract.yaml --report retract.html"""


def add_to(commands: Any) -> None:
    """Add this command to the command line."""
    about = "run a scenario: every frame on the wire, expectations held or not, response times beside their bounds"
    parser = commands.add_parser("simulate", help=about, description=about, epilog=EPILOG)
    parser.add_argument("file", metavar="SCENARIO", help="the YAML file")
    parser.add_argument("--seed", type=_seed, metavar="N", help="in place of the scenario's seed")
    parser.add_argument("--traffic", metavar="FILE", help="write all frames: .log (SocketCAN text) or .csv")
    parser.add_argument("--report", metavar="FILE", help="write the run as one HTML page")
    parser.add_argument("--json", action="store_true", help="the answer as JSON on stdout")
    parser.set_defaults(answer=answer, refused=_refused)


def answer(given: argparse.Namespace) -> int:
    """Run, print, write what was asked for, return the exit status."""
    from dataclasses import replace

    from busdesign.answers.simulate import simulate
    from busdesign.cli.progress import progress_bar
    from busdesign.scenario.reader import read_scenario

    story = read_scenario(given.file)
    if given.seed is not None:
        story = replace(story, seed=given.seed)
    _refuse_unwritable(given, story)
    # What a model prints is conversation. Outermost, since the bar puts back the streams that it found.
    with redirect_stdout(sys.stderr), progress_bar(f"simulating {story.name}") as progress:
        found = simulate(story, progress=progress)
    written = _write(found, given)
    if given.json:
        from busdesign.cli.json_output import print_json

        print_json(found)
    else:
        from busdesign.cli.output import say
        from busdesign.cli.text import command, next_steps, typed

        say(simulate_text(found))
        if written:
            say("\n" + "\n".join(f"written: {file}" for file in written))
        else:
            file = typed(given.file)
            say(next_steps(command("simulate", file, "--report", "run.html", "--traffic", "run.log")))
    return HOLDS if found.holds else BROKEN


def _refuse_unwritable(given: argparse.Namespace, story: "Scenario") -> None:
    """Before a run that may take long: make the results' folders; OutputError if one can be no place for a result."""
    from busdesign.answers.compile import folder_for
    from busdesign.errors import OutputError
    from busdesign.traffic.files import require_writable_format

    read = [given.file, *story.catalogue.files, *(choice.file for choice in story.models.values())]
    results = [path for path in (given.traffic, given.report) if path is not None]
    if given.traffic is not None:
        require_writable_format(given.traffic)
    for path in results:
        folder_for(os.path.dirname(path) or ".")
        if os.path.isdir(path):
            raise OutputError(f"cannot write `{path}`: it is a folder")
        for source in read:
            if os.path.exists(path) and os.path.exists(source) and os.path.samefile(path, source):
                raise OutputError(f"cannot write `{path}`: the run reads it, and it would be lost")
    if len(results) == 2 and os.path.realpath(results[0]) == os.path.realpath(results[1]):
        raise OutputError(f"cannot write `{results[0]}` twice: the traffic and the report need a file each")


def _write(found: "SimulateAnswer", given: argparse.Namespace) -> list[str]:
    written = []
    if given.traffic:
        from busdesign.traffic.files import write_traffic

        write_traffic(found.run.recorded(), given.traffic)
        written.append(given.traffic)
    if given.report:
        from busdesign.answers.check import check
        from busdesign.report.page import write_report

        write_report(given.report, check(found.story.catalogue), [found])
        written.append(given.report)
    return written


def simulate_text(found: "SimulateAnswer") -> str:
    """The answer for people."""
    from busdesign.cli.functions_text import function_runs_text
    from busdesign.cli.text import findings_text, printable, table, verdict
    from busdesign.units import format_ratio

    busiest = f"{format_ratio(found.load_busiest_100ms)} in the busiest 100 ms (from {found.load_busiest_at_s:.3f} s)"
    parts = [
        f"{printable(found.scenario)}: {found.duration_s:g} s on {printable(found.catalogue)}, seed {found.seed}",
        f"{found.frames} frames, load {format_ratio(found.load_mean)} on average, {busiest}",
        "",
        table(
            ("message", "sent", "lost", "least ms", "mean ms", "99 % ms", "worst ms", "bound ms"),
            [_message_row(message) for message in found.messages],
        ),
        "",
    ]
    functions = function_runs_text(found)
    parts += [*functions, ""] if functions else []
    if found.expectations:
        parts += [*(_expectation_line(expected) for expected in found.expectations), ""]
    if found.findings:
        parts += [findings_text(found.findings, sys.stdout), ""]
    return "\n".join([*parts, verdict(found.holds, _summary(found), sys.stdout)])


def _message_row(message: "MessageRun") -> tuple[str, ...]:
    from busdesign.cli.text import figure

    spread = message.response_ms
    times = (spread.min, spread.mean, spread.p99, spread.max) if spread else (None,) * 4
    return (
        message.name,
        str(message.sent),
        str(message.lost),
        *(figure(time) for time in times),
        figure(message.response_worst_ms),
    )


def _expectation_line(expected: "ExpectationAnswer") -> str:
    from busdesign.cli.text import painted, printable

    word, colour = {True: ("holds ", "32"), False: ("broken", "1;31"), None: ("open  ", "1;33")}[expected.holds]
    return f"{painted(word, colour, sys.stdout)}  {printable(expected.name)}: {printable(expected.text)}"


def _summary(found: "SimulateAnswer") -> str:
    from busdesign.findings import counted

    held = sum(expected.holds is True for expected in found.expectations)
    beyond = [message.name for message in found.messages if message.within_bound is False]
    beyond += [function.name for function in found.functions if function.within_bound is False]
    unbounded = [message.name for message in found.messages if message.sent and message.within_bound is None]
    parts = [f"{held} of {counted(len(found.expectations), 'expectation')} held"]
    if not found.expectations:
        parts = ["the scenario expects nothing"]
    parts += [f"beyond the bound: {', '.join(beyond)}"] if beyond else []
    parts += [f"without a bound: {', '.join(unbounded)}"] if unbounded else []
    parts += [] if beyond or unbounded else ["every frame within its bound"]
    others = [
        finding for finding in found.findings if finding.severity == "broken" and finding.rule != "bound-exceeded"
    ]
    return "; ".join([*parts, *([f"{counted(len(others), 'broken promise')} besides"] if others else [])])


def _refused(findings: "Sequence[Finding]") -> Any:
    from busdesign.answers.simulate import refused

    return refused(findings)


def _seed(text: str) -> int:
    from busdesign.findings import shown
    from busdesign.scenario.draft import MAX_SEED

    if not text.isdecimal() or len(text) > len(str(MAX_SEED)) or int(text) > MAX_SEED:
        raise argparse.ArgumentTypeError(f"{shown(text)} is no seed; write a whole number from 0 to {MAX_SEED}")
    return int(text)
