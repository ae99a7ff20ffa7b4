"""``busdesign compare``: its outcomes, its JSON in each of them, what it refuses."""

from pathlib import Path

import pytest

from tests.cli.running import Here
from tests.cli.test_json import COUNT, FLAG, NUMBER, TEXT, differences

COMPARE = {
    "old_frames": COUNT,
    "new_frames": COUNT,
    "paired": COUNT,
    "offset_s": NUMBER,
    "messages": [{"name": TEXT, "old_count": COUNT, "new_count": COUNT, "paired": COUNT}],
    "differences": [{"kind": TEXT, "subject": TEXT, "count": COUNT, "text": TEXT}],
    "same": FLAG,
    "holds": FLAG,
}
CATALOGUE, SCENARIO = "messages/saltmarsh.yaml", "sim/scenarios/retract.yaml"


@pytest.fixture
def capture(demo: Path, here: Here) -> Path:
    """The good day, in the working folder."""
    assert here("simulate", SCENARIO, "--traffic", "old.log").status == 0
    return Path("old.log")


def test_the_same(capture: Path, here: Here) -> None:
    ran = here("compare", capture, SCENARIO, "--catalogue", CATALOGUE)
    assert (ran.status, ran.err) == (0, "")
    assert "\nholds: the same in 1313 frames\n" in ran.out
    assert "audit old.log --catalogue messages/saltmarsh.yaml" in ran.out
    ran = here("compare", capture, capture, "--json")
    assert (ran.status, ran.err) == (0, "")
    assert differences(ran.answer, COMPARE, facts=True) == []
    assert (ran.answer["same"], ran.answer["differences"]) == (True, [])


def test_what_differs_is_told_first_in_a_table_then_in_words(capture: Path, here: Here) -> None:
    lines = capture.read_text().splitlines(keepends=True)
    Path("new.log").write_text("".join([*lines[:700], *lines[701:]]))
    ran = here("compare", capture, "new.log", "--catalogue", CATALOGUE)
    assert (ran.status, ran.err) == (1, "")
    assert (
        ran.out.index("\nmissing  ") < ran.out.index("only in the first") < ran.out.index("\nbroken: 1 difference in ")
    )
    ran = here("compare", capture, "new.log", "--json")
    assert (ran.status, ran.err) == (1, "")
    assert differences(ran.answer, COMPARE, facts=True) == []
    assert ran.answer["differences"][0]["old_frame"] == 701


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["none.log", "old.log"], "there is no file `none.log`"),
        (["old.log", "sim/scenarios/none.yaml"], "sim/scenarios/none.yaml"),
        (["old.log", "old.log", "--catalogue", "messages/none.yaml"], "messages/none.yaml"),
        (["old.log", "old.log", "--channel", "can9"], "there is no channel `can9`"),
        ([CATALOGUE, CATALOGUE], "two catalogues cannot be compared here"),
        (["old.log", "old.log", "--aligned-at", "900 s"], "no time in common"),
    ],
)
def test_what_cannot_be_used(capture: Path, here: Here, words: list[str], said: str) -> None:
    ran = here("compare", *words)
    assert (ran.status, ran.out) == (2, "")
    assert said in ran.err
    asked = here("compare", *words, "--json")
    assert asked.status == 2
    assert differences(asked.answer, COMPARE, facts=False) == []
    assert (asked.answer["holds"], asked.answer["same"], asked.answer["messages"]) == (False, False, [])
    assert asked.answer["findings"][0]["severity"] == "error"


@pytest.mark.parametrize("option", ["--aligned-at", "--within"])
def test_a_time_that_is_none(capture: Path, here: Here, option: str) -> None:
    ran = here("compare", capture, capture, option, "soon")
    assert (ran.status, ran.out) == (2, "")
    assert f"{option}: expected a duration such as" in ran.err
