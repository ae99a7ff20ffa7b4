"""``busdesign.check``: load, response times, verdict and findings, as figures that can be worked out by hand."""

from dataclasses import replace

import pytest

import busdesign
from busdesign.analysis.frame_lengths import LENGTHS, longest_frames
from busdesign.analysis.streams import worst_cases
from busdesign.answers.check import CheckAnswer, check
from busdesign.answers.longest import longest_frames_of
from busdesign.answers.plain import as_plain
from busdesign.catalogue.reader import parse_catalogue
from busdesign.errors import CatalogueError
from busdesign.findings import Severity
from busdesign.wire.lengths import frame_bits

HEAD = """\
catalogue: two-boards
revision: 7
bus: {bit_rate: 125 kbit/s}
nodes: {panel: {}, motor: {}}
messages:
"""
DEMAND = """\
  demand:
    id: 0x100
    from: panel
    every: 10 ms
    deadline: 5 ms
    signals: {order: {bits: 8}}
"""
REPORT = """\
  report:
    id: 0x200
    from: motor
    every: 20 ms
    signals: {position: {bits: 64}}
"""
UNTOLD = ("nobody-receives", "no-lost-after")
BIT_MS = 1 / 125  # at 125 kbit/s
# Longest frames with an 11-bit identifier: 8 n + 47 + (34 + 8 n - 1) // 4 bits, Davis et al. 2007, equation 1.
DEMAND_BITS, REPORT_BITS = 8 + 47 + 41 // 4, 64 + 47 + 97 // 4


def checked(messages: str, head: str = HEAD) -> CheckAnswer:
    """The answer about a catalogue of these messages, but for the advice to say who receives what."""
    answer = check(parse_catalogue(head + messages), lengths="published")
    return replace(answer, findings=tuple(found for found in answer.findings if found.rule not in UNTOLD))


def test_two_messages_worked_out_by_hand() -> None:
    answer = checked(DEMAND + REPORT)
    assert (answer.catalogue, answer.revision, answer.lengths, answer.holds) == ("two-boards", 7, "published", True)
    assert answer.findings == ()
    demand, report = answer.messages
    assert (demand.frame_bits_max, report.frame_bits_max) == (DEMAND_BITS, REPORT_BITS) == (65, 135)
    # Exact, as every payload shows: with these identifiers even the shortest frame has stuff bits in its header.
    assert demand.frame_bits_min == min(frame_bits(0x100, bytes([value])) for value in range(256))
    assert 64 + 47 <= report.frame_bits_min <= frame_bits(0x200, bytes.fromhex("5555555555555555"))
    # The one waits for the other's frame that has begun, or for all that is ready with it.
    assert demand.blocking_ms == pytest.approx(REPORT_BITS * BIT_MS)
    assert demand.response_worst_ms == pytest.approx((REPORT_BITS + DEMAND_BITS) * BIT_MS)
    assert report.blocking_ms == 0
    assert report.response_worst_ms == pytest.approx((DEMAND_BITS + REPORT_BITS) * BIT_MS)
    assert (demand.meets_deadline, report.meets_deadline) == (True, True)
    assert answer.bus.load_worst == pytest.approx(DEMAND_BITS * BIT_MS / 10 + REPORT_BITS * BIT_MS / 20)


def test_the_nominal_load_is_the_mean_over_all_payloads() -> None:
    mean_bits = sum(frame_bits(0x100, bytes([value])) for value in range(256)) / 256
    assert checked(DEMAND).bus.load_nominal == pytest.approx(mean_bits * BIT_MS / 10, abs=0.5 * BIT_MS / 10)  # sampled


def test_the_answer_says_what_the_analysis_says() -> None:
    catalogue = parse_catalogue(HEAD + DEMAND + REPORT)
    worst = worst_cases(catalogue, longest_frames(catalogue))
    answer = check(catalogue)
    assert answer.definition is catalogue
    assert {message.name: message.response_worst_ms for message in answer.messages} == {
        name: case.response_ns / 1e6 for name, case in worst.cases.items() if case.response_ns is not None
    }


