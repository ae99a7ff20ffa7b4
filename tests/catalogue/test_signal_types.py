"""Signal types: keys that signals share, what goes before, and mistakes told once, where they were made."""

import pytest

from busdesign.catalogue.draft import SignalWritten
from busdesign.catalogue.model import Catalogue
from busdesign.catalogue.reader import parse_catalogue
from busdesign.catalogue.signal_types import SignalTypeWritten
from busdesign.errors import CatalogueError
from busdesign.findings import Finding

HEAD = "catalogue: tried\nbus: {bit_rate: 250 kbit/s}\nnodes: {panel: {}, strut: {}}\n"
PERCENT = "signal_types: {percent: {bits: 12, factor: 0.05, unit: '%', range: [0, 100], comment: shared}}\n"


def with_signals(types: str, signals: str, rest: str = "") -> str:
    return f"{HEAD}{types}messages:\n  report: {{id: 0x100, from: panel, every: 1 s, {rest}signals: {{{signals}}}}}\n"


def read(types: str, signals: str, rest: str = "") -> Catalogue:
    return parse_catalogue(with_signals(types, signals, rest))


def refused(text: str) -> tuple[Finding, ...]:
    with pytest.raises(CatalogueError) as raised:
        parse_catalogue(text, "tried.yaml")
    return raised.value.findings


def sole(text: str) -> tuple[Finding, str]:
    """The only finding, and the text of the file from its place on."""
    (found,) = refused(text)
    assert found.where is not None
    return found, text.split("\n")[found.where.line - 1][found.where.column - 1 :]


def test_the_keys_of_the_type_hold_unless_the_signal_has_its_own() -> None:
    report = read(PERCENT, "a: {type: percent}, b: {type: percent, bits: 11, range: [0, 50], comment: own}").messages[0]
    a, b = report.signal("a"), report.signal("b")
    assert (a.length_bits, a.factor, a.unit, a.minimum, a.maximum, a.comment) == (12, 0.05, "%", 0, 100, "shared")
    assert (b.length_bits, b.factor, b.unit, b.minimum, b.maximum, b.comment) == (11, 0.05, "%", 0, 50, "own")
    assert (b.start_bit, report.length_bytes) == (12, 3)


def test_the_same_catalogue_as_written_out() -> None:
    written_out = "bits: 12, factor: 0.05, unit: '%', range: [0, 100], comment: shared"
    assert read(PERCENT, "a: {type: percent, initial: 5}") == read("", f"a: {{{written_out}, initial: 5}}")


def test_where_each_key_is_written() -> None:
    signal = read(PERCENT, "a: {type: percent, bits: 11, range: [0, 50]}").messages[0].signal("a")
    lines = {key: signal.place_of(key) for key in ("bits", "factor", "unit", "type", "range")}
    assert {key: place and place.line for key, place in lines.items()} == {
        "bits": 6,
        "factor": 4,
        "unit": 4,
        "type": 6,
        "range": 6,
    }


@pytest.mark.parametrize("key", sorted((known.alias or name) for name, known in SignalWritten.model_fields.items()))
def test_a_type_may_have_every_key_but_a_type(key: str) -> None:
    keys = {known.alias or name for name, known in SignalTypeWritten.model_fields.items()}
    assert key in keys
    found = refused(with_signals(f"signal_types: {{t: {{{key}: {{a: []}}}}}}\n", "s: {bits: 1}"))
    assert {finding.rule for finding in found} == {"wrong-value"}
    assert any("cannot have a type itself" in finding.text for finding in found) == (key == "type")


def test_families_and_their_words() -> None:
    types = "signal_types: {percent: {bits: 12, comment: 'how far the {leg} leg is'}}\n"
    report = "{for_each: {leg: [nose, left], id: [1, 2]}, from: panel, every: 1 s, signals: {at: {type: percent}}}"
    catalogue = parse_catalogue(f"{HEAD}{types}messages:\n  report: {report}\n")
    assert [message.signal("at").comment for message in catalogue.messages] == [
        "how far the nose leg is",
        "how far the left leg is",
    ]
    assert [message.name for message in catalogue.messages] == ["report_nose", "report_left"]


def test_signals_that_for_each_gives_to_single_members() -> None:
    each = "{from: [panel, strut], id: [1, 2], signals: [{a: {type: percent}}, {a: {type: percent, bits: 13}}]}"
    text = f"{HEAD}{PERCENT}messages:\n  m: {{for_each: {each}, every: 1 s}}\n"
    assert [message.signal("a").length_bits for message in parse_catalogue(text).messages] == [12, 13]
    found, there = sole(text.replace("bits: 12", "bits: 9"))
    assert (found.rule, there[:10]) == ("range-out-of-reach", "[0, 100], ")
    assert "`percent`" in found.text


