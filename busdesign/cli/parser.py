"""argparse without abbreviations, with a hint for a word that it does not know."""

import argparse
import re
import sys
from collections.abc import Mapping, Sequence
from typing import Any, NoReturn

from busdesign.cli.exits import UNUSABLE
from busdesign.cli.output import say
from busdesign.findings import did_you_mean, nearest, printable, shown

_WRONG_CHOICE = re.compile(r"argument (?P<name>\S+): invalid choice: (?P<quote>['\"])(?P<word>.*)(?P=quote) \(")
_NO_VALUE = re.compile(r"argument (?P<name>\S+): expected one argument")


class Parser(argparse.ArgumentParser):
    """The parser of ``busdesign`` and of each of its commands."""

    def __init__(self, **settings: Any) -> None:
        settings.setdefault("formatter_class", argparse.RawDescriptionHelpFormatter)
        super().__init__(allow_abbrev=False, **settings)

    def read(self, words: Sequence[str]) -> argparse.Namespace:
        """What ``words`` ask for. Raises SystemExit, as ``parse_args`` does."""
        self._refuse_unknown_options(words)
        given, unknown = self.parse_known_args(words)
        if unknown:
            parser = self._commands().get(given.command, self)
            parser.refuse(f"cannot make anything of {', '.join(map(shown, unknown))}")
        return given

    def error(self, message: str) -> NoReturn:
        """Say what is wrong with the words, as argparse found it, and stop."""
        alone = _NO_VALUE.match(message)
        if alone is not None:
            option = alone["name"].rpartition("/")[2]
            self.refuse(f"{option} has no value", f"one that begins with a minus is joined to it: `{option}=-1`")
        wrong = _WRONG_CHOICE.match(message)
        if wrong is None:
            self.refuse(printable(message))
        name, word = wrong["name"], wrong["word"]
        choices = next((action.choices for action in self._actions if name in _names(action)), None) or ()
        text = f"there is no command {shown(word)}" if name == "COMMAND" else f"{name} cannot be {shown(word)}"
        self.refuse(text, did_you_mean(word, map(str, choices)))

    def refuse(self, text: str, hint: str = "") -> NoReturn:
        """Say ``text`` and stop."""
        lines = [f"{self.prog}: {text}", *([f"hint: {hint}"] if hint else []), f"see `{self.prog} --help`", ""]
        self.exit(UNUSABLE, "\n".join(lines))

    def print_help(self, file: Any = None) -> None:
        """Print the help text, on stdout if nothing else is said."""
        if file is None:
            say(self.format_help().rstrip("\n"))
        else:
            super().print_help(file)

    def format_help(self) -> str:
        """The help text, in colour on a terminal that wants it."""
        from busdesign.cli.text import in_colour

        if in_colour(sys.stdout):
            from rich_argparse import RawDescriptionRichHelpFormatter

            self.formatter_class = RawDescriptionRichHelpFormatter
        return super().format_help()

    def _refuse_unknown_options(self, words: Sequence[str]) -> None:
        """Before argparse, which would first complain of what is missing: the option that was misspelt."""
        parser, commands = self, self._commands()
        for word in words:
            if word == "--":
                return
            option = word.partition("=")[0]
            if word.startswith("--") and option not in parser._option_string_actions:
                parser.refuse(f"there is no option {shown(option)}", self._about(option, parser))
            if parser is self and word in commands:
                parser = commands[word]

    def _about(self, option: str, parser: "Parser") -> str:
        """A hint for an ``option`` that ``parser`` does not know: somebody else's, or the nearest of its own."""
        if option in self._option_string_actions:
            return f"`{option}` stands before the command: `{self.prog} {option} ...`"
        known = [name for name in parser._option_string_actions if name.startswith("--")]
        others = [other.prog for other in self._commands().values() if option in other._option_string_actions]
        if others and nearest(option, known) is None:
            return f"it is an option of {' and '.join(f'`{prog}`' for prog in others)}"
        return did_you_mean(option, known)

    def _commands(self) -> "Mapping[str, Parser]":
        found = (action.choices for action in self._actions if isinstance(action, argparse._SubParsersAction))
        return dict(next(found, {}))


def _names(action: argparse.Action) -> tuple[object, ...]:
    return action.metavar, "/".join(action.option_strings)
