"""Mending: the very original text comes back, or the text is left as it is; never a third one that means something."""

import re
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from busdesign.catalogue.mending import Mended, mended
from busdesign.catalogue.reader import parse_catalogue
from busdesign.errors import CatalogueError
from busdesign.findings import Finding

DEMO = (Path(__file__).parents[2] / "messages" / "saltmarsh.yaml").read_text(encoding="utf-8")
# Invented; laid out as people do, so that whatever is not mended can be seen to stay as it was.
ODD = """\
# \u00a9 nobody: drawn up by hand
catalogue:   tried     # its name

bus:  {bit_rate: 250 kbit/s,   sample_point: 87.5 %, harness: {termination: 120 ohm} }
nodes:
    panel:  {clock: 16 MHz , tolerance: 50 ppm}
    strut_left:  {tolerance: 0.3 %}
    strut_right:
        tolerance: 0.3 %   # as bought

codes:
    lamp: {0: dark, 1: "red", 2: 'green'}
    way:
      0: stay
      1: up
messages:

  demand:
    "id": 0x110
    from: panel   # it gives the orders
    to:
    - strut_left
    - strut_right
    every: 50 ms
    deadline: 10 ms
    lost_after:   200 ms
    moves: true
    byte_order: big
    signals: {
      way: {bits: 2, codes: way},
      height: {bits: 12, factor: 0.05, offset: -20, range: [0, 100], unit: '%'},
      check:  {bits: 8, crc: crc8-j1850} }

  lamps:
    id: 0x300
    from: panel
    to: strut_left
    every: 200 ms
    offset: 11 ms
    signals:
      left:  {bits: 2, codes: lamp}
      right: {bits: 2, codes: lamp, comment: "id:0x300, fctor: 0,5"}

  report:
    for_each: {side: [left, right], id: [0x210, 0x211],
               from: [strut_left, strut_right]}
    to: panel
    irregular: {at_least_apart: 100 ms}
    extended: true
    signals: {cycles: {bits: 16}}
    comment: 'of the {side} side'
"""
HEAD = "catalogue: tried\nbus: {bit_rate: 250 kbit/s}\nnodes: {panel: {}, strut: {}}\n"


def findings_of(text: str) -> tuple[Finding, ...]:
    try:
        parse_catalogue(text, "tried.yaml")
    except CatalogueError as refused:
        return refused.findings
    return ()


def after(text: str) -> Mended:
    return mended(text, "tried.yaml")


def messages(*lines: str, head: str = HEAD) -> str:
    return head + "messages:\n" + "".join(f"  {line}\n" for line in lines)


def signals(*written: str, head: str = HEAD) -> str:
    return messages(f"report: {{id: 1, from: panel, every: 10 ms, signals: {{{', '.join(written)}}}}}", head=head)


RESTORED = {
    "a letter too few": ("deadline: 10 ms", "dealine: 10 ms"),
    "a letter too many": ("lost_after: ", "lost_affter: "),
    "neighbours swapped": ("offset: 11", "offste: 11"),
    "another letter": ("at_least_apart", "at_laast_apart"),
    "another case": ("comment: 'of", "Comment: 'of"),
    "a dash": ("sample_point", "sample-point"),
    "a short key": ("to:\n    -", "too:\n    -"),
    "a key in quotes": ('"id": 0x110', '"idd": 0x110'),
    "a key of a family": ("irregular", "iregular"),
    "a family": ("for_each", "for_eahc"),
    "a list of a family": ("from: [strut_left", "form: [strut_left"),
    "all messages": ("\nmessages:", "\nmesages:"),
    "all codes": ("\ncodes:", "\ncdoes:"),
    "a sender": ("from: panel   #", "from: panle   #"),
    "a receiver among others": ("- strut_right", "- strut-right"),
    "codes": ("left:  {bits: 2, codes: lamp}", "left:  {bits: 2, codes: lmap}"),
    "a check": ("crc8-j1850", "crrc8-j1850"),
    "a byte order": ("byte_order: big", "byte_order: bigg"),
    "yes": ("moves: true", "moves: yes"),
    "a truth misspelt": ("extended: true", "extended: ture"),
    "a number in quotes": ("id: 0x300", "id: '0x300'"),
    "a number of a list in quotes": ("range: [0, 100]", 'range: [0, "100"]'),
    "a whole number with a point": ("bits: 16}", "bits: 16.0}"),
    "a code in quotes": ("{0: dark", "{'0': dark"),
    "a decimal comma in braces": ("factor: 0.05", "factor: 0,05"),
    "a decimal comma of a quantity in braces": ("left:  {tolerance: 0.3 %", "left:  {tolerance: 0,3 %"),
    "a decimal comma in a line of its own": ("tolerance: 0.3 %   #", "tolerance: 0,3 %   #"),
    "a unit in another case": ("250 kbit/s", "250 KBit/s"),
    "a unit in capitals": ("120 ohm", "120 OHM"),
    "no space after a colon": ("from: panel\n", "from:panel\n"),
    "no space in braces": ("{bits: 12,", "{bits:12,"),
    "no space after a code": ("{bits: 2, codes: way}", "{bits: 2, codes:way}"),
}


