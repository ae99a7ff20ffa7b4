"""What a rule asks for, and why: its card, or the cards of all rules."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from busdesign.answers.plain import without_facts
from busdesign.card_file import Card, all_cards
from busdesign.errors import InputError
from busdesign.findings import Finding, Severity, did_you_mean, shown

_TITLES = {
    ("reading", "catalogue"): "reading a catalogue",
    ("reading", "scenario"): "reading a scenario",
    ("reading", "words"): "reading any file",
    ("check", ""): "does it fit the bus",
    ("compile", ""): "the DBC database",
    ("simulate", ""): "a run",
    ("audit", ""): "a capture from the bench",
    ("any command", ""): "the program itself",
}


@dataclass(frozen=True, slots=True)
class ExplainAnswer:
    """The cards asked for. A rule that does not exist is raised, so ``holds`` is always true."""

    cards: tuple[Card, ...]
    findings: tuple[Finding, ...] = ()
    holds: bool = True


def explain(rule: str | None = None) -> ExplainAnswer:
    """The card of ``rule``, or all cards by name. Raises InputError if there is no such rule."""
    cards = all_cards()
    if rule is None:
        return ExplainAnswer(cards)
    found = tuple(known for known in cards if known.rule == rule)
    if not found:
        text, fix = f"there is no rule {shown(rule)}", did_you_mean(rule, [known.rule for known in cards])
        raise InputError([Finding("no-such-rule", Severity.ERROR, None, text, fix)])
    return ExplainAnswer(found)


def refused(findings: Sequence[Finding]) -> dict[str, Any]:
    """The shape of ``explain --json`` where there is no such rule."""
    return without_facts(ExplainAnswer, findings)


def grouped(cards: Iterable[Card]) -> list[tuple[str, list[Card]]]:
    """The cards under a title for each door that shows them, in the order in which a project meets the doors."""
    groups: dict[str, list[Card]] = {title: [] for title in _TITLES.values()}
    for known in cards:
        door = known.shown_by[0]
        title = _TITLES.get((door, known.example if door == "reading" else ""), f"`busdesign {door}`")
        groups.setdefault(title, []).append(known)
    return [(title, found) for title, found in groups.items() if found]
