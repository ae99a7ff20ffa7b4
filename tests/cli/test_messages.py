"""Broken catalogues and scenarios: place, text, the line with a caret under the guilty word, a hint, nothing touched.

In each case ``«`` marks the guilty word; it is taken out before the file is written.
"""

import re
from pathlib import Path

import pytest

from tests.cli.projects import Gate
from tests.cli.running import Here, Ran

CATALOGUES = {
    "bits: 2, codes: order": (
        "bits: 2, codes: «ordr",
        "there are no codes called `ordr` (unknown-codes)",
        "did you mean `order`?",
    ),
    "every: 50 ms\n    deadline: 10 ms": (
        "every: «50\n    deadline: 10 ms",
        "`50` has no unit (wrong-unit)",
        "`50 ms`",
    ),
    "id: 0x210": ("id: «0x110", "identifier 0x110 belongs to `demand` (line 10) already", "0x111 is free"),
    "id: 0x120": ("id: «0x820", "identifier 0x820 has 12 bits", "add `extended: true` for 29 bits"),
    "deadline: 10 ms": ("«deadlin: 10 ms", "unknown key `deadlin` (unknown-key)", "did you mean `deadline`?"),
    "from: motor": ("from: «moter", "there is no node `moter` (unknown-node)", "did you mean `motor`?"),
    "bits: 12": ("bits: «120", "`120` is out of range: at most 64 is allowed (wrong-value)", "length in bits, 1 to 64"),
    "range: [0, 100]}\n  alarm": (
        "range: «[0, 1000]}\n  alarm",
        "`speed` is 8 bits and reaches 0 to 255, but its range goes from 0 to 1000",
        "`bits: 10` would reach it",
    ),
    "250 kbit/s": ("«250 kbaud", "`250 kbaud` is not a bit rate", "allowed: `bit/s`, `kbit/s`, `Mbit/s`"),
    "{0: stay, 1: up": ("{0: stay, «0: up", "the key `0` stands here a second time", "rename or remove one of the two"),
    "at_least_apart: 100 ms": (
        "at_least_apart: «0 ms",
        "`0 ms` must be longer than zero",
        "write a time such as `50 ms`",
    ),
    "bits: 4": ("bits: 4, crc: «crc9", "no check is called `crc9`", "did you mean"),
    "level: {bits: 4}": (
        "level: {bits: 4\n  report2«: {}",
        "the mapping begun in line 24 wants a `,` or a `}`",
        "look for a missing quote, bracket or colon here",
    ),
    "    signals:\n      level": (
        "«\tsignals:\n      level",
        "a value cannot begin with this",
        "YAML indents with spaces, never with tabs",
    ),
    "0.3 %": ("«\u001b[31m", "the control character U+001B may not stand in a YAML file", "is it a text file?"),
}
SCENARIOS = {
    "run_for: 1 s": ("run_for: «1", "`1` has no unit (wrong-unit)", "a duration is written like `50 ms`"),
    "panel.switch: down": ("«panel.swich: down", "there is no `panel.swich`", "did you mean `panel.switch`?"),
    "switch: down": ("switch: «donw", "`panel.switch` is never `donw`", "did you mean `down`?"),
    "set: {panel.switch: down}": ("set: {«panel.lamp: red}", "`panel.lamp` cannot be set", ""),
    "node: motor": ("node: «moter", "there is no node `moter`", "did you mean `motor`?"),
    "kind: silent": ("kind: «silence", "there is no kind of fault `silence`", "did you mean `silent`?"),
    "at: 100 ms": ("at: «100 s", "`at: 100 s` is beyond the run, which ends at 1 s", "run for longer"),
    "until: 800 ms": ("until: «200 ms", "the fault ends at 200 ms, but begins at 300 ms", ""),
    "lamp == red": ("lamp == «rde", "`panel.lamp` is never `rde`", "did you mean `red`?"),
    "panel.lamp ==": ("panel.lamp «=", "expected a comparison, `and`, `or` or the end, found `=`", "write `==`"),
    "then: panel.lamp": ("then: «panel.lmp", "there is no `panel.lmp`", "did you mean `panel.lamp`?"),
    "after: motor.silent": ("after: «moto.silent", "there is no `moto.silent`", "did you mean `motor`?"),
    "after: motor.silent, within: 300 ms": ("«after: motor.silent", "`after` needs `within`", "add `within: 300 ms`"),
    "motor.silent, ": ("report.position > «ten, ", "`>` orders numbers; `ten` is none", "use `==` or `!=` here"),
    "../../messages/gate.yaml": ("«../../messages/gat.yaml", "there is no catalogue", "did you mean `gate.yaml`?"),
    "expect:": ("«expects:", "unknown key `expects`", "did you mean `expect`?"),
}


def put(gate: Gate, file: Path, old: str, marked: str) -> tuple[int, int]:
    """Write the broken file; line and column of the mark."""
    gate.edit(file, old, marked)
    before, _, after = file.read_text(encoding="utf-8").partition("«")
    file.write_text(before + after, encoding="utf-8")
    line, column = before.count("\n") + 1, len(before) - before.rfind("\n")
    assert (before + after).splitlines()[line - 1][column - 1 :]
    return line, column


