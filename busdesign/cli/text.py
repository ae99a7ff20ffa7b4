"""Text for people: findings with their line and caret, a table, figures; the same with and without colour."""

import os
import re
import shlex
import shutil
import sys
from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence
from pathlib import Path
from textwrap import wrap
from typing import TextIO
from unicodedata import category, east_asian_width

from busdesign.findings import Finding, Severity

_COLOURS = {Severity.ERROR: "1;31", Severity.BROKEN: "1;31", Severity.ADVICE: "1;33"}
_WORDS = {Severity.ERROR: "error", Severity.BROKEN: "broken promise", Severity.ADVICE: "advice"}
QUOTE_WIDTH = 110
MANY, SPELT_OUT, LINES_NAMED = 12, 8, 12  # findings of one rule on a screen


def in_colour(stream: TextIO) -> bool:
    """Whether ``stream`` is a terminal that wants colour (``NO_COLOR`` says no)."""
    return stream.isatty() and not os.environ.get("NO_COLOR") and os.environ.get("TERM") != "dumb"


def painted(text: str, colour: str, stream: TextIO) -> str:
    """``text`` in an ANSI ``colour`` if ``stream`` wants it."""
    return f"\x1b[{colour}m{text}\x1b[0m" if in_colour(stream) else text


def severity_word(severity: Severity) -> str:
    """What a person calls a ``severity``."""
    return _WORDS[severity]


def in_severity(text: str, severity: Severity, stream: TextIO) -> str:
    """``text`` in the colour of a ``severity``, if ``stream`` wants it."""
    return painted(text, _COLOURS[severity], stream)


def wrapped(said: str, width: int, first: str = "", later: str = "") -> list[str]:
    """``said`` in lines of ``width``, indented by ``first`` and ``later``; a figure is not parted from its unit."""
    kept = re.sub(r"(?<=\d) (?=[A-Za-z%])", "\N{NO-BREAK SPACE}", said)
    lines = wrap(kept, width, initial_indent=first, subsequent_indent=later, break_long_words=False)
    return [line.replace("\N{NO-BREAK SPACE}", " ") for line in lines]


def findings_text(findings: Iterable[Finding], stream: TextIO) -> str:
    """Each finding: place, severity, text and rule; the line it stands in, with a caret; the hint.

    Of a rule with many findings the first ones are spelt out, and for the others their lines are named.
    """
    every = tuple(findings)
    told: Counter[str] = Counter()
    parts, rest = [], defaultdict[str, list[Finding]](list)
    all_of_a_rule = Counter(found.rule for found in every)
    for found in every:
        if all_of_a_rule[found.rule] > MANY and told[found.rule] >= SPELT_OUT:
            rest[found.rule].append(found)
        else:
            told[found.rule] += 1
            parts.append(_finding_text(found, stream))
    return "\n\n".join([*parts, *(_more_of(rule, left) for rule, left in rest.items())])


def _more_of(rule: str, findings: Sequence[Finding]) -> str:
    lines = sorted({(found.where.file, found.where.line) for found in findings if found.where})
    files = {file for file, _ in lines}
    named = [str(line) if len(files) == 1 else f"{file}:{line}" for file, line in lines[:LINES_NAMED]]
    more = " ..." if len(lines) > LINES_NAMED else ""
    where = f", in {'line' if len(lines) == 1 else 'lines'} {', '.join(named)}{more}" if named else ""
    return printable(f"... and {len(findings)} more of the same rule ({rule}){where}; --json tells all of them")


def _finding_text(found: Finding, stream: TextIO) -> str:
    place = f"{printable(str(found.where))}: " if found.where else ""
    word = in_severity(severity_word(found.severity), found.severity, stream)
    lines = [f"{place}{word}: {printable(found.text)} ({found.rule})"]
    if found.where and found.where.quoted.strip():
        lines += _quotation(found.where.quoted, found.where.column, stream)
    if found.fix:
        lines.append(f"    hint: {printable(found.fix)}")
    return "\n".join(lines)


def _quotation(quoted: str, column: int, stream: TextIO) -> list[str]:
    """The line without its indentation, and a caret below ``column``; a long line is cut around it."""
    indent = min(len(quoted) - len(quoted.lstrip()), column - 1)
    text, at = quoted[indent:], column - 1 - indent
    if len(text) > QUOTE_WIDTH:
        start = max(0, min(at - QUOTE_WIDTH // 2, len(text) - QUOTE_WIDTH))
        text, at = text[start : start + QUOTE_WIDTH], at - start
    shown = printable(text)
    return [f"      {shown.rstrip()}", f"      {' ' * width(shown[:at])}{painted('^', '1;31', stream)}"]


def printable(text: str) -> str:
    """``text`` on one line and harmless to a terminal, letter for letter; a tab becomes one space."""
    return "".join(letter if letter.isprintable() else " " if letter == "\t" else "·" for letter in text)


def width(text: str) -> int:
    """How many columns ``text`` takes on a terminal: wide letters two, marks that combine with another none."""
    return sum(0 if category(letter) in ("Mn", "Me") else 1 + (east_asian_width(letter) in "WF") for letter in text)


def table(heads: Sequence[str], rows: Iterable[Sequence[str]], *, left: Iterable[int] = (0,)) -> str:
    """A plain table with aligned columns: those in ``left`` to the left, the others to the right."""
    cells = [list(heads), *(list(row) for row in rows)]
    to_left = set(left)
    widths = [max(width(row[column]) for row in cells) for column in range(len(heads))]

    def line(row: Sequence[str]) -> str:
        parts = []
        for column, (cell, most) in enumerate(zip(row, widths, strict=True)):
            gap = " " * (most - width(cell))
            parts.append(cell + gap if column in to_left else gap + cell)
        return "  ".join(parts).rstrip()

    return "\n".join([line(cells[0]), "  ".join("-" * most for most in widths), *map(line, cells[1:])])


def figure(value: float | None, digits: int = 3) -> str:
    """A number with fixed decimals, or ``-`` where there is none."""
    return "-" if value is None else f"{value:.{digits}f}"


def verdict(holds: bool, text: str, stream: TextIO) -> str:
    """The last line of an answer."""
    return painted("holds", "1;32", stream) + f": {text}" if holds else painted("broken", "1;31", stream) + f": {text}"


def command(*words: object) -> str:
    """A command line that can be copied into a shell, whatever letters a path has and wherever the program lies."""
    return shlex.join([*_program(), *map(str, words)])


def _program() -> Sequence[str]:
    if shutil.which("busdesign"):
        return ["busdesign"]
    return [sys.argv[0]] if Path(sys.argv[0]).stem == "busdesign" else [sys.executable, "-m", "busdesign"]


def typed(file: str) -> str:
    """A file's name as it is typed on a command line, where one that begins with a dash would be an option."""
    return f"./{file}" if file.startswith("-") else file


def about_rules(findings: Sequence[Finding]) -> list[str]:
    """The command that explains the gravest of ``findings``, the first of those; none if there are no findings."""
    gravest = sorted(findings, key=lambda found: list(Severity).index(found.severity))[:1]
    return [command("explain", found.rule) for found in gravest]


def next_steps(*commands: str) -> str:
    """Commands that can be copied, to go on from here."""
    return "\n".join(["", "next:", *(f"  {command}" for command in commands)])
