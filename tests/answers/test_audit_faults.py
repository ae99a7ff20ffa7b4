"""What was done to a capture is found: each kind of fault, with its first time, its frame and its count."""

from dataclasses import replace
from pathlib import Path

import pytest

from busdesign.answers.audit_answer import AuditAnswer, AuditFinding
from busdesign.findings import Severity
from busdesign.traffic.frames import Row, Traffic
from busdesign.wire.flags import ERROR, EXTENDED, REMOTE
from tests.answers.captures import audited, numbers_of, rows_of, rules_of, traffic_of

MS = 1_000_000
DEMAND, REPORT = 0x110, 0x210


def the_one(answer: AuditAnswer, rule: str) -> AuditFinding:
    (found,) = [found for found in answer.findings if found.rule == rule]
    assert found.severity is Severity.BROKEN
    assert not answer.holds
    return found


def changed(rows: list[Row], at: int, **columns: int) -> list[Row]:
    """``rows`` with some columns of one row changed."""
    names = ("end_ns", "identifier", "flags", "length", "channel", "payload")
    row = dict(zip(names, rows[at], strict=True)) | columns
    return [*rows[:at], tuple(row[name] for name in names), *rows[at + 1 :]]  # type: ignore[list-item]


def test_a_dropped_frame(tmp_path: Path) -> None:
    rows = rows_of(traffic_of())
    gone, after = numbers_of(traffic_of(), DEMAND)[40:42]
    answer = audited(Traffic.of_rows([*rows[:gone], *rows[gone + 1 :]]), tmp_path)
    assert rules_of(answer) == {"period-long", "counter-skips", "function-too-slow"}
    found = the_one(answer, "period-long")
    assert (found.subject, found.count, found.first_frame) == ("leg_demand", 1, after)  # one fewer before it
    assert found.first_at_s == rows[after][0] / 1e9
    assert found.frame.startswith("0x110 [2] ")
    assert the_one(answer, "counter-skips").count == 1


def test_a_doubled_frame(tmp_path: Path) -> None:
    rows = rows_of(traffic_of())
    row = numbers_of(traffic_of(), REPORT)[10]
    again = (rows[row][0] + 400_000, *rows[row][1:])
    answer = audited(Traffic.of_rows([*rows[: row + 1], again, *rows[row + 1 :]]), tmp_path)
    assert {"period-short", "counter-stuck"} <= rules_of(answer) <= {"period-short", "counter-stuck", "impossible-gap"}
    assert the_one(answer, "period-short").first_frame == row + 2
    at_once = Traffic.of_rows([*rows[: row + 1], rows[row], *rows[row + 1 :]])
    assert "impossible-gap" in rules_of(audited(at_once, tmp_path))


@pytest.mark.parametrize("byte", range(5))
def test_a_changed_byte(byte: int, tmp_path: Path) -> None:
    rows, row = rows_of(traffic_of()), numbers_of(traffic_of(), REPORT)[7]
    answer = audited(Traffic.of_rows(changed(rows, row, payload=rows[row][5] ^ 0x01 << 8 * byte)), tmp_path)
    found = the_one(answer, "wrong-check")
    assert (found.count, found.first_frame, found.subject) == (1, row + 1, "leg_report_nose")


def test_a_foreign_identifier_and_a_twin(tmp_path: Path) -> None:
    rows, row = rows_of(traffic_of()), 100
    between = (rows[row][0] + 2 * MS, 0x123, 0, 1, 0, 7)
    answer = audited(Traffic.of_rows([*rows[: row + 1], between, *rows[row + 1 :]]), tmp_path)
    found = the_one(answer, "unknown-identifier")
    assert (found.subject, found.count, found.frame) == ("0x123", 1, "0x123 [1] 07")
    twin = (rows[row][0] + 2 * MS, DEMAND, EXTENDED, 2, 0, 0)
    answer = audited(Traffic.of_rows([*rows[: row + 1], twin, *rows[row + 1 :]]), tmp_path)
    assert the_one(answer, "identifier-twin").subject == "leg_demand"
    asked = (rows[row][0] + 2 * MS, DEMAND, REMOTE, 2, 0, 0)
    answer = audited(Traffic.of_rows([*rows[: row + 1], asked, *rows[row + 1 :]]), tmp_path)
    assert the_one(answer, "remote-undeclared").subject == "leg_demand"


