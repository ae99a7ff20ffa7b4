"""``busdesign simulate``: what happens on the bus in a scenario."""

import argparse
import sys
from typing import TYPE_CHECKING, Any

from busdesign.cli.exits import BROKEN, HOLDS

if TYPE_CHECKING:
    from busdesign.answers.simulate import ExpectationAnswer, MessageRun, SimulateAnswer

EPILOG = """exit status: 0 all expectations held and every frame kept within its bound, 1 not so,
2 the scenario cannot be used

example: busdesign simulate sim/scenarios/retract.yaml --report retract.html"""


def add_to(commands: Any) -> None:
    """Add this command to the command line."""
    about = "run a scenario: every frame on the wire, expectations held or not, response times beside their bounds"
    parser = commands.add_parser("simulate", help=about, description=about, epilog=EPILOG)
    parser.add_argument("file", metavar="SCENARIO", help="the YAML file")
    parser.add_argument("--seed", type=int, metavar="N", help="in place of the scenario's seed")
    parser.add_argument("--traffic", metavar="FILE", help="write the frames: .log (SocketCAN text) or .csv")
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
    with progress_bar(f"simulating {story.name}") as progress:
        found = simulate(story, progress=progress)
    written = _write(found, given)
    if given.json:
        from busdesign.cli.json_output import print_json

        print_json(found)
    else:
        from busdesign.cli.text import next_steps

        print(simulate_text(found))
        print("".join(f"\nwritten: {file}" for file in written))
        if not written:
            print(next_steps(f"busdesign simulate {given.file} --report run.html --traffic run.log"))
    return HOLDS if found.holds else BROKEN


def _write(found: "SimulateAnswer", given: argparse.Namespace) -> list[str]:
    written = []
    if given.traffic:
        from busdesign.traffic.files import write_traffic

        write_traffic(found.run.traffic, given.traffic)
        written.append(given.traffic)
    if given.report:
        from busdesign.answers.check import check
        from busdesign.report.page import write_report

        write_report(given.report, check(found.story.catalogue), [found])
        written.append(given.report)
    return written


def simulate_text(found: "SimulateAnswer") -> str:
    """The answer for people."""
    from busdesign.cli.text import findings_text, table, verdict
    from busdesign.units import format_ratio

    busiest = f"{format_ratio(found.load_busiest_100ms)} in the busiest 100 ms (from {found.load_busiest_at_s:.3f} s)"
    parts = [
        f"{found.scenario}: {found.duration_s:g} s on {found.catalogue}, seed {found.seed}",
        f"{found.frames} frames, load {format_ratio(found.load_mean)} on average, {busiest}",
        "",
        table(
            ("message", "sent", "lost", "least ms", "mean ms", "99 % ms", "worst ms", "bound ms"),
            [_message_row(message) for message in found.messages],
        ),
        "",
    ]
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
    from busdesign.cli.text import painted

    word, colour = {True: ("holds ", "32"), False: ("broken", "1;31"), None: ("open  ", "1;33")}[expected.holds]
    return f"{painted(word, colour, sys.stdout)}  {expected.name}: {expected.text}"


def _summary(found: "SimulateAnswer") -> str:
    held = sum(expected.holds is True for expected in found.expectations)
    beyond = sum(message.within_bound is False for message in found.messages)
    bounds = "every frame within its bound" if not beyond else f"{beyond} messages beyond their bound"
    return f"{held} of {len(found.expectations)} expectations held, {bounds}"


def _refused(file: str, findings: Any) -> Any:
    from busdesign.answers.simulate import refused

    return refused(file, findings)
