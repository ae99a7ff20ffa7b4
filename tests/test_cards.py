"""Rule cards: every rule has one, what it shows is so, and it can be read on screen, as JSON and in the guide."""

import re
from collections.abc import Iterable
from pathlib import Path

import pytest

from busdesign.answers.explain import explain, grouped
from busdesign.card_file import Card, all_cards
from busdesign.findings import Finding, Severity
from busdesign.findings import printable as spelt_out
from tests.card_examples import findings_of
from tests.cli.conftest import here as here
from tests.cli.running import CHECKOUT, Here
from tests.rule_names import rule_names

CARDS = all_cards()
TRIED = [card for card in CARDS if card.example != "words"]

# What cannot be shown alone: if the messages ask for more than the bus has, one of them has no bound.
ALONG = {
    "bus-overloaded": {"no-bound"},
    "no-bound": {"bus-overloaded"},
    "transmit-overrun": {"no-bound"},
}


def named(cards: list[Card] | tuple[Card, ...]) -> pytest.MarkDecorator:
    return pytest.mark.parametrize("card", cards, ids=[card.rule for card in cards])


def test_every_rule_of_the_code_has_a_card_and_every_card_a_rule() -> None:
    rules = rule_names()
    assert {"signal-overlap", "leading-zero", "capture-format", "model-duty", "wrong-unit", "counter"} <= set(rules)
    lacking = {rule: place for rule, place in rules.items() if rule not in {card.rule for card in CARDS}}
    assert lacking == {}, "write busdesign/cards/RULE.yaml; busdesign/cards/README.md says how"
    assert [card.rule for card in CARDS if card.rule not in rules] == []


@named(TRIED)
def test_the_examples_differ_by_this_finding_and_no_other(card: Card, tmp_path: Path) -> None:
    wrong = findings_of(card, card.bad, tmp_path / "wrong")
    right = findings_of(card, card.good, tmp_path / "right")
    assert {found.severity for found in wrong if found.rule == card.rule} == {card.severity}
    assert card.rule not in {found.rule for found in right}
    assert grave(right) == set(), "the right example can be used, and keeps its promises"
    assert grave(wrong) - {card.rule} <= ALONG.get(card.rule, set())
    if card.severity is Severity.ADVICE:  # of errors and broken promises, so much is different that advice may be too
        assert {found.rule for found in wrong} - {found.rule for found in right} == {card.rule}


def grave(findings: Iterable[Finding]) -> set[str]:
    return {found.rule for found in findings if found.severity is not Severity.ADVICE}


@named(CARDS)
def test_a_card_is_short_and_plain(card: Card) -> None:
    for sentence in (card.what, card.why):
        assert "\n" not in sentence
        assert sentence.endswith((".", ".)"))
        assert sentence.count("`") % 2 == 0
    assert 1 <= len(re.findall(r"[.?](?= [A-Z`]|$)", card.why)) <= 3
    assert len(card.what) <= 160
    assert max(map(len, (card.bad + "\n" + card.good).split("\n"))) <= 110
    assert card.bad != card.good
    assert card.source


@named(CARDS)
def test_a_card_is_printed_whole(here: Here, card: Card) -> None:
    ran = here("explain", card.rule)
    assert (ran.status, ran.err) == (0, "")
    assert ran.out.startswith(f"{card.rule}: ")
    words = " ".join(ran.out.split())
    for text in (card.what, card.why, card.bad, card.good, card.source):
        assert " ".join(spelt_out(text.replace("\n", " ")).split()) in words
    assert here("explain", card.rule, "--json").answer == {
        "cards": [
            {
                "rule": card.rule,
                "severity": card.severity.value,
                "shown_by": list(card.shown_by),
                "what": card.what,
                "why": card.why,
                "example": card.example,
                "bad": card.bad,
                "good": card.good,
                "source": card.source,
            }
        ],
        "findings": [],
        "holds": True,
    }


def test_without_a_rule_all_are_listed_once(here: Here) -> None:
    ran = here("explain")
    assert (ran.status, ran.err) == (0, "")
    for card in CARDS:
        assert len(re.findall(rf"^  {card.rule}  +\S", ran.out, re.MULTILINE)) == 1
    assert [card for _, group in grouped(CARDS) for card in group].__len__() == len(CARDS)
    assert len(here("explain", "--json").answer["cards"]) == len(CARDS)


def test_a_rule_that_is_none(here: Here) -> None:
    ran = here("explain", "signal-overlop")
    assert (ran.status, ran.out) == (2, "")
    assert "there is no rule `signal-overlop` (no-such-rule)\n    hint: did you mean `signal-overlap`?" in ran.err
    answer = here("explain", "signal-overlop", "--json").answer
    assert (answer["cards"], answer["holds"], answer["findings"][0]["rule"]) == ([], False, "no-such-rule")
    ran = here("explain", "\x1b[31m")
    assert ran.status == 2
    assert "\x1b" not in ran.err


def test_the_guides_page_is_current(here: Here) -> None:
    page = here("explain", "--page").out
    assert (CHECKOUT / "docs" / "rules.md").read_text(encoding="utf-8") == page, (
        "run `busdesign explain --page > docs/rules.md`"
    )
    for card in explain().cards:
        assert f"\n### {card.rule}\n" in page
    assert "(rules.md)" in (CHECKOUT / "docs" / "guide.md").read_text(encoding="utf-8")


def test_a_check_ends_with_the_rule_of_its_gravest_finding(
    here: Here, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    text = "catalogue: tried\nbus: {bit_rate: 250 kbit/s}\nnodes: {panel: {}}\nmessages:\n"
    advised = "  a: {id: 1, from: panel, every: 10 ms, lost_after: 15 ms}\n"
    cases = {
        "errors": ("  m: {id: 0x900, from: panel, every: 1 s}\n", 2, r"error: .* \((identifier-out-of-range)\)\n"),
        "broken": (advised + "  m: {from: panel, every: 1 s}\n", 1, r"broken promise: .* \((no-identifier)\)\n"),
        "advice": (advised, 0, r"advice: .* \((\S+)\)\n"),
    }
    for name, (messages, status, pattern) in cases.items():
        Path(f"{name}.yaml").write_text(text + messages)
        ran = here("check", f"{name}.yaml")
        assert ran.status == status
        said = ran.err if status == 2 else ran.out
        first, step = re.search(pattern, said), re.search(r"\n\nnext:\n  \S.* explain (\S+)\n", said)
        assert first
        assert step
        assert step[1] == first[1]
        assert here("explain", step[1]).status == 0
    assert "next:" not in here("check", "errors.yaml", "--json").err