def test_a_wrong_length(tmp_path: Path) -> None:
    rows, row = rows_of(traffic_of()), numbers_of(traffic_of(), 0x280)[3]
    answer = audited(Traffic.of_rows(changed(rows, row, length=3, payload=rows[row][5] & 0xFFFFFF)), tmp_path)
    found = the_one(answer, "wrong-length")
    assert (found.subject, found.first_frame) == ("air_data_report", row + 1)
    assert "came with 3" in found.text


def test_late_frames(tmp_path: Path) -> None:
    """Three frames of one message held back by 6 ms: jitter and waiting explain 3.6 ms."""
    rows = rows_of(traffic_of())
    late = numbers_of(traffic_of(), REPORT)[20:23]
    moved = sorted((row[0] + 6 * MS * (number in late), *row[1:]) for number, row in enumerate(rows))
    answer = audited(Traffic.of_rows(moved), tmp_path)
    assert {"period-long", "period-short"} & rules_of(answer)
    assert {found.subject for found in answer.findings if found.rule.startswith("period")} == {"leg_report_nose"}
    (offer,) = answer.suggestions
    assert (offer.message, offer.key, offer.declared) == ("leg_report", "jitter", "2 ms")
    assert "  leg_report:\n    jitter: " in answer.patch


@pytest.mark.parametrize("factor", [0.5, 2.0])
def test_times_in_the_wrong_unit(factor: float, tmp_path: Path) -> None:
    rows = [(int(row[0] * factor), *row[1:]) for row in rows_of(traffic_of("power_up"))]
    answer = audited(Traffic.of_rows(rows), tmp_path)
    assert f"{factor:g} times those declared" in the_one(answer, "time-scale").text
    if factor < 1:
        assert "would fit 500 kbit/s" in the_one(answer, "impossible-gap").fix


def test_swapped_frames(tmp_path: Path) -> None:
    rows = rows_of(traffic_of())
    one, other = numbers_of(traffic_of(), DEMAND)[30:32]
    swapped = changed(changed(rows, one, payload=rows[other][5]), other, payload=rows[one][5])
    answer = audited(Traffic.of_rows(swapped), tmp_path)
    assert rules_of(answer) == {"counter-skips"}
    assert the_one(answer, "counter-skips").count == 3
    moved = [*rows[:one], rows[one + 1], rows[one], *rows[one + 2 :]]
    assert the_one(audited(Traffic.of_rows(moved), tmp_path), "time-backwards").first_frame == one + 2


def test_a_stuck_counter(tmp_path: Path) -> None:
    rows = rows_of(traffic_of())
    same = numbers_of(traffic_of(), DEMAND)[50:60]
    for number in same[1:]:
        rows[number] = (*rows[number][:5], rows[same[0]][5])
    found = the_one(audited(Traffic.of_rows(rows), tmp_path), "counter-stuck")
    assert (found.subject, found.count, found.first_frame) == ("leg_demand", 9, same[1] + 1)


def test_values_that_mean_nothing(tmp_path: Path) -> None:
    rows = rows_of(traffic_of())
    lamp, air = numbers_of(traffic_of(), 0x300)[2], numbers_of(traffic_of(), 0x18FE0010)[3]
    rows[air] = (*rows[air][:5], rows[air][5] | 0x3FF)  # voltage 51.15 V, allowed 40
    rows[lamp] = (*rows[lamp][:5], rows[lamp][5] | 0x80)
    answer = audited(Traffic.of_rows(rows), tmp_path)
    assert (
        "`supply_report_nose.voltage` is out of its range in 1 frame: 51.15 V"
        in the_one(answer, "value-out-of-range").text
    )
    report = numbers_of(traffic_of(), REPORT)[2]
    rows = changed(rows_of(traffic_of()), report, payload=rows[report][5] | 0x7)
    assert "raw number 7" in the_one(audited(Traffic.of_rows(rows), tmp_path), "undefined-code").text


def test_bits_that_nobody_has(tmp_path: Path) -> None:
    """Advice: it breaks nothing today."""
    rows = rows_of(traffic_of())
    lamp = numbers_of(traffic_of(), 0x110)[2]
    rows[lamp] = (*rows[lamp][:5], rows[lamp][5] | 1 << 63 >> 48)
    rules = rules_of(audited(Traffic.of_rows(rows), tmp_path))
    assert rules  # bit 15 is one of the check
    assert "unused-bits" not in rules


