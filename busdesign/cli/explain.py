"""``busdesign explain``: what a rule asks for, why, and how it is done right."""

import argparse
import sys
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from busdesign.cli.exits import HOLDS

if TYPE_CHECKING:
    from busdesign.card_file import Card
    from busdesign.findings import Finding

EPILOG = """exit status: 0 explained, 2 there is no such rule

example: busdesign explain deadline-missed"""

_WIDTH = 100


def add_to(commands: Any) -> None:
    """Add this command to the command line."""
    about = "what a rule asks for, why, and an example of wrong and right; without RULE, all rules in a line each"
    parser = commands.add_parser("explain", help="what a rule asks for, and why", description=about, epilog=EPILOG)
    parser.add_argument("rule", metavar="RULE", nargs="?", help="the name at the end of a finding, such as no-timing")
    parser.add_argument("--page", action="store_true", help="all rules as one page of Markdown")
    parser.add_argument("--json", action="store_true", help="the answer as JSON on stdout")
    parser.set_defaults(answer=answer, refused=_refused)


def answer(given: argparse.Namespace) -> int:
    """Print the card, or all of them; return the exit status."""
    from busdesign.answers.explain import explain
    from busdesign.cli.output import say

    found = explain(given.rule)
    if given.json:
        from busdesign.cli.json_output import print_json

        print_json(found)
    elif given.page:
        from busdesign.cli.rules_page import rules_page

        say(rules_page(found.cards).rstrip("\n"))
    elif given.rule is None:
        from busdesign.cli.text import next_steps

        say(list_text(found.cards))
        say(next_steps(_example(found.cards)))
    else:
        say("\n".join(card_text(card) for card in found.cards))
    return HOLDS


def _example(cards: "Sequence[Card]") -> str:
    from busdesign.cli.text import command

    return command("explain", cards[0].rule)


def list_text(cards: "Sequence[Card]") -> str:
    """All rules for people, in groups: name and what it asks."""
    from busdesign.answers.explain import grouped
    from busdesign.cli.text import in_severity

    name_width = max(len(card.rule) for card in cards) + 2
    lines: list[str] = []
    for title, group in grouped(cards):
        lines += [*([""] if lines else []), f"{title}:"]
        for card in group:
            first, *others = _wrapped(card.what, _WIDTH - name_width)
            gap = " " * (name_width - len(card.rule))
            lines.append(f"  {in_severity(card.rule, card.severity, sys.stdout)}{gap}{first}")
            lines += [" " * (name_width + 2) + other for other in others]
    return "\n".join(lines)


def card_text(card: "Card") -> str:
    """One card for people."""
    from busdesign.cli.text import in_severity, severity_word

    doors = "wherever the file is read" if card.shown_by == ("reading",) else f"by {' and '.join(card.shown_by)}"
    word = in_severity(severity_word(card.severity), card.severity, sys.stdout)
    return "\n".join(
        [
            f"{card.rule}: {word}, shown {doors}",
            "",
            *_wrapped(card.what),
            "",
            *_wrapped(card.why),
            "",
            *_indented("wrong", card.bad),
            "",
            *_indented("right", card.good),
            "",
            *_wrapped(f"source: {card.source}"),
        ]
    )


def _indented(title: str, example: str) -> list[str]:
    from busdesign.cli.text import printable

    return [f"{title}:", *(f"    {printable(line)}".rstrip() for line in example.split("\n"))]


def _wrapped(text: str, width: int = _WIDTH) -> list[str]:
    from textwrap import wrap

    return wrap(text, width, break_long_words=False, break_on_hyphens=False)


def _refused(findings: "Sequence[Finding]") -> Any:
    from busdesign.answers.explain import refused

    return refused(findings)
