"""The door ``compare``: two recordings of the demo, the same and with one thing changed, and a simulation."""

import json
from collections.abc import Callable
from pathlib import Path

import pytest

from busdesign.answers.compare import compare
from busdesign.answers.compare_answer import CompareAnswer, Difference, refused
from busdesign.answers.plain import as_plain
from busdesign.errors import CaptureError, ScenarioError
from busdesign.traffic.files import write_traffic
from busdesign.traffic.frames import Row, Traffic
from busdesign.wire.flags import ERROR
from tests.answers.captures import CATALOGUE, ROOT, numbers_of, rows_of, traffic_of

MS = 1_000_000
REPORT = 0x210
RETRACT = ROOT / "sim" / "scenarios" / "retract.yaml"


def compared(rows: list[Row], folder: Path, *, channels: tuple[str, ...] = ("can0",), **more: object) -> CompareAnswer:
    """The demo's good day beside ``rows``."""
    write_traffic(traffic_of(), folder / "old.log")
    write_traffic(Traffic.of_rows(rows, channels), folder / "new.log")
    return compare(folder / "old.log", folder / "new.log", **more)  # type: ignore[arg-type]


def the_one(answer: CompareAnswer) -> Difference:
    (found,) = answer.differences
    assert not answer.same
    assert not answer.holds
    return found


@pytest.mark.parametrize("catalogue", [None, CATALOGUE])
def test_identical(catalogue: Path | None, tmp_path: Path) -> None:
    answer = compared(rows_of(traffic_of()), tmp_path, catalogue=catalogue)
    assert (answer.differences, answer.values) == ((), ())
    assert answer.same
    assert answer.paired == answer.old_frames == answer.new_frames == len(traffic_of())
    assert answer.offset_s == 0
    assert answer.drift_ppm == pytest.approx(0, abs=0.01)
    assert all(message.paired == message.old_count == message.new_count for message in answer.messages)


@pytest.mark.parametrize("at", [10, 600, 1200])
def test_one_frame_dropped(at: int, tmp_path: Path) -> None:
    rows = rows_of(traffic_of())
    gone = next(number for number in numbers_of(traffic_of(), REPORT) if number > at)
    found = the_one(compared([*rows[:gone], *rows[gone + 1 :]], tmp_path, catalogue=CATALOGUE))
    assert (found.kind, found.subject, found.count) == ("missing", "leg_report_nose", 1)
    assert (found.old_frame, found.new_frame) == (gone + 1, None)
    assert found.first_at_s == pytest.approx(rows[gone][0] / 1e9)


def test_one_frame_more(tmp_path: Path) -> None:
    rows, at = rows_of(traffic_of()), 600
    found = the_one(compared([*rows[:at], (rows[at][0] - MS, 0x7FF, 0, 0, 0, 0), *rows[at:]], tmp_path))
    assert (found.kind, found.subject, found.count, found.new_frame) == ("only-in-new", "0x7FF", 1, at + 1)


def test_a_value_changed(tmp_path: Path) -> None:
    rows, at = rows_of(traffic_of()), numbers_of(traffic_of(), 0x280)[30]
    rows[at] = (*rows[at][:5], rows[at][5] ^ 0x1)
    answer = compared(rows, tmp_path, catalogue=CATALOGUE)
    found = the_one(answer)
    assert (found.kind, found.subject, found.count) == ("content", "air_data_report", 1)
    assert (found.old_frame, found.new_frame) == (at + 1, at + 1)
    (value,) = answer.values
    assert (value.message, value.count) == ("air_data_report", 1)
    assert value.first_at_s == pytest.approx(rows[at][0] / 1e9)
    assert value.old != value.new
    assert the_one(compared(rows, tmp_path)).subject == "0x280"


@pytest.mark.parametrize("by_ns", [7_000_000_123, 1_700_000_000 * 10**9])
def test_shifted_in_time_is_the_same(by_ns: int, tmp_path: Path) -> None:
    answer = compared([(row[0] + by_ns, *row[1:]) for row in rows_of(traffic_of())], tmp_path)
    assert answer.differences == ()
    assert answer.offset_s == pytest.approx(by_ns / 1e9, abs=2e-6)
    assert answer.paired == len(traffic_of())


