"""``busdesign timing``: words in and out, the drawing to scale, statuses, JSON, the picture."""

import re
import xml.etree.ElementTree as ET
from pathlib import Path

import pytest

from busdesign.answers.timing import timing
from busdesign.cli.timing_text import bit_drawing
from tests.cli.running import Here, shell
from tests.cli.test_next_steps import next_lines

FIGURES = ("--clock", "16MHz", "--rate", "500kbit/s", "--sample-point", "87.5%")
KEYS = ["prescaler", "prop_seg", "phase_seg1", "phase_seg2", "sjw", "sample_point", "bit_rate_bit_s"]


def test_the_best_setting_as_json(here: Here) -> None:
    ran = here("timing", *FIGURES, "--length", "30m", "--json")
    assert (ran.status, ran.err) == (0, "")
    best = ran.answer["settings"][0]
    assert [best[key] for key in KEYS] == [2, 11, 2, 2, 2, 0.875, 500_000]
    assert best["oscillator_tolerance"] == 2 / (2 * (13 * 16 - 2))
    assert ran.answer["holds"] is True
    assert [one["margin"] for one in ran.answer["settings"]] == sorted(
        (one["margin"] for one in ran.answer["settings"]), reverse=True
    )


def test_a_space_before_the_unit_changes_nothing(here: Here) -> None:
    spaced = ("--clock", "16 MHz", "--rate", "500 kbit/s", "--sample-point", "87.5 %", "--length", "30 m")
    near = here("timing", *FIGURES, "--length", "30m", "--json").out
    assert here("timing", *spaced, "--json").out == near
    assert here("timing", *(f"{spaced[i]}={spaced[i + 1]}" for i in range(0, 8, 2)), "--json").out == near


def test_for_people_the_margin_comes_first_and_registers_last(here: Here) -> None:
    out = here("timing", *FIGURES, "--length", "30m", "--delay", "200ns").out
    (heads,) = re.findall(r"^ *margin .*$", out, re.MULTILINE)
    order = ["margin", "weakest condition", "sample point", "rate error", "quanta", "prescaler", "sjw"]
    assert [heads.index(head) for head in order] == sorted(heads.index(head) for head in order)
    assert "BTR0 0x41, BTR1 0x1C, as one word 0x1C41, where the clock is taken as it is" in out
    assert "BTR0 0x40, BTR1 0x1C, as one word 0x1C40, where the clock is divided by 2 first" in " ".join(out.split())
    assert "ours, with 400 ns in both nodes, 5 ns/m of cable" in out
    assert re.search(r"^ +100 +500 kbit/s  CANopen", out, re.MULTILINE)
    assert "why the first one:\n  - it leaves the most margin" in out
    assert "\nholds: the best setting leaves 0.4854 % of the clock to spare\n" in out


@pytest.mark.parametrize(("clock", "rate", "controller"), [(16, 500, "small"), (80, 250, "large"), (8, 125, "small")])
def test_the_drawing_is_to_scale(clock: int, rate: int, controller: str) -> None:
    one = timing(clock * 10**6, rate * 1000, controller=controller).settings[0]
    drawn, caret, _ = bit_drawing(one).splitlines()
    assert drawn.isascii()
    columns = len(drawn) - 1
    assert abs(caret.index("^") / columns - one.sample_point) <= 1 / columns
    for letter, quanta in (("p", one.prop_seg), ("1", one.phase_seg1), ("2", one.phase_seg2)):
        assert abs((drawn.count(letter) + 1) / columns - quanta / one.quanta) <= 1 / columns


@pytest.mark.parametrize(
    ("words", "status", "said"),
    [
        (("--tolerance", "1%"), 1, "(clock-tolerance)"),
        (("--length", "300m"), 1, "the longest possible wire is 99 m"),
        (("--tolerance", "100ppm"), 0, "less 0.01 % of the clock"),
        (("--most", "1"), 0, "2 settings, the best 1 shown"),
        (("--controller", "large"), 0, "the classical two registers cannot hold prescaler 1 with 32 quanta"),
    ],
)
def test_the_exit_status(here: Here, words: tuple[str, ...], status: int, said: str) -> None:
    ran = here("timing", *FIGURES, *words)
    assert (ran.status, ran.err) == (status, "")
    assert said in ran.out


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ("--clock 16MHz --rate 3Mbit/s", "the nearest possible is 1 Mbit/s"),
        ("--clock 7.3728MHz --rate 1Mbit/s", "the nearest possible is 921.6 kbit/s"),
        ("--clock 16 --rate 500kbit/s", "--clock: `16` has no unit"),
        ("--clock 16MHz --rate 500kbit/s --sample-point 0.875", "hint: write `87.5 %`\n"),
        ("--clock 16MHz --rate 500kbit/s --length 3ns", "`ns` measures a duration"),
        ("--clock 16MHz --rate 500kbit/s --most many", "`many` is no number of settings"),
    ],
)
def test_what_cannot_be_used(here: Here, words: str, said: str) -> None:
    ran = here("timing", *words.split())
    assert (ran.status, ran.out) == (2, "")
    assert said in ran.err
    assert "(no-such-setting)" in ran.err
    refused = here("timing", *words.split(), "--json")
    assert refused.status == 2
    assert (refused.answer["settings"], refused.answer["holds"]) == ([], False)


