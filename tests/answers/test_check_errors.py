"""``check`` where the catalogue declares errors; its fullest windows and its table of bit rates."""

import json
from pathlib import Path

import pytest

from busdesign.answers.check import CheckAnswer, check
from busdesign.answers.errors_check import ErrorsAnswer
from busdesign.answers.rates import at_rates
from busdesign.answers.window import fullest_window
from busdesign.catalogue.reader import parse_catalogue
from busdesign.cli.main import main
from busdesign.errors import CatalogueError
from busdesign.units import QuantityError

CATALOGUE = """\
catalogue: tried
bus: {bit_rate: 250 kbit/s%s}
nodes: {panel: {}, strut: {}}
messages:
  demand: {id: 0x110, from: panel, to: strut, every: 10 ms, bytes: 8%s}
  report: {id: 0x210, from: strut, to: panel, every: 10 ms, bytes: 8}
  log:    {id: 0x700, from: strut, to: panel, every: 100 ms, bytes: 8}
"""
BIT_MS = 0.004


def tried(errors: str = "", more: str = "") -> CheckAnswer:
    said = f", errors: {{{errors}}}" if errors else ""
    return check(parse_catalogue(CATALOGUE % (said, more), "tried.yaml"), lengths="published")


def errors_of(answer: CheckAnswer) -> ErrorsAnswer:
    assert answer.errors is not None
    return answer.errors


def rules(answer: CheckAnswer) -> list[str]:
    return [found.rule for found in answer.findings if found.severity == "broken"]


def test_without_declared_errors_there_is_no_answer_about_them() -> None:
    assert tried().errors is None


def test_each_error_costs_its_frame_and_the_recovery() -> None:
    """135 bits a frame: one of lower priority, then itself; each error 31 + 135 more."""
    one, two = tried("at_least_apart: 10 ms"), tried("at_least_apart: 10 ms, burst: 2")
    assert one.messages[0].response_worst_ms == pytest.approx(270 * BIT_MS)
    assert errors_of(one).messages[0].response_worst_ms == pytest.approx((270 + 166) * BIT_MS)
    assert errors_of(two).messages[0].response_worst_ms == pytest.approx((270 + 2 * 166) * BIT_MS)
    lasting = errors_of(tried("at_least_apart: 10 ms, lasting: 1 ms")).messages[0]
    # It may begin just before, and hold the bus longer than a frame: 1 ms and 31 bits.
    assert lasting.response_worst_ms == pytest.approx((31 + 135 + 166) * BIT_MS + 2)
    assert lasting.margin == pytest.approx(1 - ((31 + 135 + 166) * BIT_MS + 2) / 10)


def test_a_deadline_that_only_errors_break() -> None:
    kept, missed = (
        tried("at_least_apart: 10 ms", ", deadline: 2 ms"),
        tried("at_least_apart: 10 ms", ", deadline: 1.5 ms"),
    )
    assert kept.holds
    assert not missed.holds
    assert rules(missed) == ["deadline-missed-with-errors"]
    (found,) = (found for found in missed.findings if found.rule == "deadline-missed-with-errors")
    assert found.text == ("with the errors declared, `demand` can take 1.744 ms, 244 us beyond its deadline of 1.5 ms")
    assert "`deadline: 1.8 ms`" in found.fix
    assert errors_of(missed).messages[0].meets_deadline is False


def test_what_fails_without_errors_is_told_once() -> None:
    assert rules(tried("at_least_apart: 10 ms", ", deadline: 1 ms")) == ["deadline-missed"]


def test_errors_that_never_let_the_bus_recover_leave_no_number() -> None:
    answer = tried("at_least_apart: 700 us")
    assert rules(answer) == ["no-bound-with-errors"] * 3
    for message in errors_of(answer).messages:
        assert (message.response_worst_ms, message.meets_deadline, message.margin) == (None, None, None)
        assert "of the bus and the errors for 94.9 %" in message.why_not
    assert all(message.response_worst_ms is not None for message in answer.messages)


def test_a_disturbance_as_long_as_the_distance_leaves_no_number() -> None:
    assert rules(tried("at_least_apart: 1 ms, lasting: 1 ms")) == ["no-bound-with-errors"] * 3


def test_at_random_there_is_no_bound_but_a_probability() -> None:
    answer = tried("rate: 30 per s", ", deadline: 2 ms")
    assert answer.holds
    demand, report, _ = errors_of(answer).messages
    assert demand.response_worst_ms is None
    assert demand.why_not == "errors that come at random may come as close together as they like"
    assert demand.late_at_most is not None
    assert report.late_at_most is not None
    assert demand.late_at_most < 0.0523**2 / 2  # two errors or more in 436 bits, as a first approximation
    assert report.late_at_most < demand.late_at_most  # it has until 10 ms


def test_a_rate_too_high_in_the_mean_leaves_no_number() -> None:
    answer = tried("rate: 2000 per s")
    assert rules(answer) == ["no-bound-with-errors"] * 3
    assert [message.late_at_most for message in errors_of(answer).messages] == [None] * 3


@pytest.mark.parametrize(("rate", "same"), [("30 per s", "1800 per min"), ("30 per s", "108000 per h")])
def test_rates_are_written_as_people_do(rate: str, same: str) -> None:
    assert errors_of(tried(f"rate: {rate}")) == errors_of(tried(f"rate: {same}"))


def test_a_limit_to_the_probability_is_a_promise() -> None:
    kept, broken = (tried(f"rate: 30 per s, late_at_most: {limit}", ", deadline: 2 ms") for limit in ("1 %", "0.1 ppm"))
    assert kept.holds
    assert rules(broken) == ["late-too-often"]