def test_a_node_that_goes_silent_stops_or_never_comes(tmp_path: Path) -> None:
    rows, whole = rows_of(traffic_of()), rows_of(traffic_of())[-1][0]
    air = set(numbers_of(traffic_of(), 0x280))
    kept = [row for number, row in enumerate(rows) if number not in air or not 3e9 < row[0] < 4e9]
    found = the_one(audited(Traffic.of_rows(kept), tmp_path), "gone-silent")
    assert (found.subject, found.count) == ("air_data_report", 1)
    kept = [row for number, row in enumerate(rows) if number not in air or row[0] < whole - 2e9]
    found = the_one(audited(Traffic.of_rows(kept), tmp_path), "gone-silent")
    assert "before the end of the capture" in found.text
    kept = [row for number, row in enumerate(rows) if number not in air]
    assert the_one(audited(Traffic.of_rows(kept), tmp_path), "never-seen").subject == "air_data_report"


def test_a_clock_that_is_wronger_than_declared(tmp_path: Path) -> None:
    """Half a per cent, of 0.3 % declared: no single distance shows it, all together do."""
    rows = rows_of(traffic_of())
    own = set(numbers_of(traffic_of(), 0x18FE0010))
    moved = sorted((int(row[0] * 1.005) if number in own else row[0], *row[1:]) for number, row in enumerate(rows))
    found = the_one(audited(Traffic.of_rows(moved), tmp_path), "period-off")
    assert (found.subject, found.count) == ("supply_report_nose", 25)


def test_error_frames(tmp_path: Path) -> None:
    """Advice: they break no promise by themselves, and the next frame is told."""
    rows = rows_of(traffic_of())
    at = numbers_of(traffic_of(), REPORT)[30]
    errors = [(rows[at][0] - (4 - k) * 100_000 - 700_000, 0x80, ERROR, 8, 0, 0) for k in range(3)]
    answer = audited(Traffic.of_rows(sorted([*rows, *errors])), tmp_path)
    (found,) = [found for found in answer.findings if found.rule == "error-frames"]
    assert (found.severity, found.count) == (Severity.ADVICE, 3)
    assert "3 of them within one second; 3 of them right before `leg_report_nose`" in found.text
    assert answer.holds


def test_a_flood_exceeds_the_load_that_was_promised(tmp_path: Path) -> None:
    rows, start = rows_of(traffic_of()), rows_of(traffic_of())[500][0] + MS
    flood = [(start + number * 600_000, 0x7A0, 0, 8, 0, number) for number in range(400)]
    answer = audited(Traffic.of_rows(sorted([*rows, *flood])), tmp_path)
    assert {"unknown-identifier", "load-beyond-bound"} <= rules_of(answer)
    assert [window.within_bound for window in answer.windows].count(False) >= 2


def test_findings_do_not_depend_on_how_a_capture_is_cut(tmp_path: Path) -> None:
    """The same through blocks of 100 frames, so that everything is carried over."""
    from busdesign.answers.audit_limits import limits_and_bounds
    from busdesign.bench.audit import Audit
    from busdesign.bench.limits import Recorder
    from busdesign.catalogue.reader import read_catalogue
    from tests.answers.captures import CATALOGUE

    rows = rows_of(traffic_of())
    for number in (100, 101, 333, 500, 777):
        rows[number] = (rows[number][0] + 300_000, *rows[number][1:5], rows[number][5] ^ 0x1)
    del rows[601:640:3]
    traffic = Traffic.of_rows(rows)
    definition = read_catalogue(CATALOGUE)
    limits, _ = limits_and_bounds(definition, Recorder())
    told = []
    for size in (len(traffic), 100, 7):
        seen = Audit(definition, limits, timed={"leg_demand"}, names={"leg_demand.demand", "air_data.silent"})
        seen.take(traffic[first : first + size] for first in range(0, len(traffic), size))
        tracks = seen.followed.tracks(0, seen.last_ns)
        told.append(
            (
                [replace(one) for one in seen.sightings()],
                seen.loads.fullest,
                seen.loads.busy_ns,
                {name: (list(track.times_ns), list(track.values)) for name, track in tracks.items()},
                {name: found.step_most_ns for name, found in seen.periods.measured().items()},
            )
        )
    assert len(told[0][0]) > 5
    for parts in zip(*told, strict=True):
        assert parts[0] == parts[1] == parts[2]
