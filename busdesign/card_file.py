"""Rule cards: for each name that a finding can bear, what the rule asks, why, and an example of wrong and right.

One YAML file a card in ``busdesign/cards/``, read when asked; ``busdesign/cards/README.md`` says what the keys hold.
"""

from dataclasses import dataclass, fields
from functools import cache
from importlib.resources import files
from typing import Any

from busdesign.findings import Severity

EXAMPLES = ("catalogue", "scenario", "model", "words")


@dataclass(frozen=True, slots=True)
class Card:
    """What there is to know of one rule.

    ``severity`` is that of its findings, where the first door of ``shown_by`` shows them. ``example`` says what
    ``bad`` and ``good`` are: fragments of a ``catalogue`` or of a ``scenario`` in YAML, the ``model`` of a node in
    Python, or ``words``.
    """

    rule: str
    severity: Severity
    shown_by: tuple[str, ...]
    what: str
    why: str
    example: str
    bad: str
    good: str
    source: str


_KEYS = tuple(known.name for known in fields(Card))


@cache
def all_cards() -> tuple[Card, ...]:
    """Every card, by the rule's name. Raises ValueError for a file of ours that is not as it should be."""
    found = (file for file in files("busdesign").joinpath("cards").iterdir() if file.name.endswith(".yaml"))
    return tuple(sorted(map(_read, found), key=lambda known: known.rule))


def card(rule: str) -> Card:
    """The card of ``rule``. Raises KeyError if there is no such rule."""
    return {known.rule: known for known in all_cards()}[rule]


def _read(file: Any) -> Card:
    import yaml

    written = yaml.load(file.read_text(encoding="utf-8"), Loader=getattr(yaml, "CSafeLoader", yaml.SafeLoader))
    if not isinstance(written, dict) or set(written) != set(_KEYS):
        raise ValueError(f"cards/{file.name}: a card has the keys {', '.join(_KEYS)}")
    if f"{written['rule']}.yaml" != file.name:
        raise ValueError(f"cards/{file.name}: the card of `{written['rule']}` stands in a file of another name")
    if not isinstance(written["shown_by"], list) or not written["shown_by"]:
        raise ValueError(f"cards/{file.name}: `shown_by` is a list of doors")
    if written["example"] not in EXAMPLES:
        raise ValueError(f"cards/{file.name}: `example` is one of {', '.join(EXAMPLES)}")
    texts = {key: str(written[key]).rstrip("\n") for key in ("what", "why", "bad", "good", "source")}
    return Card(
        rule=written["rule"],
        severity=Severity(written["severity"]),
        shown_by=tuple(written["shown_by"]),
        example=written["example"],
        **texts,
    )
