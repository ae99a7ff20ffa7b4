"""``busdesign schema``: by what an editor completes the keys of a catalogue or a scenario, and marks mistakes."""

import argparse
from typing import Any

from busdesign.cli.exits import HOLDS

KINDS = ("catalogue", "scenario")  # as ``answers.schema`` has them; a help text waits for no reader
EPILOG = """exit status: 0 printed or written, 2 there is no such schema or the file cannot be written

The first line of a YAML file tells a YAML language server where its schema lies:
  # yaml-language-server: $schema=catalogue.schema.json

example: busdesign schema catalogue -o catalogue.schema.json"""


def add_to(commands: Any) -> None:
    """Add this command to the command line."""
    about = "the JSON Schema (draft 2020-12) of a catalogue or a scenario, for editors"
    parser = commands.add_parser("schema", help=about, description=about, epilog=EPILOG)
    parser.add_argument("kind", metavar="KIND", choices=KINDS, help="catalogue or scenario")
    parser.add_argument("-o", "--output", metavar="FILE", help="file to write instead of printing")
    parser.set_defaults(answer=answer)


def answer(given: argparse.Namespace) -> int:
    """Print the schema or write it, return the exit status."""
    from busdesign.answers.schema import schema_text
    from busdesign.cli.output import say

    text = schema_text(given.kind)
    if given.output is None:
        say(text.rstrip("\n"))
    else:
        from pathlib import Path

        from busdesign.outputs import write_text

        write_text(given.output, text)
        say(f"written: {given.output}\n\nthe first line of a YAML file beside it, for your editor:")
        say(f"  # yaml-language-server: $schema={Path(given.output).name}")
    return HOLDS
