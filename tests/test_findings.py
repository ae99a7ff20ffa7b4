"""Findings: their order, the gravest of them, what is quoted, and hints for a word that is not one of those allowed."""

import pytest

from busdesign.errors import BusdesignError, CatalogueError, InputError
from busdesign.findings import (
    Finding,
    Place,
    Severity,
    counted,
    did_you_mean,
    error,
    nearest,
    printable,
    shown,
    sort_findings,
)


def at(line: int, column: int, rule: str = "r", text: str = "t", file: str = "a.yaml") -> Finding:
    return error(rule, Place(file, line, column), text)


def test_order_by_place_then_rule_then_text() -> None:
    nowhere = Finding("a", Severity.ADVICE, None, "t")
    ordered = [
        at(2, 1), at(2, 1, text="u"), at(2, 1, rule="s"), at(2, 9), at(10, 1), at(1, 1, file="b.yaml"), nowhere,
    ]  # fmt: skip
    assert list(sort_findings(reversed(ordered))) == ordered


def test_what_is_said_twice_of_one_place_is_kept_once() -> None:
    assert sort_findings([at(1, 1), at(1, 2), at(1, 1)]) == (at(1, 1), at(1, 2))


def test_place_as_text() -> None:
    assert str(Place("dir/a.yaml", 12, 3, "quoted")) == "dir/a.yaml:12:3"


def test_an_error_carries_its_findings_in_order() -> None:
    refused = CatalogueError([at(2, 1, text="second"), at(1, 1, text="first")])
    assert isinstance(refused, InputError)
    assert isinstance(refused, BusdesignError)
    assert [finding.text for finding in refused.findings] == ["first", "second"]
    assert str(refused) == "first; second"


@pytest.mark.parametrize(
    ("wrong", "hint"),
    [
        ("panl", "did you mean `panel`?"),
        ("PANEL", "did you mean `panel`?"),
        ("strut-left", "did you mean `strut_left`?"),
        ("wheel", "allowed: `panel`, `strut_left`, `Radar`"),
        ("radar", "did you mean `Radar`?"),
        ("", "allowed: `panel`, `strut_left`, `Radar`"),
    ],
)
def test_hint_for_a_wrong_word(wrong: str, hint: str) -> None:
    assert did_you_mean(wrong, ["panel", "strut_left", "Radar"]) == hint


def test_hint_for_a_word_that_begins_several() -> None:
    words = ["crc8-j1850", "crc8-2f", "crc16-ccitt", "CRC8-x"]
    assert did_you_mean("crc8", words) == "did you mean `crc8-j1850`, `crc8-2f` or `CRC8-x`?"
    assert did_you_mean("crc1", words) == "did you mean `crc16-ccitt`?"
    assert did_you_mean("leg", ["leg_left", "Leg", "leg_right"]) == "did you mean `Leg`?"


def test_hint_of_many_and_of_none() -> None:
    assert did_you_mean("zz", [f"node{n}" for n in range(5)], most=2) == "allowed: `node0`, `node1` ... (5 in all)"
    assert did_you_mean("zz", []) == ""
    assert nearest("zz", []) is None


@pytest.mark.parametrize(
    ("found", "quoted"),
    [
        (None, "nothing"),
        (True, "`true`"),
        (1.5, "`1.5`"),
        ("word", "`word`"),
        ("x" * 60, f"`{'x' * 60}`"),
        ("x" * 61, f"`{'x' * 57}...`"),
        ({}, "a mapping"),
        ((1,), "a list"),
        pytest.param(-(10**4999), "a number of more than 60 digits", id="5000 digits"),
    ],
)
def test_what_was_found_as_it_is_quoted(found: object, quoted: str) -> None:
    assert shown(found) == quoted


def test_texts_are_one_line_and_harmless_to_a_terminal() -> None:
    assert printable("Flügel \u2603") == "Flügel \u2603"
    assert printable("a\nb\x1b[31m\u2028") == r"a\nb\x1b[31m\u2028"
    assert error("r", Place("f", 1, 1), "a\tb", "c\rd").text == r"a\tb"


def test_counting() -> None:
    assert [counted(number, "bit") for number in (0, 1, 2)] == ["0 bits", "1 bit", "2 bits"]
