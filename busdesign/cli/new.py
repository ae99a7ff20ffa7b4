"""``busdesign new``: a project of one's own; asks on a terminal for what no option says."""

import argparse
import io
import shlex
import sys
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from busdesign.cli.exits import HOLDS, UNUSABLE

if TYPE_CHECKING:
    from busdesign.answers.new import NewAnswer
    from busdesign.findings import Finding

EPILOG = """On a terminal, what no option says is asked for; elsewhere, and with --json, defaults are taken.
Nothing is ever overwritten: DIR must not be there yet, or be empty.

exit status: 0 made, 2 an answer cannot be used or the folder not be made

example: busdesign new gear --bit-rate '125 kbit/s' --nodes panel,nose,left,right"""


def add_to(commands: Any) -> None:
    """Add this command to the command line."""
    about = "a small project of your own to start from: a catalogue, models, scenarios that hold"
    parser = commands.add_parser("new", help=about, description=about, epilog=EPILOG)
    parser.add_argument("folder", metavar="DIR", help="the folder to make")
    parser.add_argument("--name", help="of the project (the folder's)")
    parser.add_argument("--bit-rate", metavar="RATE", help="with its unit (250 kbit/s)")
    parser.add_argument("--nodes", metavar="NAMES", help="first the one that gives the orders (panel,left,right)")
    parser.add_argument("--json", action="store_true", help="the answer as JSON on stdout")
    parser.set_defaults(answer=answer, refused=_refused)


def answer(given: argparse.Namespace) -> int:
    """Ask, make, say what was made, return the exit status."""
    from busdesign.answers.new import new_project
    from busdesign.answers.new_folder import require_free
    from busdesign.answers.new_names import nodes_written
    from busdesign.errors import InputError

    require_free(given.folder)  # before any question
    questions = _questions(given.folder)
    answers = {key: said for key in questions if (said := getattr(given, key)) is not None}
    wrong = [found for key, said in answers.items() for found in questions[key].findings(said)]
    if wrong:
        raise InputError(wrong)
    open_ones = [key for key in questions if key not in answers]
    if _is_somebody_there() and not given.json:
        if not _ask(questions, open_ones, answers):
            return UNUSABLE
        open_ones = []
    answers = {key: question.default for key, question in questions.items()} | answers
    made = new_project(
        given.folder, name=answers["name"], bit_rate=answers["bit_rate"], nodes=nodes_written(answers["nodes"])
    )
    if given.json:
        from busdesign.cli.json_output import print_json

        print_json(made)
    else:
        _say(made, {questions[key].option: answers[key] for key in open_ones})
    return HOLDS


@dataclass(frozen=True, slots=True)
class _Question:
    """What is asked; ``findings`` says what is wrong with an answer."""

    option: str
    text: str
    default: str
    findings: "Callable[[str], list[Finding]]"


def _questions(folder: str) -> Mapping[str, _Question]:
    from busdesign.answers.new import name_for
    from busdesign.answers.new_names import (
        DEFAULT_BIT_RATE,
        DEFAULT_NODES,
        bit_rate_findings,
        name_findings,
        nodes_findings,
        nodes_written,
    )

    def about_nodes(said: str) -> "list[Finding]":
        return nodes_findings(nodes_written(said))

    nodes = "names of the nodes, first the one that gives the orders"
    return {
        "name": _Question("--name", "name of the project", name_for(folder), name_findings),
        "bit_rate": _Question("--bit-rate", "bit rate of the bus", DEFAULT_BIT_RATE, bit_rate_findings),
        "nodes": _Question("--nodes", nodes, ",".join(DEFAULT_NODES), about_nodes),
    }


def _is_somebody_there() -> bool:
    """Whether somebody can read a question and answer it."""
    return bool(sys.stdin and sys.stdin.isatty() and sys.stderr.isatty())


def _ask(questions: Mapping[str, _Question], keys: Sequence[str], answers: dict[str, str]) -> bool:
    """Put the answers to ``keys`` into ``answers``; False if there are no more answers to come.

    What the bus is too slow for shows with the last answer, which is then asked for again.
    """
    from busdesign.answers.new import chosen
    from busdesign.answers.new_files import fit_findings
    from busdesign.answers.new_names import nodes_written
    from busdesign.cli.output import tell
    from busdesign.cli.text import findings_text

    if isinstance(sys.stdin, io.TextIOWrapper):
        sys.stdin.reconfigure(errors="backslashreplace")  # what are no letters is refused with the answer
    for key in keys:
        question = questions[key]
        while True:
            said = _said(f"{question.text} [{question.default}]: ")
            if said is None:
                tell("\nno answer; nothing was written")
                return False
            answers[key] = said.strip() or question.default
            wrong = question.findings(answers[key])
            if not wrong and key == keys[-1] and key != "name":
                nodes = nodes_written(answers["nodes"])
                wrong = fit_findings(chosen(answers["name"], answers["bit_rate"], nodes))
            if not wrong:
                break
            tell(findings_text(wrong, sys.stderr))
    return True


def _said(question: str) -> str | None:
    """One line from the terminal, or None at its end. Asked on stderr, since stdout is for the answer."""
    print(question, end="", file=sys.stderr, flush=True)
    return sys.stdin.readline() or None


def _say(made: "NewAnswer", taken: Mapping[str, str]) -> None:
    from busdesign.cli.output import say
    from busdesign.cli.text import command, next_steps, printable, typed

    commander, *others = made.nodes
    lines = [
        f"made {printable(str(made.folder))}: {commander} gives orders to {', '.join(others)}, at {made.bit_rate}",
        "All figures in it are invented: put your own in their place. Its README.md says what lies where.",
    ]
    if taken:
        defaults = " ".join(f"{option} {shlex.quote(value)}" for option, value in taken.items())
        lines.append(f"defaults were taken, since nobody was there to ask: {defaults}")
    say("\n".join(lines))
    catalogue = typed(str(made.catalogue))
    stories = [command("simulate", typed(str(story))) for story in made.scenarios]
    out = typed(str(made.folder / "out"))
    say(next_steps(command("check", catalogue), command("compile", catalogue, "-o", out), *stories))


def _refused(findings: "Sequence[Finding]") -> Any:
    from busdesign.answers.new import refused

    return refused(findings)
