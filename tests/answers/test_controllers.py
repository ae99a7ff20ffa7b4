"""What check and simulate say of controllers: bounds and why there is none, frames that found no room."""

from pathlib import Path

import pytest

from busdesign.answers.check import CheckAnswer, check
from busdesign.answers.simulate import simulate
from busdesign.catalogue.reader import parse_catalogue
from tests.networks import scenario_of

NET = """
catalogue: fitted
bus: {bit_rate: 250 kbit/s}
nodes:
  panel: {%s}
  strut: {%s}
messages:
  alarm:  {id: 0x080, from: strut, to: panel, every: 20 ms, bytes: 1, lost_after: 100 ms}
  report: {id: 0x210, from: strut, to: panel, every: 20 ms, bytes: 8, lost_after: 100 ms}
  demand: {id: 0x110, from: panel, to: strut, every: 20 ms, bytes: 8, lost_after: 100 ms}
"""


def checked(strut: str = "", panel: str = "") -> CheckAnswer:
    return check(parse_catalogue(NET % (panel, strut)))


def bounds(answer: CheckAnswer) -> list[float | None]:
    return [message.response_worst_ms for message in answer.messages]


def said(answer: CheckAnswer, rule: str) -> list[tuple[str, str]]:
    return [(found.text, found.fix) for found in answer.findings if found.rule == rule]


def test_a_fifo_raises_the_bound_of_what_is_urgent_in_it() -> None:
    plain, fifo = bounds(checked()), bounds(checked("transmit: {queue: fifo, depth: 2}"))
    assert plain[0] is not None
    assert fifo[0] is not None
    assert fifo[0] > plain[0]
    assert checked("transmit: {queue: fifo, depth: 2}").holds


def test_three_buffers_that_are_aborted_are_as_good_as_a_priority_queue() -> None:
    assert bounds(checked("transmit: {queue: buffers, buffers: 3, abort: true}")) == bounds(checked())
    assert bounds(checked("transmit: {queue: priority}")) == bounds(checked())


@pytest.mark.parametrize(
    ("strut", "why", "fix"),
    [
        (
            "transmit: {queue: fifo}",
            "nothing says how many frames the FIFO of `strut` holds before it drops one",
            "state its `depth`; `depth: 2` would do",
        ),
        (
            "transmit: {queue: fifo, depth: 1}",
            "up to 2 frames may wait in the FIFO of `strut`, and it drops what comes after 1",
            "`depth: 2`, or longer periods",
        ),
        (
            "transmit: {queue: buffers, buffers: 2, abort: true}",
            (
                "of 2 buffers in `strut` one may be on the wire and one being filled, so that less urgent frames of "
                "others may go first again and again"
            ),
            "3 buffers that can be aborted are enough",
        ),
    ],
)
def test_no_bound_with_the_reason(strut: str, why: str, fix: str) -> None:
    answer = checked(strut)
    alarm, report, demand = bounds(answer)
    assert (alarm, report) == (None, None)
    assert demand is not None, "what another node sends still has one"
    assert not answer.holds
    assert said(answer, "no-bound") == [
        (f"`alarm` has no bound: {why}", fix),
        (f"`report` has no bound: {why}", fix),
    ]


def test_a_fifo_on_a_full_bus_has_no_bound() -> None:
    full = NET.replace("every: 20 ms, bytes: 8", "every: 500 us, bytes: 8")
    answer = check(parse_catalogue(full % ("", "transmit: {queue: fifo, depth: 9}")))
    assert bounds(answer)[:2] == [None, None]
    assert all("ask for" in text for text, _ in said(answer, "no-bound")[:1])


def test_a_receive_fifo_that_is_too_small() -> None:
    assert said(checked(panel="receive: {depth: 2, read_every: 1 ms}"), "receive-overrun") == []
    answer = checked(panel="receive: {depth: 2, read_every: 20 ms}")
    ((text, fix),) = said(answer, "receive-overrun")
    assert text == "up to 4 frames for `panel` may come within 20 ms, but its receive FIFO holds 2"
    assert fix == "`depth: 4`, or read more often"
    assert not answer.holds
    assert said(checked(panel="receive: {depth: 4, read_every: 20 ms}"), "receive-overrun") == []


def test_a_run_counts_what_was_lost_on_the_way_out_and_in() -> None:
    text = NET % ("receive: {depth: 1, read_every: 20 ms}", "transmit: {queue: fifo, depth: 1}")
    # `alarm` and `report` are released together, so that the second one finds the FIFO full each time.
    answer = simulate(scenario_of(parse_catalogue(text), 99_000_000, root=Path("nowhere")))
    assert [(node.name, node.transmit_overruns, node.receive_overruns) for node in answer.nodes] == [
        ("panel", 0, 0),
        ("strut", 5, 0),
    ]
    assert {message.name: (message.sent, message.lost) for message in answer.messages} == {
        "alarm": (5, 0),
        "report": (0, 5),
        "demand": (5, 0),
    }
    (dropped,) = [found for found in answer.findings if found.rule == "transmit-overrun"]
    assert dropped.text == "`strut` dropped 5 frames: its FIFO of 1 was full"
    text = NET % ("receive: {depth: 1, read_every: 20 ms}", "")
    answer = simulate(scenario_of(parse_catalogue(text), 99_000_000, root=Path("nowhere")))
    assert answer.nodes[0].receive_overruns == 5
    (lost,) = [found for found in answer.findings if found.rule == "receive-overrun"]
    assert lost.text == (
        "`panel` lost 5 frames that it had heard: its receive FIFO of 1 was full, as it reads every 20 ms"
    )
    assert not answer.holds