@pytest.mark.parametrize("what", RESTORED)
@pytest.mark.parametrize("line_end", ["\n", "\r\n"])
def test_one_mistake(what: str, line_end: str) -> None:
    good, bad = RESTORED[what]
    assert ODD.count(good) == 1
    original, text = (written.replace("\n", line_end) for written in (ODD, ODD.replace(good, bad)))
    assert findings_of(text) != ()
    found = after(text)
    assert found.text == original
    assert found.dropped == ()
    assert len(found.made) == 1


def test_all_of_them_at_once() -> None:
    text = ODD
    for good, bad in RESTORED.values():
        text = text.replace(good, bad)
    found = after(text)
    assert found.text == ODD
    assert len(found.made) == len(RESTORED)


SHAPES = {
    "in quotes": (messages('report: {"evry": 1 s, from: panel}'), '"evry"', '"every"'),
    "behind an anchor": (messages("report: {moves: &m yes, every: 1 s, from: panel}"), "&m yes", "&m true"),
    "by an alias": (
        messages("a: {id: 1, moves: &m yes, every: 1 s, from: panel}", "b: {moves: *m, every: 1 s, from: strut}"),
        "yes",
        "true",
    ),
    "by a merge": (
        messages("a: &a {id: 1, evry: 1 s, from: panel}", "b: {<<: *a, id: 2, comment: b}"),
        "evry",
        "every",
    ),
    "a number as a name": (signals("s: {bits: 8}").replace("tried", "2.50"), "2.50", "'2.50'"),
    "a word in braces": (
        messages("m: {for_each: {n: [panel, strut], from: [panel, strut]}, every: 1 s, comment: {n}}"),
        "{n}",
        "'{n}'",
    ),
    "mega": (signals("s: {bits: 8}").replace("250 kbit/s", "1 MBIT/S"), "1 MBIT/S", "1 Mbit/s"),
    "a comma in quotes": (signals("s: {bits: 8, factor: '0,5'}"), "'0,5'", "0.5"),
    "one mistake behind the other": (
        signals("s: {bits: 8}").replace("250 kbit/s", "'250,0 kBit/s'"),
        "250,0 kBit/s",
        "250.0 kbit/s",
    ),
    "two in one word": (messages("m: {every: 1 s, from: panel, to:strut}"), "to:strut", "to: strut"),
    "letters beyond ASCII before it": (signals("s: {comment: 'ÄÖ\U0001f600', bits: 8, fctor: 2}"), "fctor", "factor"),
}  # fmt: skip


@pytest.mark.parametrize("what", SHAPES)
def test_as_it_is_written(what: str) -> None:
    text, bad, good = SHAPES[what]
    found = after(text)
    assert found.text == text.replace(bad, good, 1)
    assert findings_of(found.text) == ()


