"""Random pages, floats, constants and words through a DBC file and back; and the pages that it cannot carry."""

from dataclasses import replace
from fractions import Fraction
from random import Random

import cantools
import pytest
from cantools.database.can import Database
from cantools.database.errors import UnsupportedDatabaseFormatError
from hypothesis import given, settings
from hypothesis import strategies as st

from busdesign.catalogue.model import Bus, Catalogue, Message, Node
from busdesign.catalogue.reader import parse_catalogue
from busdesign.errors import CatalogueError
from busdesign.export.dbc import render
from busdesign.export.dbc_database import dump
from tests.catalogue.paged_layouts import paged_messages
from tests.export.reading import load, same_frames, same_meaning

HEAD = "catalogue: x\nbus: {bit_rate: 1 Mbit/s}\nnodes: {a: {}}\nmessages:\n"
LONG = "a_selector_with_a_name_that_is_too_long"


@settings(max_examples=50)
@given(paged_messages(signed_selectors=False), st.integers(0, 2**32))
def test_random_pages_mean_and_speak_the_same(message: Message, seed: int) -> None:
    bus = Bus(Fraction(250_000), Fraction(7, 8))
    catalogue = Catalogue("random", 1, bus, {"a": Node("a")}, (replace(message, deadline_ns=10**7),))
    loaded = load(catalogue)
    same_meaning(catalogue, loaded)
    same_frames(catalogue, loaded, 30, Random(seed))


# --- what is refused, and why: written all the same, it reads back as something else


def catalogue_of(signals: str, rest: str = "") -> Catalogue:
    return parse_catalogue(f"{HEAD}  m: {{id: 1, from: a, every: 1 ms, bytes: 8, {rest} signals: {{{signals}}}}}\n")


def refused(catalogue: Catalogue) -> list[str]:
    with pytest.raises(CatalogueError) as raised:
        render(catalogue)
    return [f"{finding.where}: {finding.rule}: {finding.text}; {finding.fix}" for finding in raised.value.findings]


def read_anyway(catalogue: Catalogue) -> Database:
    loaded = cantools.database.load_string(dump(catalogue), "dbc", strict=True)
    assert isinstance(loaded, Database)
    return loaded


def test_page_below_0() -> None:
    catalogue = catalogue_of("p: {bits: 4, signed: true}, q: {bits: 3, when: {p: [1, -1]}}")
    (told,) = refused(catalogue)
    assert told == (
        "catalogue.yaml:5:104: dbc-multiplexing: `m.q` is selected by a number below 0 (-1), which DBC cannot spell; "
        "leave `signed` out of `p`, and count its pages from 0"
    )
    with pytest.raises(UnsupportedDatabaseFormatError):
        read_anyway(catalogue)


def test_selector_with_a_long_name() -> None:
    catalogue = catalogue_of(f"{LONG}: {{bits: 4}}, q: {{bits: 3, when: {{{LONG}: 0}}}}")
    (told,) = refused(catalogue)
    assert told == (
        f"catalogue.yaml:5:57: dbc-multiplexing: the selector `m.{LONG}` has 39 letters; "
        "DBC cuts it, and its pages lose their selector; give it at most 32 letters"
    )
    assert read_anyway(catalogue).messages[0].decode(bytes(8)) == {LONG: 0}, "`q` is gone"


@pytest.mark.parametrize("key", ["factor: 2", "offset: 1"])
def test_selector_with_a_factor_or_an_offset(key: str) -> None:
    catalogue = catalogue_of(f"p: {{bits: 4, {key}}}, q: {{bits: 3, when: {{p: 1}}}}, r: {{bits: 3, when: {{p: 2}}}}")
    (told,) = refused(catalogue)
    assert "dbc-multiplexing: the selector `m.p` has a factor or an offset" in told
    decoded = read_anyway(catalogue).messages[0].decode(b"\1" + bytes(7))
    assert set(decoded) == {"p", "r"}, "it should be `q`"


def test_long_names_of_selected_signals_and_beside_a_selector_that_is_like_them() -> None:
    stem = LONG[:27]
    catalogue = catalogue_of(
        f"{stem}_0000: {{bits: 4}}, {LONG}: {{bits: 3, when: {{{stem}_0000: 0}}}}, "
        f"{LONG}_x: {{bits: 2, when: {{{stem}_0000: [0, 5]}}}}, {stem}: {{bits: 2, when: {{{stem}_0000: 5}}}}, "
        f"low: {{bits: 3, when: {{{stem}: 1}}}}"
    )
    loaded = load(catalogue)
    same_meaning(catalogue, loaded)
    assert min(same_frames(catalogue, loaded, 200, Random(3))) > 50


def test_page_number_beyond_32_bits() -> None:
    catalogue = catalogue_of("p: {bits: 33}, q: {bits: 3, when: {p: 4294967296}}, r: {bits: 3, when: {p: [0, 7]}}")
    loaded = load(catalogue)
    same_meaning(catalogue, loaded)


def test_tag_with_a_comma_and_one_that_dbc_cannot_spell() -> None:
    with_comma, foreign = refused(catalogue_of("s: {bits: 1}", 'tags: ["a,b", "Ω"],'))
    assert "the tag `a,b` of `m` holds a comma, which in DBC ends a tag" in with_comma
    assert "the tag `Ω` of `m` holds `Ω` (U+03A9)" in foreign


def test_reserved_bits_and_remote_requests_may_have_any_name() -> None:
    catalogue = parse_catalogue(
        f"{HEAD.replace('{a: {}}', '{a: {}, b: {}}')}"
        "  m: {id: 1, from: a, irregular: {at_least_apart: 1 s}, signals: {BO_: {bits: 3, reserved: true}}}\n"
        "  SG_: {requests: m, from: b, every: 1 s}\n"
    )
    assert [message.name for message in load(catalogue).messages] == ["m"]
