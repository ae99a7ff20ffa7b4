"""What a check has to say, and where: places in a file, findings, and their order.

A finding is data, not text on a screen: the command line, the report and ``--json`` print the same ones.
"""

from collections.abc import Iterable
from dataclasses import dataclass, field
from difflib import get_close_matches
from enum import StrEnum


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


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing a check found: the rule's name, how bad it is, where, what, and what would mend it."""

    rule: str
    severity: Severity
    where: Place | None
    text: str
    fix: str = ""


def sort_findings(findings: Iterable[Finding]) -> tuple[Finding, ...]:
    """By place (those without one last), then by rule and text; what is said twice of one place is kept once."""
    unique = dict.fromkeys(findings)
    nowhere = Place("\uffff", 0, 0)
    return tuple(sorted(unique, key=lambda found: (found.where or nowhere, found.rule, found.text)))


def worst_severity(findings: Iterable[Finding]) -> Severity | None:
    """The gravest severity among ``findings``, or None if there are none."""
    present = {found.severity for found in findings}
    return next((severity for severity in Severity if severity in present), None)


def nearest(wrong: object, allowed: Iterable[str]) -> str | None:
    """The allowed word that looks most like ``wrong``, for a hint, or None if none is close."""
    close = get_close_matches(str(wrong), list(allowed), n=1, cutoff=0.6)
    return close[0] if close else None


def did_you_mean(wrong: object, allowed: Iterable[str], *, most: int = 8) -> str:
    """A hint for a word that is not one of ``allowed``: the nearest one, else the list of them."""
    words = list(allowed)
    close = nearest(wrong, words)
    if close:
        return f"did you mean `{close}`?"
    if not words:
        return ""
    more = f" ... ({len(words)} in all)" if len(words) > most else ""
    return "allowed: " + ", ".join(f"`{word}`" for word in words[:most]) + more
