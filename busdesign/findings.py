"""What a check has to say, and where: places in a file, findings, and their order.

A finding is data, not text on a screen: the command line, the report and ``--json`` print the same ones.
"""

from collections.abc import Iterable
from dataclasses import dataclass, field
from enum import StrEnum

from busdesign.words import vocabulary

_SHOWN_CHARACTERS = 60  # of what was found; the place shows the rest


class Severity(StrEnum):
    """How bad a finding is, which also decides the exit status."""

    ERROR = "error"  # the input is wrong: exit 2
    BROKEN = "broken"  # a promise does not hold: exit 1
    ADVICE = "advice"  # worth a look: exit 0


@dataclass(frozen=True, slots=True, order=True)
class Place:
    """A spot in a text file; ``line`` and ``column`` count from 1. ``quoted`` is that line of the file."""

    file: str
    line: int
    column: int
    quoted: str = field(default="", compare=False)

    def __str__(self) -> str:
        return f"{self.file}:{self.line}:{self.column}"


@dataclass(frozen=True, slots=True, order=True)
class Edit:
    """``new`` in place of ``old`` in one line of a text file; ``line`` and ``column`` count from 1, as in a Place."""

    file: str
    line: int
    column: int
    old: str
    new: str


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing a check found: the rule's name, how bad it is, where, what, and what would mend it.

    ``edit`` is there only where it is certain what was meant: it makes of the file what it was to say, and no more.
    """

    rule: str
    severity: Severity
    where: Place | None
    text: str
    fix: str = ""
    edit: Edit | None = field(default=None, compare=False, repr=False, metadata={"json": False})


class Refused(ValueError):
    """A value that cannot be used: ``text`` says what was found and is allowed, ``fix`` what would mend it.

    ``meant`` is the value as it ought to be written, where it can be only one; else "".
    """

    def __init__(self, text: str, fix: str = "", meant: str = "") -> None:
        super().__init__(f"{text}; {fix}" if fix else text)
        self.text = text
        self.fix = fix
        self.meant = meant


def error(rule: str, where: Place, text: str, fix: str = "", edit: Edit | None = None) -> Finding:
    """A finding that makes the input unusable."""
    return Finding(rule, Severity.ERROR, where, printable(text), printable(fix), edit)


def printable(text: str) -> str:
    """``text`` on one line and harmless to a terminal: line ends and control characters are spelt out."""
    if text.isprintable():
        return text
    return "".join(sign if sign.isprintable() else sign.encode("unicode_escape").decode() for sign in text)


def shown(found: object) -> str:
    """What was found in a file, as a message quotes it: a scalar in backticks, a long one shortened."""
    if found is None:
        return "nothing"
    if isinstance(found, dict):
        return "a mapping"
    if isinstance(found, list | tuple):
        return "a list"
    if isinstance(found, int) and abs(found) >= 10**_SHOWN_CHARACTERS:  # Python may refuse to spell it out
        return f"a number of more than {_SHOWN_CHARACTERS} digits"
    text = printable(str(found).lower() if isinstance(found, bool) else str(found)[: _SHOWN_CHARACTERS + 1])
    return f"`{text if len(text) <= _SHOWN_CHARACTERS else text[: _SHOWN_CHARACTERS - 3] + '...'}`"


def counted(number: int, thing: str) -> str:
    """``1 bit``, ``2 bits``."""
    return f"{number} {thing}" if number == 1 else f"{number} {thing}s"


def sort_findings(findings: Iterable[Finding]) -> tuple[Finding, ...]:
    """By place (those without one last), then by rule and text; what is said twice of one place is kept once."""
    return tuple(sorted(dict.fromkeys(findings), key=_order))


def _order(found: Finding) -> tuple[bool, str, int, int, str, str]:
    where = found.where or Place("", 0, 0)
    return found.where is None, where.file, where.line, where.column, found.rule, found.text


def nearest(wrong: object, allowed: Iterable[str]) -> str | None:
    """The allowed word that looks most like ``wrong``, for a hint, or None if none is close."""
    return vocabulary(allowed).nearest(str(wrong)[:_SHOWN_CHARACTERS].lower())


def did_you_mean(wrong: object, allowed: Iterable[str], *, most: int = 8) -> str:
    """A hint for a word that is not one of ``allowed``: those that it begins, the nearest one, or the list of them."""
    words = tuple(allowed)
    begun = [f"`{word}`" for word in vocabulary(words).begun_with(str(wrong).lower())]
    if 0 < len(begun) <= most:
        return f"did you mean {' or '.join([', '.join(begun[:-1])] * (len(begun) > 1) + begun[-1:])}?"
    close = nearest(wrong, words)
    if close:
        return f"did you mean `{close}`?"
    if not words:
        return ""
    more = f" ... ({len(words)} in all)" if len(words) > most else ""
    return "allowed: " + ", ".join(f"`{word}`" for word in words[:most]) + more
