"""Whatever is done to a file or typed on the command line: an exit status and plain words, never a raw error."""

import contextlib
import io
import random
import re
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.cli.running import CHECKOUT, Ran, status_of

CATALOGUE = CHECKOUT / "messages" / "saltmarsh.yaml"
SCENARIO = """\
scenario: the demo's models for a short while
catalogue: ../../messages/saltmarsh.yaml
run_for: 300 ms
seed: 3
payload: random
drift: {strut_left: +0.3 %}
jitter: random
phases: declared
models:
  panel:       sim/panel.py:Panel
  air_data:    {model: sim/air_data.py:AirData, first_airspeed: 75, first_height: 40}
  strut_left:  {model: sim/strut.py:Strut, leg: left, begins: up}
  strut_right: {model: sim/strut.py:Strut, leg: right}
steps:
  - {at: 0 s, set: {panel.switch: down}}
  - {at: 50 ms, set: {panel.switch: up, panel.selector: land, air_data.airspeed_wanted: 95}}
faults:
  - {at: 60 ms, until: 280 ms, kind: silent, node: strut_left}
expect:
  - {name: a motor never drives against a lock, never: strut_left.drive != off and strut_left.lock != released}
  - {name: the order arrives, after: panel.switch == up, within: 200 ms, then: strut_right.lock != engaged}
  - {name: the supply is good, always: strut_right.supply_v > 24 or leg_report_nose.current >= 10.5}
  - {name: silence is noticed, after: not strut_left.silent, within: 100 ms, then: panel.legs_heard == 3}
"""
ODD = ["", "~", "0", "-1", "1e99", ".nan", ".inf", "0x7FF", "true", "[]", "{}", "[1, 2]", "{a: b}", "50 ms", "1e-9 s"]
ODD += [
    "0 %",
    "99999999999 h",
    "1e-90 bit/s",
    "x",
    "panel",
    "strut_left",
    "«é静»",
    "&a [*a]",
    "!!float 1",
    "'",
    '"',
    "|",
]
SIGNS = [
    "\t",
    " ",
    "\n",
    ":",
    "-",
    "{",
    "}",
    "[",
    "]",
    ",",
    "#",
    "'",
    '"',
    "&",
    "*",
    "!",
    "\x00",
    "\u2028",
    "é",
    "静",
    "9",
]

quick = settings(
    max_examples=25, deadline=None, database=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)


def damaged(text: str, seed: int, strokes: int) -> str:
    """``text`` after some strokes, most of them to one value, so that some survive."""
    chance = random.Random(seed)
    for _ in range(strokes):
        text = chance.choice([new_value, new_value, new_value, moved_line, new_sign])(text, chance)
    return text