# Two readings, or a wrong one that would read: these are left to a person, whatever the hint says.
LEFT = {
    "a leading zero": ODD.replace("id: 0x300", "id: 0300"),
    "a leading zero before an eight": ODD.replace("id: 0x300", "id: 0800"),
    "a leading zero before a nine": signals("s: {bits: 09}"),
    "a range upside down": ODD.replace("[0, 100]", "[100, 0]"),
    "a comma that may set off thousands": ODD.replace("every: 200 ms", "every: 1,500 ms"),
    "milli or mega": ODD.replace("every: 200 ms", "every: 200 MS"),
    "milli for mega": ODD.replace("16 MHz", "16 mHz"),
    "no unit": ODD.replace("every: 200 ms", "every: 200"),
    "not extended": ODD.replace("0x210, 0x211", "0x210, 0x8110").replace("extended: true", "extended: false"),
    "a node that is misspelt where it is given": ODD.replace("  panel: ", "  pannel: "),
    "codes that are misspelt where they are given": ODD.replace("  lamp: ", "  lmap: "),
    "codes that nothing else uses": ODD.replace("codes: way", "codes: wya"),
    "a node used as often wrongly as rightly": messages(
        "a: {id: 1, from: strutt, every: 1 s}",
        "b: {id: 2, from: strutt, every: 1 s}",
        "c: {id: 3, from: strut, every: 1 s}",
    ),
    "a node of another number": messages(
        "a: {id: 1, from: leg_1, every: 1 s}",
        "b: {id: 2, from: leg_2, every: 1 s}",
        head=HEAD.replace("panel", "leg_1"),
    ),
    "a node of another letter": messages(
        "a: {id: 1, from: leg_a, every: 1 s}",
        "b: {id: 2, from: leg_b, every: 1 s}",
        head=HEAD.replace("panel", "leg_a"),
    ),
    "a node between two": messages(
        "a: {id: 1, from: leg_lr, to: leg_rr, every: 1 s}",
        "b: {id: 2, from: leg_rl, every: 1 s}",
        head=HEAD.replace("panel", "leg_lr").replace("strut", "leg_rr"),
    ),
    "a key that is there already": messages("m: {id: 1, idd: 2, from: panel, every: 1 s}"),
    "a check of another number": ODD.replace("crc8-j1850", "crc8-j1580"),
    "a word of a code": signals("s: {bits: 1, codes: {0: off, 1: open}, initial: opne}"),
    "a tab": ODD.replace("\n    id: 0x300", "\n\tid: 0x300"),
    "octal in quotes": signals("s: {bits: '010'}"),
    "a text where a number is wanted": signals("s: {bits: twelve}"),
    "a colon in a text": ODD.replace("# it gives", ": it gives"),
}  # fmt: skip


@pytest.mark.parametrize("what", LEFT)
def test_what_may_have_been_meant_otherwise_is_left(what: str) -> None:
    text = LEFT[what]
    assert text != ODD
    assert findings_of(text) != ()
    found = after(text)
    assert (found.text, found.made, found.dropped) == (text, (), ())


NARROW = "m: {id: 1, from: panel, every: 1 s, signals: {s: {bits: 1, codes: lmap}}}"
LAMP = HEAD + "codes: {lamp: {0: dark, 1: red, 2: green}}\n"


def lamps(codes: str, numbers: range) -> list[str]:
    return [
        f"m{at}: {{id: {at}, from: panel, every: 1 s, signals: {{s: {{bits: 2, codes: {codes}}}}}}}" for at in numbers
    ]


def test_an_edit_that_brings_another_mistake_is_dropped() -> None:
    text = messages(NARROW, *lamps("lamp", range(5, 6)), head=LAMP)
    found = after(text)
    assert (found.text, found.made) == (text, ())
    [mend] = found.dropped
    assert (mend.edit.old, mend.edit.new) == ("lmap", "lamp")
    assert mend.why_not == "then code 2 (`green`) is outside `s`, in whose 1 bit 0 to 1 fit (line 6)"


def test_one_that_is_dropped_spoils_no_other() -> None:
    right, wrong = lamps("lamp", range(10, 18)), lamps("lmap", range(20, 24))
    found = after(messages(*wrong[:2], NARROW, *wrong[2:], *right, head=LAMP))
    assert found.text == messages(
        *lamps("lamp", range(20, 22)), NARROW, *lamps("lamp", range(22, 24)), *right, head=LAMP
    )
    assert (len(found.made), len(found.dropped)) == (4, 1)


def test_what_comes_to_light_is_no_fault_of_the_edit() -> None:
    text = messages("m:", "  id: 1", "  form: panel", "  evry: 1 s", "  signals: {s: {bits: 8, range: [9, 3]}}")
    found = after(text)
    assert found.text == text.replace("form", "from").replace("evry", "every")
    assert [left.rule for left in findings_of(found.text)] == ["range-upside-down"]
    found = after(text.replace("bits", "bist"))
    assert [mend.edit.old for mend in found.dropped] == ["bist"]
    assert found.dropped[0].why_not == "then the range of `s` runs from 9 down to 3 (line 9)"


