"""What a DBC file cannot be made of is refused, all of it at once, with its place."""

from dataclasses import replace

import cantools
import pytest
from cantools.database.errors import UnsupportedDatabaseFormatError

from busdesign.catalogue.model import Catalogue
from busdesign.catalogue.reader import parse_catalogue
from busdesign.errors import CatalogueError
from busdesign.export.dbc import render
from busdesign.export.dbc_database import dump
from busdesign.export.dbc_refusals import KEYWORDS
from busdesign.findings import Severity

CATALOGUE = """
catalogue: {name}
comment: {catalogue_comment}
bus: {{bit_rate: 250 kbit/s}}
nodes:
  one: {{comment: {node_comment}}}
  {node}: {{}}
codes:
  state: {{0: {code}}}
messages:
  {message}:
    comment: {message_comment}
    from: one
    {identifier}
    every: 5 ms
    signals:
      {signal}: {{bits: 8, unit: {unit}, comment: {signal_comment}, codes: {codes}}}
"""
USUAL = {
    "name": "bench",
    "node": "two",
    "code": "nil",
    "message": "m",
    "identifier": "id: 1",
    "signal": "s",
    "unit": "A",
    "codes": "state",
    "catalogue_comment": "c",
    "node_comment": "n",
    "message_comment": "m",
    "signal_comment": "s",
}


def catalogue_with(**different: str) -> Catalogue:
    return parse_catalogue(CATALOGUE.format(**{**USUAL, **different}))


def refused(catalogue: Catalogue) -> list[str]:
    with pytest.raises(CatalogueError) as raised:
        render(catalogue)
    assert {finding.severity for finding in raised.value.findings} == {Severity.ERROR}
    return [f"{finding.where}: {finding.rule}: {finding.text}" for finding in raised.value.findings]


def test_the_usual_catalogue_is_not_refused() -> None:
    assert 'BO_ 1 m: 1 one\r\n SG_ s : 0|8@1+ (1,0) [0|0] "A" ' in render(catalogue_with()).text


def test_message_without_identifier() -> None:
    without = catalogue_with(identifier="offset: 1 ms")
    assert refused(without) == [
        "catalogue.yaml:11:3: dbc-no-identifier: `m` has no identifier, and a message in DBC is known by it"
    ]


@pytest.mark.parametrize("word", sorted(KEYWORDS))
def test_keyword_as_a_name(word: str) -> None:
    for what, where in (("node", "7:3"), ("message", "11:3"), ("signal", "17:7")):
        (finding,) = refused(catalogue_with(**{what: word}))
        text = f"the {what} `{word}` has the name of a DBC keyword"
        assert finding.startswith(f"catalogue.yaml:{where}: dbc-name: {text}")


def test_keyword_that_would_be_written_could_not_be_read() -> None:
    """The reason for the rule above: the dump passes, and the reader stumbles."""
    with pytest.raises(UnsupportedDatabaseFormatError):
        cantools.database.load_string(dump(catalogue_with(signal="FILTER")), "dbc")


@pytest.mark.parametrize("what", ["node", "message", "signal"])
@pytest.mark.parametrize("word", ["Vector__XXX", "VECTOR__INDEPENDENT_SIG_MSG"])
def test_placeholder_as_a_name(what: str, word: str) -> None:
    (finding,) = refused(catalogue_with(**{what: word}))
    assert f"the {what} `{word}` has the name by which DBC says" in finding


def test_names_that_would_become_one() -> None:
    catalogue = catalogue_with()
    message = catalogue.messages[0]
    twins = tuple(replace(message, name=name, identifier=2 + index) for index, name in enumerate(("a-b", "a.b")))
    with pytest.raises(CatalogueError) as raised:
        render(replace(catalogue, messages=twins))
    assert [finding.fix for finding in raised.value.findings] == ["write `a_b`", "write `a_b`"]


@pytest.mark.parametrize(
    ("part", "where", "whose"),
    [
        ("name", "1:1", "the catalogue's name"),
        ("catalogue_comment", "1:1", "the catalogue's comment"),
        ("node_comment", "6:3", "the comment of `one`"),
        ("code", "1:1", "code 0 of `state`"),
        ("message_comment", "12:14", "the comment of `m`"),
        ("unit", "17:7", "the unit of `m.s`"),
        ("signal_comment", "17:7", "the comment of `m.s`"),
    ],
)
def test_text_that_dbc_cannot_hold(part: str, where: str, whose: str) -> None:
    assert refused(catalogue_with(**{part: "kΩ"})) == [
        f"catalogue.yaml:{where}: dbc-text: {whose} holds `Ω` (U+03A9), which DBC's Windows-1252 does not have"
    ]
    (at_the_end,) = refused(catalogue_with(**{part: '"back\\\\"'}))
    assert f"{whose} ends in a backslash" in at_the_end
    (control,) = refused(catalogue_with(**{part: '"a\\x01b"'}))
    assert f"{whose} holds the control character U+0001" in control
    if not part.endswith("comment"):
        (broken,) = refused(catalogue_with(**{part: '"a\\nb"'}))
        assert f"{whose} holds a line break" in broken


def test_code_of_one_signal_only() -> None:
    assert refused(catalogue_with(codes="{3: 中}")) == [
        "catalogue.yaml:17:7: dbc-text: code 3 of `m.s` holds `中` (U+4E2D), which DBC's Windows-1252 does not have"
    ]


def test_hint_spells_the_letter_out() -> None:
    with pytest.raises(CatalogueError) as raised:
        render(catalogue_with(unit="kΩ"))
    assert raised.value.findings[0].fix == "write `ohm`"


def test_everything_is_said_at_once() -> None:
    findings = refused(catalogue_with(identifier="offset: 1 ms", unit="Ω", node="BU_", signal_comment="λ"))
    assert len(findings) == 4


def test_letter_in_a_family_is_said_once() -> None:
    family = """
catalogue: bench
bus: {bit_rate: 250 kbit/s}
nodes: {one: {}, two: {}}
messages:
  m:
    for_each: {id: [1, 2], from: [one, two]}
    comment: Δ
    every: 5 ms
    signals: {s: {bits: 8, unit: Ω}}
"""
    comment, unit = refused(parse_catalogue(family))
    assert comment.startswith("catalogue.yaml:8:14: dbc-text: the comment of `m` holds `Δ`")
    assert unit.startswith("catalogue.yaml:10:15: dbc-text: the unit of `m.s` holds `Ω`")
