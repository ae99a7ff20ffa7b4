"""``busdesign``: reads the command line, calls one command, turns what it raises into a message and an exit status."""

import argparse
import os
import sys
from collections.abc import Sequence
from typing import NoReturn

from busdesign.cli import (
    audit,
    check,
    compare,
    compile,
    demo,
    explain,
    frame,
    new,
    record,
    replay,
    schema,
    simulate,
    timing,
)
from busdesign.cli.exits import INTERRUPTED, UNUSABLE
from busdesign.cli.output import flush_streams, prepare_streams, say, tell
from busdesign.cli.parser import Parser

COMMANDS = (demo, new, check, compile, simulate, audit, compare, replay, record, frame, timing, explain, schema)
SHELLS = ("bash", "zsh", "tcsh")

DESCRIPTION = """Design the messages of a two-wire field bus (CAN, ISO 11898), prove that the bus carries them in the
worst case, and watch them run before a board exists."""
EPILOG = """exit status: 0 holds, 1 a promise is broken, 2 the input cannot be used, 130 interrupted

example: busdesign demo

A design aid: not certified, and no evidence of airworthiness."""


def run() -> NoReturn:
    """The installed command."""
    # pydantic would look through all installed packages for plugins at each start.
    os.environ.setdefault("PYDANTIC_DISABLE_PLUGINS", "__all__")
    prepare_streams()
    sys.exit(main(sys.argv[1:]))


def main(words: Sequence[str]) -> int:
    """Carry out one command line and return its exit status.

    Raises SystemExit (0 after ``--help`` and ``--version``, 2 for a command line that cannot be read), and with
    ``--debug`` whatever the command raises.
    """
    try:
        parser = command_line()
        given = parser.read(words)
        return _carried_out(parser, given)
    except KeyboardInterrupt:
        tell("\ninterrupted: nothing half-written is left behind")
        return INTERRUPTED
    finally:
        flush_streams()


def _carried_out(parser: Parser, given: argparse.Namespace) -> int:
    try:
        if given.completion:
            from busdesign.cli.completion import completion_script

            say(completion_script(parser, given.completion))
            return 0
        if given.command is None:
            say(parser.format_help())
            return 0
        status: int = given.answer(given)
    except Exception as error:
        if given.debug:
            raise
        from busdesign.cli.refusal import explain_refusal

        explain_refusal(error, given)
        return UNUSABLE
    return status


def command_line() -> Parser:
    """The whole parser; each command adds itself."""
    parser = Parser(prog="busdesign", description=DESCRIPTION, epilog=EPILOG)
    parser.add_argument("--version", action=_Version)
    parser.add_argument("--completion", choices=SHELLS, metavar="SHELL", help="print a completion script and stop")
    parser.add_argument("--debug", action="store_true", help="show where in the program an error arose")
    commands = parser.add_subparsers(title="commands", dest="command", metavar="COMMAND", parser_class=Parser)
    for command in COMMANDS:
        command.add_to(commands)
    return parser


class _Version(argparse.Action):
    def __init__(self, option_strings: Sequence[str], dest: str) -> None:
        super().__init__(option_strings, dest, nargs=0, help="print the version and stop")

    def __call__(self, parser: argparse.ArgumentParser, *_: object) -> NoReturn:
        import busdesign

        say(f"busdesign {busdesign.__version__}")
        parser.exit()
