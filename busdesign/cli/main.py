"""``busdesign``: reads the command line, calls one command, turns what it raises into a message and an exit status."""

import argparse
import os
import sys
from collections.abc import Sequence
from difflib import get_close_matches
from typing import NoReturn

from busdesign.cli import check, compile, demo, frame, simulate
from busdesign.cli.exits import BROKEN, INTERRUPTED, UNUSABLE

COMMANDS = (demo, check, compile, simulate, frame)
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
    sys.exit(main(sys.argv[1:]))


def main(words: Sequence[str]) -> int:
    """Carry out one command line and return its exit status."""
    parser = command_line()
    given = parser.parse_args(words)
    try:
        if given.completion:
            import shtab

            print(shtab.complete(parser, given.completion))
            return 0
        if given.command is None:
            parser.print_help()
            return 0
        status: int = given.answer(given)
        sys.stdout.flush()
        return status
    except KeyboardInterrupt:
        print("\ninterrupted: nothing half-written is left behind", file=sys.stderr)
        return INTERRUPTED
    except BrokenPipeError:
        # The reader of a pipe has seen enough; Python would complain once more while it closes stdout.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return BROKEN
    except Exception as error:
        return _refused(error, given)


def _refused(error: Exception, given: argparse.Namespace) -> int:
    from busdesign.cli.refusal import explain_refusal

    if given.debug or not explain_refusal(error, given):
        raise error
    return UNUSABLE


def command_line() -> argparse.ArgumentParser:
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
        from importlib.metadata import version

        print(f"busdesign {version('busdesign')}")
        parser.exit()


class Parser(argparse.ArgumentParser):
    """argparse without abbreviations, with a hint for a word it does not know."""

    def __init__(self, **settings: object) -> None:
        settings.setdefault("formatter_class", argparse.RawDescriptionHelpFormatter)
        super().__init__(allow_abbrev=False, **settings)  # type: ignore[arg-type]

    def format_help(self) -> str:
        if sys.stdout.isatty() and not os.environ.get("NO_COLOR"):
            from rich_argparse import RawDescriptionRichHelpFormatter

            self.formatter_class = RawDescriptionRichHelpFormatter
        return super().format_help()

    def error(self, message: str) -> NoReturn:
        hint = self._hint(message)
        self.exit(UNUSABLE, f"{self.prog}: {message}\n{hint}see `{self.prog} --help`\n")

    def _hint(self, message: str) -> str:
        known = [option for action in self._actions for option in action.option_strings]
        for action in self._actions:
            known += [str(choice) for choice in action.choices or ()]
            if isinstance(action, argparse._SubParsersAction):
                known += [option for parser in action.choices.values() for option in parser._option_string_actions]
        for word in message.replace("'", " ").replace(",", " ").split():
            if word in known:
                continue
            close = get_close_matches(word, known, n=1, cutoff=0.7)
            if close:
                return f"hint: did you mean `{close[0]}`?\n"
        return ""
