"""A scenario held against a capture: rules of order, and where its time zero lies."""

from pathlib import Path

import numpy as np
import pytest

from busdesign.answers.audit_story import ZeroAt, read_zero_at
from busdesign.catalogue.model import Message, Signal
from busdesign.traffic.frames import Traffic
from busdesign.units import QuantityError
from tests.answers.captures import ROOT, audited, numbers_of, rows_of, run_of, traffic_of
from tests.answers.test_audit import story

ORDER = "{name: only against a released lock, never: leg_report_nose.drive != off and leg_report_nose.lock != released}"
RETRACT = ROOT / "sim" / "scenarios" / "retract.yaml"


def placed(message: Message, signal: Signal, raw: int) -> int:
    """The bits of a payload that say so."""
    assert message
    return sum((raw >> at & 1) << bit for at, bit in enumerate(signal.bit_positions))


def test_a_violated_order_is_found_where_it_begins(tmp_path: Path) -> None:
    """In three frames the leg reports its motor on and its lock engaged."""
    catalogue = run_of("retract").run.catalogue
    message = catalogue.message("leg_report_nose")
    drive, lock = message.signal("drive"), message.signal("lock")
    raw_of = {signal.name: {text: raw for raw, text in signal.codes.items()} for signal in (drive, lock)}
    on = next(raw for text, raw in raw_of["drive"].items() if text == "retract")
    mask = placed(message, drive, (1 << drive.length_bits) - 1) | placed(message, lock, (1 << lock.length_bits) - 1)
    wrong = placed(message, drive, on) | placed(message, lock, raw_of["lock"]["engaged"])
    rows = rows_of(traffic_of())
    hit = numbers_of(traffic_of(), 0x210)[10:13]
    for number in hit:
        rows[number] = (*rows[number][:5], rows[number][5] & ~mask | wrong)
    answer = audited(Traffic.of_rows(rows), tmp_path, catalogue=None, scenario=story(ORDER))
    (order,) = answer.expectations
    assert order.holds is False
    assert order.at_s == pytest.approx(rows[hit[0]][0] / 1e9)
    assert "leg_report_nose.drive = retract, leg_report_nose.lock = engaged" in order.text
    assert not answer.holds
    assert audited(traffic_of(), tmp_path, catalogue=None, scenario=story(ORDER)).expectations[0].holds is True


def test_the_demo_tells_an_order_on_the_wire(tmp_path: Path) -> None:
    """The same rule stands in a scenario of the demo, so an audit against it holds what the simulation held."""
    answer = audited(traffic_of(), tmp_path, catalogue=None, scenario=RETRACT)
    (order,) = [one for one in answer.expectations if one.name == "no frame reports a motor on against a lock"]
    assert order.holds is True


@pytest.mark.parametrize(
    ("written", "meant"),
    [
        ("12.5 s", ZeroAt(12_500_000_000)),
        ("1700000000.123456s", ZeroAt(1_700_000_000_123_456_000)),
        ("+2s", ZeroAt(2_000_000_000, from_first=True)),
        ("-300 ms", ZeroAt(-300_000_000, from_first=True)),
    ],
)
def test_where_zero_lies(written: str, meant: ZeroAt) -> None:
    assert read_zero_at(written) == meant


@pytest.mark.parametrize("written", ["soon", "12", "0.5 ns", "1e30 s", "++2 s", ""])
def test_what_is_no_moment(written: str) -> None:
    with pytest.raises(QuantityError):
        read_zero_at(written)


def later(traffic: Traffic, by_ns: int, until_ns: int | None = None) -> Traffic:
    rows = [(row[0] + by_ns, *row[1:]) for row in rows_of(traffic) if until_ns is None or row[0] < until_ns]
    return Traffic.of_rows(rows)


MOVES = (
    "{name: moves, after: leg_demand.demand == up, within: 1 s, then: air_data.silent or leg_report_nose.drive != off}"
)


@pytest.mark.parametrize("zero", [ZeroAt(700_000_000_000), None])
def test_a_capture_with_another_zero_gives_what_the_run_gave(zero: ZeroAt | None, tmp_path: Path) -> None:
    by_ns = 700_000_000_000
    plain = audited(traffic_of(), tmp_path, catalogue=None, scenario=story(MOVES, ORDER))
    if zero is None:  # from the first frame, the same moment
        zero = ZeroAt(-int(traffic_of().end_ns[0]), from_first=True)
    moved = audited(later(traffic_of(), by_ns), tmp_path, catalogue=None, scenario=story(MOVES, ORDER), zero_at=zero)
    assert moved.zero_ns == by_ns
    assert moved.expectations == plain.expectations
    assert moved.functions == plain.functions
    assert moved.findings == plain.findings == ()


def test_frames_before_zero_are_judged_but_no_part_of_the_scenario(tmp_path: Path) -> None:
    """Eleven seconds into the recording the scenario begins; promises of the catalogue hold all the time."""
    zero = ZeroAt(11_000_000_000)
    answer = audited(traffic_of(), tmp_path, catalogue=None, scenario=story(ORDER), zero_at=zero)
    plain = audited(traffic_of(), tmp_path, catalogue=None, scenario=story(ORDER))
    assert answer.findings == ()
    assert answer.frames == plain.frames
    assert [one.moments for one in answer.functions] == [one.moments for one in plain.functions]
    assert [one.reaction_ms for one in answer.functions] == [one.reaction_ms for one in plain.functions]
    for moved, one in zip(answer.functions, plain.functions, strict=True):
        assert moved.reaction_at_s is not None
        assert one.reaction_at_s is not None
        assert moved.reaction_at_s == pytest.approx(one.reaction_at_s - 11)
    gone = later(traffic_of(), 0)
    air = gone.identifier == 0x280
    quiet = gone[np.flatnonzero(~(air & (gone.end_ns > 3 * 10**9) & (gone.end_ns < 5 * 10**9)))]
    silent = story("{name: heard, never: air_data.silent}")
    judged = audited(quiet, tmp_path, catalogue=None, scenario=silent, zero_at=ZeroAt(6 * 10**9))
    assert judged.expectations[0].holds is True
    assert "gone-silent" in {found.rule for found in judged.findings}
    assert audited(quiet, tmp_path, catalogue=None, scenario=silent).expectations[0].holds is False


def test_a_told_scenario_is_over_when_it_is_over(tmp_path: Path) -> None:
    """After its 13 s the bench is switched off; nobody promised anything of that."""
    rows = rows_of(traffic_of())
    rows.append((30 * 10**9, *rows[-1][1:]))
    silent = story("{name: heard, never: air_data.silent}")
    traffic = Traffic.of_rows(rows)
    assert audited(traffic, tmp_path, catalogue=None, scenario=silent).expectations[0].holds is False
    told = audited(traffic, tmp_path, catalogue=None, scenario=silent, zero_at=ZeroAt(0))
    assert told.expectations[0].holds is True