def test_everything_that_cannot_be_read_is_told_at_once(here: Here) -> None:
    err = here("timing", "--clock", "16", "--rate", "fast", "--length", "long").err
    assert all(f"--{name}: " in err for name in ("clock", "rate", "length"))


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ("", "hint: add `--clock 16MHz --rate 500kbit/s`"),
        ("--clock 16MHz", "it takes a clock and a rate, or a catalogue"),
        ("a.yaml --clock 16MHz", "--clock and a catalogue, `a.yaml`, do not go together"),
        ("--clock 16 MHz --rate 500kbit/s", "write each figure as one word: `16MHz`"),
    ],
)
def test_figures_or_a_catalogue(here: Here, words: str, said: str) -> None:
    ran = here("timing", *words.split())
    assert (ran.status, ran.out) == (2, "")
    assert said in ran.err


def test_a_catalogue(here: Here, demo: Path) -> None:
    ran = here("timing", "messages/saltmarsh.yaml")
    assert (ran.status, ran.err) == (0, "")
    assert re.search(r"^strut_nose +given +0\.1854 %", ran.out, re.MULTILINE)
    assert re.search(r"^panel +best +0\.4804 %", ran.out, re.MULTILINE)
    assert [words[0] for words in next_lines(ran)] == ["check"]
    answer = here("timing", "messages/saltmarsh.yaml", "--json").answer
    assert [one["node"] for one in answer["settings"]][:2] == ["panel", "air_data"]


def test_a_catalogue_that_is_not_there(here: Here, demo: Path) -> None:
    ran = here("timing", "messages/none.yaml", "--json")
    assert ran.status == 2
    assert ran.answer["findings"][0]["rule"] == "file-missing"


def test_the_next_step_asks_the_same(here: Here) -> None:
    ran = here("timing", *FIGURES, "--length", "30 m")
    (words,) = next_lines(ran)
    assert here(*words).answer == here("timing", *FIGURES, "--length", "30m", "--json").answer


def test_the_picture(here: Here, demo: Path) -> None:
    ran = here("timing", *FIGURES, "--svg", "bit.svg")
    assert "\nwritten: bit.svg\n" in ran.out
    root = ET.parse("bit.svg").getroot()
    assert root.tag == "{http://www.w3.org/2000/svg}svg"
    refused = here("timing", "messages/saltmarsh.yaml", "--svg", "messages/saltmarsh.yaml")
    assert refused.status == 2
    assert "which would be lost" in refused.err
    assert here("timing", *FIGURES, "--svg", "nowhere/bit.svg").status == 2


def test_what_registers_mean(here: Here) -> None:
    ran = here("timing", "--clock", "16MHz", "--registers", "0x1C41", "--length", "30m")
    assert (ran.status, ran.err) == (0, "")
    assert "clock 16 MHz, 500 kbit/s, controller `small`, registers as given\n" in ran.out
    assert "what it means:\n  - BTR0 0x41 and BTR1 0x1C: 125 ns in a quantum, 16 quanta in a bit" in ran.out
    assert "\nholds: the given setting leaves 0.4854 % of the clock to spare\n" in ran.out
    (words,) = next_lines(ran)
    assert here(*words).answer["settings"][0]["is_given"] is True


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ("--clock 16MHz --registers 1C41", "`1C41` is not two bytes"),
        ("--clock 16MHz --registers 0x1C411", "`0x1C411` is not two bytes"),
        ("--clock 16MHz --registers 0x1C41 --most 2", "--most and --registers do not go together"),
        ("--registers 0x1C41", "it takes a clock and a rate, or a catalogue"),
        ("a.yaml --registers 0x1C41", "--registers and a catalogue, `a.yaml`, do not go together"),
    ],
)
def test_registers_that_cannot_be_read(here: Here, words: str, said: str) -> None:
    ran = here("timing", *words.split())
    assert (ran.status, ran.out) == (2, "")
    assert said in ran.err


def test_no_line_parts_a_figure_from_its_unit(here: Here) -> None:
    for words in ((*FIGURES, "--tolerance", "3%"), (*FIGURES, "--length", "30m"), ("messages/saltmarsh.yaml",)):
        out = here("timing", *words).out
        assert not re.search(r"[0-9]\n +(%|ns|m|quanta|quantum|kbit/s)\b", out)


def test_no_heavy_library_is_loaded(here: Here) -> None:
    line = f"busdesign timing {' '.join(FIGURES)} --json >/dev/null"
    loaded = shell(line, PYTHONPROFILEIMPORTTIME="1").err
    assert "busdesign.answers.timing" in loaded
    for library in ("numpy", "numba", "rich", "cantools", "can", "pydantic"):
        assert not re.search(rf"\| +{library}$", loaded, re.MULTILINE), library