def test_mistakes_for_which_yaml_cannot_read_on() -> None:
    lines = [
        line for number in range(1, 9) for line in (f"m{number}:", f"  id:{number}", "  from:panel", "  every: 1 s")
    ]
    text = messages(*lines).replace("from:panel", "from: panel")
    found = after(text)
    assert found.text == re.sub(r"id:(\d)", r"id: \1", text)
    assert len(found.made) == 8


def test_each_edit_speaks_of_the_text_that_those_before_it_left() -> None:
    text = signals("s: {bits: '12', fctor: 0,1, sgined: yes, rnage: ['0', 9]}", "t: {bits:3}")
    found = after(text)
    lines = text.split("\n")
    for mend in found.made:
        edit, line = mend.edit, lines[mend.edit.line - 1]
        assert line[edit.column - 1 :].startswith(edit.old)
        lines[edit.line - 1] = line[: edit.column - 1] + edit.new + line[edit.column - 1 + len(edit.old) :]
    assert "\n".join(lines) == found.text
    assert found.text == signals("s: {bits: 12, factor: 0.1, signed: true, range: [0, 9]}", "t: {bits: 3}")


def test_a_family_reports_a_word_several_times_and_it_is_mended_once() -> None:
    text = ODD.replace("{bits: 16}", "{bits: '16'}")
    assert {found.where for found in findings_of(text)} == {findings_of(text)[0].where}
    found = after(text)
    assert found.text == ODD
    assert len(found.made) == 1


def test_a_file_that_is_included_is_left_and_named(tmp_path: Path) -> None:
    main, part = tmp_path / "main.yaml", tmp_path / "part.yaml"
    text = HEAD + "include: part.yaml\nmessages:\n  m: {id: 1, from: panel, evry: 1 s}\n"
    part.write_text("messages:\n  n:\n    id: 2\n    from: strut\n    evry: 1 s\n")
    found = mended(text, str(main))
    assert found.text == text.replace("evry", "every")
    [left] = found.dropped
    assert (left.edit.file, left.edit.line, left.edit.new) == (str(part), 5, "every")
    assert left.why_not == f"`{main}` includes that file, which is mended when it is named itself"
    alone = part.read_text(encoding="utf-8")
    assert mended(alone, str(part)).text == alone.replace("evry", "every")


def test_nothing_to_do() -> None:
    assert after(DEMO) == Mended(DEMO, (), ())


WORDS = [
    found
    for found in re.finditer(r"[\w.%/-]+", DEMO)
    if "#" not in DEMO[DEMO.rfind("\n", 0, found.start()) + 1 : found.start()]  # nobody reads a comment
]


@st.composite
def slips(draw: st.DrawFn) -> str:
    """The demo with one letter of one word dropped, doubled, or swapped with the next."""
    word = draw(st.sampled_from(WORDS))
    at = draw(st.integers(word.start(), word.end() - 1))
    kind = draw(st.sampled_from(["drop", "double", "swap"]))
    if kind == "drop":
        return DEMO[:at] + DEMO[at + 1 :]
    if kind == "double":
        return DEMO[:at] + DEMO[at] + DEMO[at:]
    at = min(at, word.end() - 2) if word.end() - word.start() > 1 else at
    return DEMO[:at] + DEMO[at : at + 2][::-1] + DEMO[at + 2 :]


@settings(max_examples=60, deadline=None)
@given(slips())
def test_a_slip_of_a_finger_is_mended_or_left(text: str) -> None:
    found = after(text)
    if found.text != text:
        assert found.text == DEMO  # and so the same frozen catalogue, letter for letter
        assert found.made != ()
    else:
        assert found.made == ()


@settings(max_examples=20, deadline=None)
@given(slips(), st.sampled_from([("every: ", "evry: "), ("deadline: ", "daedline: "), ("moves: true", "moves: yes")]))
def test_beside_a_slip_another_mistake_is_mended_all_the_same(text: str, mistake: tuple[str, str]) -> None:
    good, bad = mistake
    found = after(text.replace(good, bad, 1))
    if findings_of(found.text) == ():  # what reads is the demo, or the demo with a slip that reads as well
        assert found.text in (DEMO, text)