def test_without_a_deadline_the_period_is_the_deadline() -> None:
    assert checked(REPORT).messages[0].deadline_ms == 20


@pytest.mark.parametrize(("deadline", "holds"), [("1.6 ms", True), ("1599 us", False)])
def test_a_deadline_is_met_to_the_bit(deadline: str, holds: bool) -> None:
    answer = checked(DEMAND.replace("deadline: 5 ms", f"deadline: {deadline}") + REPORT)
    assert answer.messages[0].response_worst_ms == 1.6
    assert answer.messages[0].meets_deadline is holds
    assert answer.holds is holds
    assert [found.rule for found in answer.findings] == ([] if holds else ["deadline-missed"])


def test_what_is_too_late_is_said_where_the_deadline_stands() -> None:
    answer = checked(DEMAND.replace("deadline: 5 ms", "deadline: 1 ms") + REPORT)
    (found,) = answer.findings
    assert found.severity is Severity.BROKEN
    assert found.where is not None
    assert (found.where.line, found.where.column) == (10, 15)
    assert found.text == "`demand` can take 1.6 ms, 600 us beyond its deadline of 1 ms"
    assert found.fix == "a lower identifier, a higher bit rate, or `deadline: 1.6 ms`"


def test_the_deadline_that_is_proposed_would_do() -> None:
    answer = checked(DEMAND.replace("deadline: 5 ms", "deadline: 1 ms") + REPORT, HEAD.replace("125", "83.333"))
    (found,) = answer.findings
    proposed = found.fix.rpartition("`deadline: ")[2].rstrip("`")
    mended = DEMAND.replace("deadline: 5 ms", f"deadline: {proposed}")
    assert checked(mended + REPORT, HEAD.replace("125", "83.333")).holds


def test_more_than_the_bus_can_carry() -> None:
    answer = checked(DEMAND + REPORT, HEAD.replace("125 kbit/s", "10 kbit/s"))
    assert answer.bus.load_worst == pytest.approx(1.325)
    assert not answer.holds
    demand, report = answer.messages
    assert (report.response_worst_ms, report.queuing_ms, report.meets_deadline) == (None, None, None)
    assert demand.response_worst_ms is not None
    assert demand.meets_deadline is False
    assert [found.rule for found in answer.findings] == [
        "bus-overloaded",
        "deadline-below-frame",
        "no-bound",
    ]


def test_a_message_without_an_identifier_has_no_response_and_breaks_the_promise() -> None:
    answer = checked(DEMAND + REPORT.replace("    id: 0x200\n", ""))
    report = answer.messages[1]
    assert (report.id, report.response_worst_ms, report.blocking_ms, report.meets_deadline) == (None,) * 4
    assert [(found.rule, found.severity) for found in answer.findings] == [("no-identifier", Severity.BROKEN)]
    assert not answer.holds


def test_an_unusable_catalogue_is_raised_with_all_that_is_wrong() -> None:
    with pytest.raises(CatalogueError) as raised:
        checked(DEMAND.replace("10 ms", "10") + REPORT.replace("20 ms", "20"))
    assert [found.where.line for found in raised.value.findings if found.where] == [9, 15]


def test_a_method_for_lengths_that_does_not_exist() -> None:
    with pytest.raises(KeyError):
        check(parse_catalogue(HEAD + DEMAND + REPORT), lengths="guessed")


def test_the_root_package_has_the_same_door() -> None:
    assert busdesign.check is check
    same = busdesign.check(parse_catalogue(HEAD + DEMAND + REPORT), lengths="published")
    assert same.messages == checked(DEMAND + REPORT).messages


def test_the_exact_longest_frames_are_what_is_taken_unless_asked_otherwise() -> None:
    exact = busdesign.check(parse_catalogue(HEAD + DEMAND + REPORT))
    formula = checked(DEMAND + REPORT)
    assert exact.lengths == "any-payload"
    longest = max(frame_bits(0x100, bytes([value])) for value in range(256))
    assert exact.messages[0].frame_bits_max == longest < formula.messages[0].frame_bits_max == DEMAND_BITS
    won = [message.frame_bits_formula - message.frame_bits_max for message in exact.messages]
    assert (exact.bits_won, exact.bits_won_most) == (sum(won), max(won))
    assert exact.messages[1].response_worst_ms is not None
    assert formula.messages[1].response_worst_ms is not None
    assert exact.messages[1].response_worst_ms < formula.messages[1].response_worst_ms
    assert (formula.bits_won, formula.bits_won_most) == (0, 0)


