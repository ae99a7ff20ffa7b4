"""``busdesign demo``: the whole job on the demo."""

import argparse
import sys
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

from busdesign.cli.exits import BROKEN, HOLDS

FOLDER = "busdesign-demo"
EPILOG = f"""exit status: 0 everything holds, 1 a promise is broken, 2 the folder cannot be written

example: busdesign demo -o {FOLDER}"""
CAUTION = """The Saltmarsh does not exist; all its figures are invented. A design aid: not certified, no evidence of
airworthiness. Before anything moves: people and tools clear of the gear, the aircraft on jacks, an independent
emergency extension in place. Local codes, the responsible authority and licensed practice decide."""


def add_to(commands: Any) -> None:
    """Add this command to the command line."""
    about = "the whole job on an invented aircraft's undercarriage: check, compile, simulate, report"
    parser = commands.add_parser("demo", help=about, description=about, epilog=EPILOG)
    parser.add_argument("-o", "--output", metavar="DIR", default=FOLDER, help=f"folder to write into ({FOLDER})")
    parser.add_argument("--open", action="store_true", help="open the report in the browser")
    parser.add_argument("--json", action="store_true", help="all answers as one JSON document on stdout")
    parser.set_defaults(answer=answer, refused=_refused)


def answer(given: argparse.Namespace) -> int:
    """Go through all doors, print what each says, or at the end all of it as JSON; return the exit status."""
    from busdesign.answers.check import check
    from busdesign.answers.compile import compile_catalogue, folder_for
    from busdesign.answers.simulate import simulate
    from busdesign.answers.starter import CATALOGUE, demo_scenarios, starter_root
    from busdesign.cli.check import check_text
    from busdesign.cli.json_output import print_json
    from busdesign.cli.output import say as print_text
    from busdesign.cli.progress import progress_bar
    from busdesign.cli.text import command, next_steps

    say: Callable[[str], None] = (lambda text: None) if given.json else print_text
    root = _from_here(starter_root())
    folder = folder_for(given.output)
    checked = check(root / CATALOGUE)
    say(check_text(checked) + "\n")
    compiled = compile_catalogue(checked.definition, folder)
    runs = []
    for file in demo_scenarios(root):
        with progress_bar(f"simulating {file.stem}") as progress:
            runs.append(simulate(file, progress=progress))
        say(_run_line(runs[-1]))
    from busdesign.report.page import write_report
    from busdesign.traffic.files import write_traffic

    for file, run in zip(demo_scenarios(root), runs, strict=True):
        write_traffic(run.run.recorded(), folder / f"{file.stem}.log")
    report = write_report(folder / "report.html", checked, runs).resolve()
    say(f"\n{CAUTION}\n\ndatabase: {compiled.files[0].resolve()}\nreport:   {report}")
    say(next_steps(command("check", root / CATALOGUE), command("simulate", demo_scenarios(root)[0])))
    holds = checked.holds and all(run.holds for run in runs)
    if given.json:
        print_json({"check": checked, "compile": compiled, "runs": runs, "report": report, "holds": holds})
    if given.open:
        _open(report)
    return HOLDS if holds else BROKEN


def _refused(findings: Sequence[Any]) -> Any:
    return {"check": None, "compile": None, "runs": [], "report": None, "findings": findings, "holds": False}


def _from_here(folder: Path) -> Path:
    """``folder`` as a short path where it lies below the working folder."""
    here = Path.cwd()
    return folder.relative_to(here) if folder.is_relative_to(here) else folder


def _run_line(run: Any) -> str:
    from busdesign.cli.text import painted

    held = sum(expected.holds is True for expected in run.expectations)
    word = painted("holds ", "32", sys.stdout) if run.holds else painted("broken", "1;31", sys.stdout)
    return f"{word}  {run.scenario}: {run.frames} frames, {held} of {len(run.expectations)} expectations held"


def _open(report: Path) -> None:
    import webbrowser

    from busdesign.cli.output import tell

    if not webbrowser.open(report.as_uri()):
        tell("no browser could be opened here")