def assert_pointed_at(ran: Ran, file: str, line: int, column: int) -> None:
    """The first finding names that place, and its caret stands under it."""
    first, quoted, caret = ran.err.splitlines()[:3]
    assert first.startswith(f"{file}:{line}:{column}: error: "), first
    written = Path(file).read_text(encoding="utf-8").splitlines()[line - 1].replace("\t", " ")
    guilty = "".join(letter if letter.isprintable() else "·" for letter in written[column - 1 :])
    assert caret.strip() == "^"
    assert quoted[caret.index("^") :].rstrip() == guilty.rstrip()


@pytest.mark.parametrize("old", CATALOGUES)
def test_a_broken_catalogue(gate: Gate, here: Here, old: str) -> None:
    assert here("compile", "messages/gate.yaml", "-o", "out").status == 0
    marked, text, hint = CATALOGUES[old]
    line, column = put(gate, gate.catalogue, old, marked)
    before = gate.files()
    for words in (["check", "messages/gate.yaml"], ["compile", "messages/gate.yaml", "-o", "out"]):
        ran = here(*words)
        assert (ran.status, ran.out) == (2, "")
        assert_pointed_at(ran, "messages/gate.yaml", line, column)
        assert text in ran.err.splitlines()[0]
        assert re.search(f"^    hint: .*{re.escape(hint)}", ran.err, re.MULTILINE)
        assert "Traceback" not in ran.err
        assert "\x1b" not in ran.err
    assert gate.files() == before


@pytest.mark.parametrize("old", SCENARIOS)
def test_a_broken_scenario(gate: Gate, here: Here, old: str) -> None:
    for name in ("run.log", "run.html"):
        (gate.root / name).write_text("of an earlier run")
    marked, text, hint = SCENARIOS[old]
    line, column = put(gate, gate.scenario, old, marked)
    before = gate.files()
    ran = here("simulate", "sim/scenarios/silence.yaml", "--traffic", "run.log", "--report", "run.html")
    assert (ran.status, ran.out) == (2, "")
    assert_pointed_at(ran, "sim/scenarios/silence.yaml", line, column)
    assert text in ran.err.splitlines()[0]
    assert not hint or re.search(f"^    hint: .*{re.escape(hint)}", ran.err, re.MULTILINE)
    assert ran.refusal.endswith("\n1 error; nothing was written\n")
    assert gate.files() == before


def test_all_mistakes_of_a_file_at_once_in_its_order(gate: Gate, here: Here) -> None:
    gate.edit(gate.catalogue, "250 kbit/s", "250")
    gate.edit(gate.catalogue, "codes: order}", "codes: ordr}")
    gate.edit(gate.catalogue, "bits: 12", "bits: 120")
    ran = here("check", "messages/gate.yaml")
    assert re.findall(r"^messages/gate.yaml:(\d+):", ran.err, re.MULTILINE) == ["2", "16", "32"]
    assert ran.refusal.endswith("\n\n3 errors\n")


def test_a_scenario_with_a_broken_catalogue_shows_the_mistakes_of_both(gate: Gate, here: Here) -> None:
    gate.edit(gate.catalogue, "250 kbit/s", "250")
    gate.edit(gate.scenario, "run_for: 1 s", "run_for: 1")
    ran = here("simulate", "sim/scenarios/silence.yaml")
    assert "\nsim/scenarios/silence.yaml:3:10: error: " in "\n" + ran.err
    assert "\nmessages/gate.yaml:2:17: error: " in "\n" + ran.err


# The line as it is written, and as it is shown with its caret.
QUOTATIONS = {
    "wide letters": ("{comment: 静かな, bits: «400}", "{comment: 静かな, bits: 400}", 10 + 2 * 3 + 8),
    "combining marks": ("{comment: a\u0308o\u0308, bits: «400}", "{comment: a\u0308o\u0308, bits: 400}", 10 + 2 + 8),
    "a tab inside": ("{comment: x,\tbits: «400}", "{comment: x, bits: 400}", 19),
    "no letter of a terminal's": ("{comment: x\u200b\u202ey, bits: «400}", "{comment: x··y, bits: 400}", 22),
}


@pytest.mark.parametrize("case", QUOTATIONS)
def test_the_caret_stands_where_the_eye_looks_for_it(gate: Gate, here: Here, case: str) -> None:
    marked, shown, columns = QUOTATIONS[case]
    put(gate, gate.catalogue, "level: {bits: 4}", f"level: {marked}")
    _, quoted, caret, *_ = here("check", "messages/gate.yaml").err.splitlines()
    assert quoted == f"      level: {shown}"
    assert caret == " " * (6 + len("level: ") + columns) + "^"


def test_a_long_line_is_cut_around_the_word(gate: Gate, here: Here) -> None:
    padding = "x" * 400
    put(gate, gate.catalogue, "level: {bits: 4}", f"level: {{comment: {padding}, bits: «400, initial: 0}} # {padding}")
    first, quoted, caret, *_ = here("check", "messages/gate.yaml").err.splitlines()
    assert len(first) < 120
    assert len(quoted) <= 116
    assert quoted[caret.index("^") :].startswith("400, initial: 0}")


def test_a_file_cannot_write_to_the_terminal_by_its_name(gate: Gate, here: Here) -> None:
    ran = here("check", "messages/\x1b[31mred.yaml")
    assert ran.status == 2
    assert "\x1b" not in ran.err