@pytest.mark.parametrize("ppm", [50, -50])
def test_a_clock_that_drifts_is_told_and_is_no_difference(ppm: int, tmp_path: Path) -> None:
    rows = [(round(row[0] * (1 + ppm / 1e6)) + 10**9, *row[1:]) for row in rows_of(traffic_of())]
    answer = compared(rows, tmp_path)
    assert answer.differences == ()
    assert answer.drift_ppm == pytest.approx(ppm, abs=1)
    assert answer.offset_s == pytest.approx(1, abs=1e-5)
    assert max(message.most_apart_ms or 0 for message in answer.messages) < 0.05


def test_a_clock_that_no_crystal_has(tmp_path: Path) -> None:
    rows = [(round(row[0] * 1.001), *row[1:]) for row in rows_of(traffic_of())]
    assert the_one(compared(rows, tmp_path)).kind == "clocks"


def test_only_the_time_in_which_both_listened(tmp_path: Path) -> None:
    rows = [row for row in rows_of(traffic_of()) if 4 * 10**9 < row[0] < 9 * 10**9]
    answer = compared(rows, tmp_path)
    assert answer.differences == ()
    assert answer.compared_s[0] == pytest.approx(4, abs=0.1)
    assert answer.compared_s[1] == pytest.approx(9, abs=0.1)
    assert answer.offset_s == 0