def test_as_declared_is_no_longer_than_any_payload_and_no_shorter_than_what_is_sent() -> None:
    narrow = DEMAND.replace(
        "{order: {bits: 8}}", "{order: {bits: 3, codes: {1: up, 5: down}}, rest: {bits: 4, range: [2, 9]}}"
    )
    catalogue = parse_catalogue(HEAD + narrow)
    sent = max(frame_bits(0x100, bytes([order | rest << 3])) for order in (1, 5) for rest in range(2, 10))
    lengths = {name: check(catalogue, lengths=name).messages[0].frame_bits_max for name in LENGTHS}
    assert lengths["as-declared"] == sent <= lengths["any-payload"] < lengths["published"]


def test_a_frame_is_shown_that_is_as_long_as_the_bound_says() -> None:
    checked_exactly = check(parse_catalogue(HEAD + DEMAND + REPORT))
    for frame, message in zip(longest_frames_of(checked_exactly), checked_exactly.messages, strict=True):
        assert frame.id is not None
        assert frame.data is not None
        assert frame_bits(frame.id, bytes.fromhex(frame.data)) == frame.bits == message.frame_bits_max


def test_plain_data_is_what_scripts_get() -> None:
    plain = as_plain(checked(DEMAND.replace("deadline: 5 ms", "deadline: 1 ms") + REPORT))
    assert "definition" not in plain
    assert plain["findings"][0]["where"] == {"file": "catalogue.yaml", "line": 10, "column": 15}
    assert plain["findings"][0]["severity"] == "broken"
    assert type(plain["bus"]["load_worst"]) is float


SILENCE = """
catalogue: s
bus: {{bit_rate: 250 kbit/s}}
nodes: {{a: {{}}, b: {{}}}}
messages:
  m: {{id: 1, from: a, to: b, bytes: 8, {}}}
"""


@pytest.mark.parametrize(
    ("timing", "rule"),
    [
        ("every: 100 ms, lost_after: 100 ms", "lost-after-too-short"),
        ("every: 100 ms, lost_after: 150 ms", "lost-after-short"),
        ("every: 100 ms, lost_after: 201 ms", None),
        ("every: 100 ms, jitter: 60 ms, lost_after: 150 ms", "lost-after-too-short"),
        ("irregular: {at_least_apart: 20 ms}, lost_after: 150 ms", "lost-after-of-irregular"),
    ],
)
def test_silence_that_a_healthy_bus_exceeds(timing: str, rule: str | None) -> None:
    answer = check(parse_catalogue(SILENCE.format(timing)))
    assert [found.rule for found in answer.findings] == ([rule] if rule else [])
    assert answer.holds is (rule != "lost-after-too-short")
    assert all(found.where and "lost_after" in found.where.quoted for found in answer.findings)


def test_a_message_without_an_identifier_may_block_all_others() -> None:
    head = "catalogue: s\nbus: {bit_rate: 125 kbit/s}\nnodes: {a: {}, b: {}}\nmessages:\n"
    urgent = "  urgent: {id: 0x100, from: a, to: b, bytes: 0, every: 10 ms, deadline: 1 ms}\n"
    bulk = "  bulk: {from: b, to: a, bytes: 8, every: 100 ms}\n"
    (alone,) = check(parse_catalogue(head + urgent)).messages
    beside = check(parse_catalogue(head + urgent + bulk)).messages[0]
    placed = check(parse_catalogue(head + urgent + bulk.replace("{", "{id: 0x700, ", 1))).messages[0]
    assert alone.meets_deadline is True
    assert beside.meets_deadline is False
    assert beside.response_worst_ms is not None
    assert placed.response_worst_ms is not None
    assert beside.response_worst_ms >= placed.response_worst_ms  # the longest frame of any identifier
