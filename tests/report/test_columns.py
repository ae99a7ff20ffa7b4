"""Columns survive their packing, and a page does not grow much with a frame."""

from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from busdesign.answers.pictures import run_picture
from busdesign.answers.simulate import SimulateAnswer
from busdesign.report.columns import packed_counts, packed_numbers
from busdesign.report.page import render_report
from tests.report.gates import checked, ran
from tests.report.reading import data_of, unpacked

FREE_RUN = """\
scenario: {name}
catalogue: ../../messages/gates.yaml
run_for: {run_for}
"""
MOST_BYTES = 16  # of a page for each frame more


@given(st.lists(st.integers(0, 2**53), max_size=60))
def test_counts_come_back(counts: list[int]) -> None:
    column = np.array(counts, np.int64)
    assert unpacked(packed_counts(column)).tolist() == counts
    ascending = np.sort(column)
    assert unpacked(packed_counts(ascending, ascending=True)).tolist() == ascending.tolist()


@given(st.lists(st.floats(allow_infinity=False), max_size=60))
def test_numbers_come_back(numbers: list[float]) -> None:
    column = np.array(numbers, np.float64)
    np.testing.assert_array_equal(unpacked(packed_numbers(column)), column)


def test_small_counts_take_few_bytes() -> None:
    kinds = [packed_counts(np.array([0, most]))["kind"] for most in (255, 256, 65_535, 65_536, 2**32 - 1)]
    assert kinds == ["u8", "u16", "u16", "u32", "u32"]


def test_the_page_carries_the_run(page: str, gate_run: SimulateAnswer) -> None:
    data, picture = data_of(page), run_picture(gate_run)
    frames = picture.frames
    for column in ("kind", "start_ns", "waited_ns", "response_ns", "behind", "waiting"):
        carried_column = unpacked(data["frames"][column.removesuffix("_ns")])
        assert carried_column.tolist() == getattr(frames, column).tolist()
    assert [row["name"] for row in data["frames"]["rows"]] == [row.message.name for row in frames.rows]
    assert data["frames"]["kinds"] == [[kind.row, kind.bits, kind.duration_ns] for kind in frames.kinds]
    assert unpacked(data["load"]["values"]).tolist() == picture.load.loads.tolist()
    moving = [name for name in picture.names if not name.is_constant]
    assert len(data["names"]) == len(moving)
    for carried, name in zip(data["names"], moving, strict=True):
        assert unpacked(carried["times"]).tolist() == name.times_ns.tolist()
        np.testing.assert_array_equal(unpacked(carried["values"]), name.values)
        assert carried["words"] == list(name.words)


def test_rows_of_the_page_point_to_their_names(page: str, gate_run: SimulateAnswer) -> None:
    moving = [name for name in run_picture(gate_run).names if not name.is_constant]
    for key, name in enumerate(moving):
        kind = "number" if not name.words else "flag" if name.is_flag else "choice"
        row = f'<div class="strip {kind}" data-strip="{kind}" data-key="{key}"><div class="label"><output></output>'
        assert f"{row}<span>{name.label}</span>" in page


def test_lamps_are_drawn_in_the_colours_of_their_words(page: str) -> None:
    by_words = {tuple(name["words"]): name["colours"] for name in data_of(page)["names"]}
    dark, red, green = by_words["dark", "red", "green"]
    assert [max(range(3), key=lambda part: int(lit[1 + 2 * part : 3 + 2 * part], 16)) for lit in (red, green)] == [0, 1]
    assert sum(int(dark[place : place + 2], 16) for place in (1, 3, 5)) < 200
    quiet = by_words["stay", "open", "shut"]
    assert not set(quiet) & {dark, red, green}
    assert len(set(quiet)) == 3


def test_a_frame_costs_few_bytes(gates: Path) -> None:
    check = checked(gates)
    short, long = (ran(gates, run_for=run_for, text=FREE_RUN) for run_for in ("10 s", "60 s"))
    assert long.frames - short.frames > 5_000
    grown = len(render_report(check, [long])) - len(render_report(check, [short]))
    assert grown / (long.frames - short.frames) < MOST_BYTES


def test_a_silence_of_hours_is_carried_exactly(gates: Path) -> None:
    run = ran(gates, text=FREE_RUN).run
    late = run.start_ns.copy()
    late[-1] += 3 * 3_600 * 10**9 + 1
    column = packed_counts(late, ascending=True)
    assert unpacked(column).tolist() == late.tolist()
    assert column["far"]


def test_drifted_clocks_are_carried_exactly(gates: Path) -> None:
    answer = ran(gates, text=FREE_RUN + "drift: {{gate_east: +0.3 %}}\n")
    assert answer.run.drifts["gate_east"] == Fraction(3, 1000)
    data = data_of(render_report(checked(gates), [replace(answer, findings=())]))
    kinds = [data["frames"]["kinds"][kind] for kind in unpacked(data["frames"]["kind"])]
    ends = unpacked(data["frames"]["start"]) + np.array([duration for _, _, duration in kinds])
    assert ends.tolist() == answer.run.traffic.end_ns.tolist()