def test_an_unknown_word_in_a_type_is_told_at_the_family() -> None:
    types = "signal_types: {percent: {bits: 12, comment: 'the {legg} leg'}}\n"
    report = "{for_each: {leg: [nose, left], id: [1, 2]}, from: panel, every: 1 s, signals: {at: {type: percent}}}"
    found = refused(f"{HEAD}{types}messages:\n  report: {report}\n")
    assert {finding.rule for finding in found} == {"for-each"}
    assert any("did you mean `leg`?" in finding.fix for finding in found)


@pytest.mark.parametrize(
    ("kind", "fix"),
    [
        ("precent", "did you mean `percent`?"),
        ("zzz", "allowed: `percent`"),
        ("'{leg}'", "the name of a type holds no word of `for_each`"),
    ],
)
def test_no_such_type(kind: str, fix: str) -> None:
    found, there = sole(with_signals(PERCENT, f"s: {{type: {kind}}}, t: {{bits: 3}}"))
    assert found.rule == "unknown-type"
    assert found.fix == fix
    assert there.startswith(kind)
    assert (found.edit is not None) == (kind == "precent")


def test_no_types_at_all() -> None:
    found, _ = sole(with_signals("", "s: {type: percent, bits: 3}"))
    assert (found.rule, found.fix) == ("unknown-type", "write it under `signal_types` at the top of the file")


def test_the_other_mistakes_of_a_message_whose_type_is_unknown() -> None:
    found = refused(with_signals(PERCENT, "s: {type: precent, fcator: 2}, t: {bits: 99}"))
    assert [finding.rule for finding in found] == ["unknown-type", "unknown-key", "wrong-value"]


@pytest.mark.parametrize(
    ("kind", "rule", "at", "text"),
    [
        ("{bits: twelve}", "wrong-value", "twelve", "type `t`: expected a whole number, found `twelve`"),
        ("{bits: 2, fcator: 5}", "unknown-key", "fcator", "type `t`: unknown key `fcator`"),
        ("{bits: 2, unit: }", "wrong-value", "unit", "type `t`: `unit` has nothing behind it"),
        ("12", "wrong-value", "12", "type `t`: expected a mapping such as `{key: value}`, found `12`"),
        ("{type: u}", "wrong-value", "u", "type `t`: a type cannot have a type itself, found `u`"),
        ("{bits: 2, bits: 3}", "duplicate-key", "bits: 3", "the key `bits` stands here a second time"),
    ],
)
@pytest.mark.parametrize("users", [0, 1, 3])
def test_a_broken_type_is_told_once(kind: str, rule: str, at: str, text: str, users: int) -> None:
    signals = ", ".join(["s: {bits: 2}", *(f"s{number}: {{type: t}}" for number in range(users))])
    found, there = sole(with_signals(f"signal_types: {{u: {{bits: 1}}, t: {kind}}}\n", signals))
    assert (found.rule, there[: len(at)]) == (rule, at)
    assert found.text.startswith(text)


def test_what_contradicts_itself_only_in_a_signal_is_told_once_too() -> None:
    found, there = sole(with_signals(PERCENT.replace("12", "9"), "a: {type: percent}, b: {type: percent}"))
    assert (found.rule, there[:9]) == ("range-out-of-reach", "[0, 100],")
    assert found.text.startswith("type `percent`: `a`")
    assert parse_catalogue(with_signals(PERCENT.replace("12", "9"), "a: {type: percent, bits: 12}")).messages


def test_bits_are_missing_only_if_neither_has_them() -> None:
    types = "signal_types: {percent: {unit: '%'}}\n"
    assert read(types, "s: {type: percent, bits: 7}").messages[0].signal("s").unit == "%"
    found, there = sole(with_signals(types, "s: {type: percent}"))
    assert (found.rule, there[:2]) == ("missing-key", "s:")


@pytest.mark.parametrize("types", ["5", "[percent]", ""])
def test_signal_types_that_are_no_mapping(types: str) -> None:
    found = refused(with_signals(f"signal_types: {types}\n", "s: {type: percent}"))
    assert "wrong-value" in {finding.rule for finding in found}


@pytest.mark.parametrize("kind", ["5", "[percent]", "", "{a: 1}", "true"])
def test_a_type_that_is_no_name(kind: str) -> None:
    found, _ = sole(with_signals(PERCENT, f"s: {{type: {kind}}}"))
    assert found.rule == "wrong-value"


def test_a_type_that_the_file_says_only_once() -> None:
    """An alias and a type at once: both names lead to the same lines."""
    types = "signal_types: {percent: &p {bits: 200}, angle: *p}\n"
    found, there = sole(with_signals(types, "a: {type: percent}, b: {type: angle}"))
    assert (found.rule, there[:3]) == ("wrong-value", "200")


def test_many_signals_of_one_broken_type() -> None:
    messages = "".join(
        f"  m{number}: {{id: {number}, from: panel, every: 1 s, signals: {{s: {{type: t}}}}}}\n"
        for number in range(500)
    )
    found, _ = sole(f"{HEAD}signal_types: {{t: {{bits: 8, range: [0, 300]}}}}\nmessages:\n{messages}")
    assert found.rule == "range-out-of-reach"