def new_value(text: str, chance: random.Random) -> str:
    """One value, within brackets or not, becomes another number, another value of the file, or one that is odd."""
    values = [match.span(1) for match in re.finditer(r": ([^\s,{}\[\]]+(?: [^\s,{}\[\]]+)*)", text)]
    start, end = chance.choice(values)
    digits = re.search(r"[0-9]+", text[start:end])
    kind = chance.choice(["number", "other", "odd"])
    if kind == "number" and digits:
        start, end = start + digits.start(), start + digits.end()
        number = int(text[start:end])
        return text[:start] + str(chance.choice([0, 1, 7, number + 1, number // 2, number * 10, 10**30])) + text[end:]
    return text[:start] + (chance.choice(ODD) if kind == "odd" else text[slice(*chance.choice(values))]) + text[end:]


def moved_line(text: str, chance: random.Random) -> str:
    """A line is dropped, doubled, or changes places with another."""
    lines = text.split("\n")
    one, other = chance.randrange(len(lines)), chance.randrange(len(lines))
    kind = chance.randrange(3)
    if kind == 0:
        del lines[one]
    elif kind == 1:
        lines.insert(one, lines[other])
    else:
        lines[one], lines[other] = lines[other], lines[one]
    return "\n".join(lines)


def new_sign(text: str, chance: random.Random) -> str:
    """A letter is lost, or a sign put in."""
    at = chance.randrange(len(text))
    return text[:at] + chance.choice(["", *SIGNS]) + text[at + chance.randrange(2) :]


def run(*words: object) -> Ran:
    """A command line in this process, its output caught."""
    out, err = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        status = status_of(*words)
    return Ran(status, out.getvalue(), err.getvalue())


def assert_civil(ran: Ran, allowed: set[int]) -> None:
    """A status that is listed, and no mistake of the program's own."""
    assert ran.status in allowed, ran
    assert not any(word in ran.out + ran.err for word in ("Traceback", "internal-error")), ran.err
    assert bool(ran.err) == (ran.status == 2), ran


@quick
@given(seed=st.integers(0, 2**32), strokes=st.integers(1, 4), as_json=st.booleans())
def test_a_damaged_catalogue(demo: Path, seed: int, strokes: int, as_json: bool) -> None:
    Path("messages/saltmarsh.yaml").write_text(damaged(CATALOGUE.read_text(), seed, strokes))
    ran = run("check", "messages/saltmarsh.yaml", *(["--json"] if as_json else []))
    assert_civil(ran, {0, 1, 2})
    if as_json:
        assert ran.answer["holds"] is (ran.status == 0)


@quick
@given(seed=st.integers(0, 2**32), strokes=st.integers(1, 3))
def test_a_damaged_catalogue_compiled(demo: Path, seed: int, strokes: int) -> None:
    Path("messages/saltmarsh.yaml").write_text(damaged(CATALOGUE.read_text(), seed, strokes))
    ran = run("compile", "messages/saltmarsh.yaml", "-o", "out")
    assert_civil(ran, {0, 2})
    assert ran.status == 2 or list(Path("out").glob("*.dbc"))


@quick
@given(seed=st.integers(0, 2**32), strokes=st.integers(1, 3))
def test_a_damaged_scenario(demo: Path, seed: int, strokes: int) -> None:
    Path("sim/scenarios/retract.yaml").write_text(damaged(SCENARIO, seed, strokes))
    assert_civil(run("simulate", "sim/scenarios/retract.yaml"), {0, 1, 2})


@quick
@given(seed=st.integers(0, 2**32), strokes=st.integers(1, 3))
def test_a_scenario_on_a_damaged_catalogue(demo: Path, seed: int, strokes: int) -> None:
    Path("sim/scenarios/bare.yaml").write_text(
        "scenario: no models\ncatalogue: ../../messages/saltmarsh.yaml\nrun_for: 100 ms\n"
        "expect:\n  - {name: the order never changes, never: leg_demand.demand == up}\n"
    )
    Path("messages/saltmarsh.yaml").write_text(damaged(CATALOGUE.read_text(), seed, strokes))
    assert_civil(run("simulate", "sim/scenarios/bare.yaml"), {0, 1, 2})


OPTIONS = [
    "--json",
    "--data",
    "--length",
    "--remote",
    "--extended",
    "--seed",
    "--traffic",
    "--report",
    "-o",
    "--output",
]
OPTIONS += [
    "--lengths",
    "--completion",
    "--help",
    "-h",
    "--version",
    "--debug",
    "--",
    "-",
    "---",
    "-x",
    "--jsno",
    "--data=",
]
VALUES = [
    "bash",
    "published",
    "0x110",
    "-5",
    "0200",
    "02 0",
    "messages",
    "messages/saltmarsh.yaml",
    "out",
    "%s",
    "a b",
    "é",
]
word = st.sampled_from(["check", "compile", "frame", "simulate", *OPTIONS, *VALUES]) | st.text(max_size=8)


@settings(quick, max_examples=50)
@given(words=st.lists(word, max_size=6))
def test_words_at_random(demo: Path, words: list[str]) -> None:
    ran = run(*(word for word in words if word != "--debug"))
    assert ran.status in {0, 1, 2}
    assert "internal-error" not in ran.err
    assert "Traceback" not in ran.out + ran.err


@pytest.mark.parametrize(
    "data", [b"", b"\xff\xfe\x00", bytes(range(256)), b"\xef\xbb\xbf", b"a: &a [*a]\n", b"- " * 5000]
)
def test_no_text_at_all(demo: Path, data: bytes) -> None:
    for file, command in {"messages/saltmarsh.yaml": "check", "sim/scenarios/retract.yaml": "simulate"}.items():
        Path(file).write_bytes(data)
        assert_civil(run(command, file), {2})
