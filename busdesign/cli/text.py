"""Text for people: findings with their line and caret, a table, figures; the same with and without colour."""

import os
from collections.abc import Iterable, Sequence
from typing import TextIO

from busdesign.findings import Finding, Severity

_COLOURS = {Severity.ERROR: "1;31", Severity.BROKEN: "1;31", Severity.ADVICE: "1;33"}
_WORDS = {Severity.ERROR: "error", Severity.BROKEN: "broken promise", Severity.ADVICE: "advice"}
QUOTE_WIDTH = 110


def in_colour(stream: TextIO) -> bool:
    """Whether ``stream`` is a terminal that wants colour (``NO_COLOR`` says no)."""
    return stream.isatty() and not os.environ.get("NO_COLOR")


def painted(text: str, colour: str, stream: TextIO) -> str:
    """``text`` in an ANSI ``colour`` if ``stream`` wants it."""
    return f"\x1b[{colour}m{text}\x1b[0m" if in_colour(stream) else text


def findings_text(findings: Iterable[Finding], stream: TextIO) -> str:
    """Each finding: place, severity, text and rule; the line it stands in, with a caret; the hint."""
    return "\n\n".join(_finding_text(found, stream) for found in findings)


def _finding_text(found: Finding, stream: TextIO) -> str:
    place = f"{found.where}: " if found.where else ""
    word = painted(_WORDS[found.severity], _COLOURS[found.severity], stream)
    lines = [f"{place}{word}: {printable(found.text)} ({found.rule})"]
    if found.where and found.where.quoted.strip():
        lines += _quotation(found.where.quoted, found.where.column, stream)
    if found.fix:
        lines.append(f"    hint: {printable(found.fix)}")
    return "\n".join(lines)


def _quotation(quoted: str, column: int, stream: TextIO) -> list[str]:
    """The line without its indentation, and a caret below ``column``; a long line is cut around it."""
    indent = len(quoted) - len(quoted.lstrip())
    text, at = quoted[indent:], max(column - 1 - indent, 0)
    if len(text) > QUOTE_WIDTH:
        start = max(0, min(at - QUOTE_WIDTH // 2, len(text) - QUOTE_WIDTH))
        text, at = text[start : start + QUOTE_WIDTH], at - start
    shown = printable(text.rstrip())
    return [f"      {shown}", f"      {' ' * at}{painted('^', '1;31', stream)}"]


def printable(text: str) -> str:
    """``text`` without control characters: a file must not be able to write to the terminal."""
    return "".join(letter if letter.isprintable() else "·" for letter in text)


def table(heads: Sequence[str], rows: Iterable[Sequence[str]], *, left: Iterable[int] = (0,)) -> str:
    """A plain table with aligned columns: those in ``left`` to the left, the others to the right."""
    cells = [list(heads), *(list(row) for row in rows)]
    to_left = set(left)
    widths = [max(len(row[column]) for row in cells) for column in range(len(heads))]

    def line(row: Sequence[str]) -> str:
        parts = [
            cell.ljust(width) if column in to_left else cell.rjust(width)
            for column, (cell, width) in enumerate(zip(row, widths, strict=True))
        ]
        return "  ".join(parts).rstrip()

    return "\n".join([line(cells[0]), "  ".join("-" * width for width in widths), *map(line, cells[1:])])


def figure(value: float | None, digits: int = 3) -> str:
    """A number with fixed decimals, or ``-`` where there is none."""
    return "-" if value is None else f"{value:.{digits}f}"


def verdict(holds: bool, text: str, stream: TextIO) -> str:
    """The last line of an answer."""
    return painted("holds", "1;32", stream) + f": {text}" if holds else painted("broken", "1;31", stream) + f": {text}"


def next_steps(*commands: str) -> str:
    """Commands that can be copied, to go on from here."""
    return "\n".join(["", "next:", *(f"  {command}" for command in commands)])