@pytest.mark.parametrize(
    ("errors", "text"),
    [
        ("burst: 2", "says neither how far apart"),
        ("at_least_apart: 1 ms, rate: 3 per s", "exclude each other"),
        ("rate: 3 per s, burst: 2", "`burst` goes with `at_least_apart`, not with `rate`"),
        ("at_least_apart: 1 ms, late_at_most: 1 ppm", "`late_at_most` goes with `rate`"),
        ("at_least_apart: 0 ms", "must be longer than zero"),
        ("at_least_apart: 1 ms, burst: 0", "at least 1"),
        ("rate: 30", "has no unit"),
        ("rate: 30 Hz", "`Hz` measures a frequency"),
        ("rate: 0 per s", "must be above zero"),
        ("rate: 3 per s, late_at_most: 100 %", "is no such probability"),
        ("every: 10 ms", "unknown key `every`"),
    ],
)
def test_what_cannot_be_declared(errors: str, text: str) -> None:
    with pytest.raises(CatalogueError) as refused:
        tried(errors)
    (found,) = refused.value.findings
    assert text in found.text
    assert found.where is not None
    assert found.where.line == 2


# ---- load


def test_the_fullest_window_and_what_fills_it() -> None:
    answer = fullest_window(tried(), "2 ms")
    assert answer.load == pytest.approx(3 * 135 * BIT_MS / 2)
    assert {share.name: share.frames for share in answer.shares} == {"demand": 1, "report": 1, "log": 1}
    long = fullest_window(tried(), "10 s")
    assert long.load == pytest.approx(tried().bus.load_worst, rel=2e-3)
    assert [share.name for share in long.shares][2] == "log"


def test_a_full_bus_has_no_fullest_window() -> None:
    answer = check(parse_catalogue((CATALOGUE % ("", "")).replace("250", "25"), "tried.yaml"))
    window = fullest_window(answer, "2 ms")
    assert (window.load, window.shares) == (None, ())
    assert "has no bound" in window.why_not


@pytest.mark.parametrize("wrong", ["2", "0 ms", "2 kbit/s", "long", ""])
def test_a_window_is_a_time(wrong: str) -> None:
    with pytest.raises(QuantityError):
        fullest_window(tried(), wrong)


def test_half_the_rate_is_twice_the_load_and_at_least_twice_the_wait() -> None:
    answer = tried()
    slow, declared, fast, fastest = at_rates(answer)
    assert [rate.bit_rate_bit_s for rate in (slow, declared, fast, fastest)] == [125e3, 250e3, 500e3, 1e6]
    assert [rate.is_declared for rate in (slow, declared, fast, fastest)] == [False, True, False, False]
    for rate in (slow, declared, fast, fastest):
        factor = 250e3 / rate.bit_rate_bit_s
        assert rate.load_worst == pytest.approx(answer.bus.load_worst * factor)
        assert rate.load_nominal == pytest.approx(answer.bus.load_nominal * factor)
    assert [each.response_worst_ms for each in declared.messages] == [
        each.response_worst_ms for each in answer.messages
    ]
    for one, other in zip(slow.messages, declared.messages, strict=True):
        assert (one.response_worst_ms or 0) >= 2 * (other.response_worst_ms or 0)


def test_a_declared_rate_stands_among_the_usual_ones() -> None:
    answer = check(parse_catalogue((CATALOGUE % ("", "")).replace("250", "33.3"), "tried.yaml"))
    rates = at_rates(answer)
    assert [rate.is_declared for rate in rates] == [True, False, False, False, False]
    assert rates[0].late >= 1


def test_declared_errors_count_at_every_rate() -> None:
    plain, disturbed = at_rates(tried()), at_rates(tried("at_least_apart: 5 ms"))
    for one, other in zip(plain, disturbed, strict=True):
        assert all(
            (low.response_worst_ms or 0) < (high.response_worst_ms or 1e9)
            for low, high in zip(one.messages, other.messages, strict=True)
        )


def test_the_command_line_shows_and_tells_all_three(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = tmp_path / "tried.yaml"
    file.write_text(CATALOGUE % (", errors: {at_least_apart: 10 ms, burst: 2, lasting: 100 us}", ""))
    assert main(["check", str(file), "--window", "5ms", "--rates"]) == 0
    shown = capsys.readouterr().out
    assert "fullest 5 ms: " in shown
    assert "250 kbit/s (declared)" in shown
    assert "errors: 10 ms apart or more, 2 at once one time in a busy period, each lasting 100 us" in shown
    assert main(["check", str(file), "--window", "5ms", "--rates", "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["window"]["window_ms"] == 5
    assert [rate["bit_rate_bit_s"] for rate in told["rates"]] == [125e3, 250e3, 500e3, 1e6]
    assert told["errors"]["burst"] == 2
    assert told["errors"]["messages"][0]["response_worst_ms"] > told["messages"][0]["response_worst_ms"]


def test_the_command_line_shows_probabilities(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = tmp_path / "tried.yaml"
    file.write_text(CATALOGUE % (", errors: {rate: 0.5 per min}", ""))
    assert main(["check", str(file)]) == 0
    shown = capsys.readouterr().out
    assert "errors: 0.00833333 per s at random" in shown
    assert "late with a probability of at most" in shown


def test_a_window_that_is_no_time_is_refused_in_words(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = tmp_path / "tried.yaml"
    file.write_text(CATALOGUE % ("", ""))
    with pytest.raises(SystemExit) as stopped:
        main(["check", str(file), "--window", "5"])
    assert stopped.value.code == 2
    assert "--window: `5` has no unit" in capsys.readouterr().err