def test_a_recording_that_was_started_much_later(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Nothing of its beginning is in the beginning of the other: all of that is searched."""
    monkeypatch.setattr("busdesign.bench.alignment.MOST_FRAMES", 100)
    monkeypatch.setattr("busdesign.answers.one_bus.BLOCK_FRAMES", 200)
    monkeypatch.setattr("busdesign.answers.compare_sides.BLOCK_FRAMES", 200)
    rows = [(round(row[0] * 1.00002) + 5 * 10**9, *row[1:]) for row in rows_of(traffic_of()) if row[0] > 6 * 10**9]
    answer = compared(rows, tmp_path)
    assert answer.differences == ()
    assert answer.offset_s == pytest.approx(5, abs=1e-3)
    assert answer.paired == len(rows)
    back = compare(tmp_path / "new.log", tmp_path / "old.log")
    assert back.differences == ()
    assert back.offset_s == pytest.approx(-5, abs=1e-3)


def test_late_frames(tmp_path: Path) -> None:
    late = numbers_of(traffic_of(), REPORT)[20:23]
    moved = sorted((row[0] + 6 * MS * (at in late), *row[1:]) for at, row in enumerate(rows_of(traffic_of())))
    found = the_one(compared(moved, tmp_path, catalogue=CATALOGUE))
    assert (found.kind, found.subject, found.count) == ("time", "leg_report_nose", 3)
    assert compared(moved, tmp_path, within_ns=7 * MS).same


def test_another_period(tmp_path: Path) -> None:
    gone = set(numbers_of(traffic_of(), REPORT)[1::2])
    answer = compared([row for at, row in enumerate(rows_of(traffic_of())) if at not in gone], tmp_path)
    assert {found.kind for found in answer.differences} == {"missing", "period"}
    assert {found.subject for found in answer.differences} == {"0x210"}


def test_error_frames(tmp_path: Path) -> None:
    rows = sorted([*rows_of(traffic_of()), (5 * 10**9 + 1, 0x80, ERROR, 8, 0, 0)])
    found = the_one(compared(rows, tmp_path))
    assert (found.kind, found.count) == ("error-frames", 1)


def test_another_channel(tmp_path: Path) -> None:
    """The second recording holds two buses, the first one's under another name."""
    both = sorted([(*row[:4], 1, row[5]) for row in rows_of(traffic_of())] + [(MS, 0x7FF, 0, 0, 0, 0)])
    more = {"channels": ("can0", "can1")}
    with pytest.raises(CaptureError, match="frames of several channels"):
        compared(both, tmp_path, **more)
    assert compared(both, tmp_path, new_channel="can1", **more).same
    with pytest.raises(CaptureError, match="there is no channel `can9`"):
        compared(both, tmp_path, new_channel="can9", **more)


def test_told_where_they_are_aligned(tmp_path: Path) -> None:
    rows = [(row[0] + 3 * 10**9, *row[1:]) for row in rows_of(traffic_of())]
    assert compared(rows, tmp_path, aligned_at_ns=3 * 10**9).same
    wrong = compared(rows, tmp_path, aligned_at_ns=3 * 10**9 + 5 * MS)
    assert {found.kind for found in wrong.differences} >= {"time"}
    with pytest.raises(CaptureError, match="no time in common"):
        compared(rows, tmp_path, aligned_at_ns=300 * 10**9)


def test_beside_a_simulation_of_itself(tmp_path: Path) -> None:
    write_traffic(traffic_of(), tmp_path / "run.log")
    answer = compare(tmp_path / "run.log", RETRACT)
    assert answer.same
    assert answer.catalogue == "saltmarsh-undercarriage"
    assert answer.paired == len(traffic_of())


def test_beside_a_simulation_with_other_clocks_phases_and_jitter(tmp_path: Path) -> None:
    """As a bench is: each board has its own clock and switches on at its own time. Values may then differ a little."""
    traffic = traffic_of(phases="random", drift="worst", seed=9)
    write_traffic(traffic, tmp_path / "run.log")
    answer = compare(tmp_path / "run.log", RETRACT, CATALOGUE)
    assert {found.kind for found in answer.differences} <= {"content", "extra", "missing", "only-in-old", "only-in-new"}
    alone = [found for found in answer.differences if found.kind in ("extra", "missing")]
    assert all((found.first_at_s or 0) < 0.5 for found in alone)  # before a board had begun in one of them
    assert answer.paired > 0.95 * len(traffic)
    assert {value.message for value in answer.values}
    assert not {value.signal for value in answer.values} & {"counter", "check"}


def test_it_does_not_matter_how_recordings_are_cut(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    rows = [(round(row[0] * 1.00005) + 10**9, *row[1:]) for row in rows_of(traffic_of())]
    for at in (900, 500, 300):
        del rows[at]
    rows[700] = (*rows[700][:5], rows[700][5] ^ 1)
    whole = compared(rows, tmp_path)
    monkeypatch.setattr("busdesign.answers.one_bus.BLOCK_FRAMES", 400)
    cut = compared(rows, tmp_path)
    told: Callable[[CompareAnswer], object] = lambda answer: [  # noqa: E731
        (one.kind, one.subject, one.count, one.old_frame, one.new_frame) for one in answer.differences
    ]
    assert len(whole.differences) == 4
    assert told(cut) == told(whole)
    assert cut.paired == whole.paired


def rule_of(*given: object, **more: object) -> tuple[str, str]:
    with pytest.raises(CaptureError) as caught:
        compare(*given, **more)  # type: ignore[arg-type]
    (found,) = caught.value.findings
    return found.rule, found.text


def test_what_cannot_be_compared(tmp_path: Path) -> None:
    write_traffic(traffic_of(), tmp_path / "old.log")
    assert rule_of(tmp_path / "old.log", tmp_path / "none.log")[0] == "capture-missing"
    assert rule_of(CATALOGUE, CATALOGUE) == ("capture-format", "two catalogues cannot be compared here")
    assert "a catalogue, cannot" in rule_of(tmp_path / "old.log", CATALOGUE)[1]
    assert "is no recording" in rule_of(RETRACT, tmp_path / "old.log")[1]
    foreign = Traffic.of_rows([(1000 * at, 0x7FF, 0, 1, 0, at) for at in range(1, 9)])
    write_traffic(foreign, tmp_path / "foreign.log")
    assert rule_of(tmp_path / "old.log", tmp_path / "foreign.log")[0] == "capture-foreign"
    (tmp_path / "empty.log").write_bytes(b"")
    assert rule_of(tmp_path / "empty.log", tmp_path / "old.log")[0] == "capture-unreadable"
    with pytest.raises(ScenarioError):
        compare(tmp_path / "old.log", tmp_path / "none.yaml")


def test_the_answer_is_plain_json(tmp_path: Path) -> None:
    plain = json.loads(json.dumps(as_plain(compared(rows_of(traffic_of())[5:], tmp_path)), allow_nan=False))
    assert {"old_frames", "offset_s", "drift_ppm", "messages", "differences", "same", "holds"} <= set(plain)
    assert set(as_plain(refused(()))) == set(plain)
