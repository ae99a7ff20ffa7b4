"""The guide's page of rules, ``docs/rules.md``: every card in Markdown, made by ``busdesign explain --page``."""

from collections.abc import Sequence
from typing import TYPE_CHECKING

from busdesign.cli.text import severity_word

if TYPE_CHECKING:
    from busdesign.card_file import Card

_HEAD = """\
# The rules

Every finding ends with the name of its rule, as in `(signal-overlap)`. Here is what each rule asks for, and why;
`busdesign explain signal-overlap` prints one of them. An *error* means that the input cannot be used (exit status 2), a
*broken promise* that the bus does not keep what the catalogue says (1), an *advice* that something is worth a look (0).

Of the examples only what matters is shown: the rest of the catalogue or of the scenario is as it should be. The boards
and figures in them are invented.

This page is made by `busdesign explain --page`; what it says stands in `busdesign/cards/`, a file for each rule.
"""


def rules_page(cards: "Sequence[Card]") -> str:
    """The page: the rules in groups, a chapter each."""
    from busdesign.answers.explain import grouped

    groups = grouped(cards)
    contents = [
        f"- {title}: " + ", ".join(f"[`{card.rule}`](#{card.rule})" for card in found) for title, found in groups
    ]
    chapters = [
        "\n".join([f"## {title[:1].upper()}{title[1:]}\n", *(_chapter(card) for card in found)])
        for title, found in groups
    ]
    return "\n".join([_HEAD, *contents, "", *chapters]).rstrip("\n") + "\n"


def _chapter(card: "Card") -> str:
    doors = "wherever the file is read" if card.shown_by == ("reading",) else f"by {', '.join(card.shown_by)}"
    language = "text" if card.example == "words" else "yaml"
    return "\n".join(
        [
            f"### {card.rule}",
            "",
            f"*{severity_word(card.severity)}, shown {doors}*",
            "",
            card.what,
            "",
            card.why,
            "",
            *_fenced("Wrong", card.bad, language),
            *_fenced("Right", card.good, language),
            f"Source: {card.source}",
            "",
        ]
    )


def _fenced(title: str, example: str, language: str) -> list[str]:
    return [f"{title}:", "", f"```{language}", example, "```", ""]
