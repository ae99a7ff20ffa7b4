"""``busdesign compile``: one definition handed on."""

import argparse
import sys
from typing import Any

from busdesign.cli.exits import HOLDS

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
        return HOLDS
    from busdesign.cli.text import findings_text, next_steps

    for file in found.files:
        print(f"written: {file}")
    if found.losses:
        print("\nnot carried, or altered, in DBC:\n")
        print(findings_text(found.losses, sys.stdout))
    print(next_steps(f"busdesign check {given.file}"))
    return HOLDS


def _refused(file: str, findings: Any) -> Any:
    return {"catalogue": None, "files": [], "losses": [], "findings": findings}
