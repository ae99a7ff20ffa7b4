"""``busdesign compile``: one definition handed on."""

import argparse
import sys
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from busdesign.cli.exits import HOLDS

if TYPE_CHECKING:
    from busdesign.answers.compile import CompileAnswer
    from busdesign.findings import Finding

EPILOG = """exit status: 0 written, 2 the catalogue cannot be used or the folder not be written

example: busdesign compile messages/saltmarsh.yaml -o out"""


def add_to(commands: Any) -> None:
    """Add this command to the command line."""
    about = "the catalogue as a DBC database"
    parser = commands.add_parser("compile", help=about, description=about, epilog=EPILOG)
    parser.add_argument("file", metavar="CATALOGUE", help="the YAML file")
    parser.add_argument("-o", "--output", metavar="DIR", required=True, help="folder to write into, made if need be")
    parser.add_argument("--json", action="store_true", help="the answer as JSON on stdout")
    parser.set_defaults(answer=answer, refused=_refused)


def answer(given: argparse.Namespace) -> int:
    """Write the files, say which, return the exit status."""
    from busdesign.answers.compile import compile_catalogue

    found = compile_catalogue(given.file, given.output)
    if given.json:
        from busdesign.cli.json_output import print_json

        print_json(found)
    else:
        from busdesign.cli.output import say
        from busdesign.cli.text import command, next_steps, typed

        say(compile_text(found))
        say(next_steps(command("check", typed(given.file))))
    return HOLDS


def compile_text(found: "CompileAnswer") -> str:
    """The answer for people."""
    from busdesign.cli.text import findings_text

    parts = [f"written: {file}" for file in found.files]
    if found.losses:
        parts += ["", "what DBC does not carry, or carries altered:", "", findings_text(found.losses, sys.stdout)]
    return "\n".join(parts)


def _refused(findings: "Sequence[Finding]") -> Any:
    from busdesign.answers.compile import refused

    return refused(findings)
