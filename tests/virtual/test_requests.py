"""Remote requests: a frame without data that makes another node's controller send its message at once."""

from fractions import Fraction

import numpy as np
import pytest

from busdesign.answers.check import check
from busdesign.catalogue.reader import parse_catalogue
from busdesign.traffic.select import rows_of
from busdesign.virtual.node import Arrival, Node
from busdesign.wire.flags import REMOTE
from busdesign.wire.frame import Frame, lay_out
from tests.networks import run_of

MS = 1_000_000
BIT_NS = 4_000
EOF_TO_IDLE = 3  # bits of intermission
NET = """
catalogue: asked
bus: {bit_rate: 250 kbit/s}
nodes: {panel: {}, strut: {}}
messages:
  ask: {requests: told, from: panel, to: strut, every: 20 ms}
  told: {id: 0x120, from: strut, to: panel, irregular: {at_least_apart: 15 ms}, signals: {turns: {bits: 16}}}
"""


class Strut(Node):
    """Counts the requests, and publishes the count."""

    def begin(self) -> None:
        self.asked = 0

    def heard(self, message: Arrival) -> None:
        self.asked += 1
        assert message.name == "ask"
        assert message.values() == {}
        self.publish("told", turns=self.asked)


def strut() -> Strut:
    node = Strut()
    node.name = "strut"
    return node


def test_a_request_is_a_remote_frame_and_is_answered_at_once() -> None:
    catalogue = parse_catalogue(NET)
    ask, told = catalogue.message("ask"), catalogue.message("told")
    assert (ask.identifier, ask.length_bytes, ask.data_bytes) == (0x120, 2, 0)
    run = run_of(catalogue, 100 * MS)
    asked, answered = rows_of(run.traffic, ask), rows_of(run.traffic, told)
    assert len(asked) == len(answered) == 5
    assert (run.traffic.flags[asked] == REMOTE).all()
    assert not run.traffic.payload[asked].any()
    bits = lay_out(Frame(0x120, b"", remote=True, dlc=2)).length_bits
    assert (run.wire_bits[asked] == bits).all()
    assert (run.release_ns[answered] == run.traffic.end_ns[asked]).all()
    assert (run.start_ns[answered] == run.traffic.end_ns[asked] + EOF_TO_IDLE * BIT_NS).all()


def test_what_the_asked_model_published_last_is_sent() -> None:
    catalogue = parse_catalogue(NET)
    run = run_of(catalogue, 100 * MS, {"strut": strut()})
    told = rows_of(run.traffic, catalogue.message("told"))
    # The controller answers from what stands in its buffer: the count that the request before it brought about.
    assert run.traffic.payload[told].tolist() == [0, 1, 2, 3, 4]


def test_the_answer_has_priority_over_the_next_request_and_loses_to_what_comes_before_it() -> None:
    first = NET + "  urgent: {id: 0x11F, from: panel, every: 20 ms, signals: {x: {bits: 8}}}\n"
    run = run_of(parse_catalogue(first), 20 * MS)
    assert run.message_index.tolist() == [2, 0, 1]


def test_a_request_that_can_come_too_soon_breaks_a_promise_and_the_run_shows_it() -> None:
    hasty = NET.replace("at_least_apart: 15 ms", "at_least_apart: 19900 us").replace(
        "every: 20 ms", "every: 20 ms, jitter: 2 ms"
    )
    found = check(parse_catalogue(hasty))
    assert [finding.rule for finding in found.findings] == ["request-too-soon"]
    assert not found.holds
    run = run_of(parse_catalogue(hasty), 1_000 * MS, jitter="random")
    assert [finding.rule for finding in run.findings] == ["said-too-soon"]


def test_the_bound_of_a_request_is_that_of_a_frame_without_data() -> None:
    found = {message.name: message for message in check(parse_catalogue(NET)).messages}
    only_one = lay_out(Frame(0x120, b"", remote=True, dlc=2)).length_bits
    assert found["ask"].frame_bits_min == found["ask"].frame_bits_max == only_one
    run = run_of(parse_catalogue(NET), 1_000 * MS)
    for index, name in enumerate(("ask", "told")):
        worst = found[name].response_worst_ms
        assert worst is not None
        assert int(np.max(run.response_ns[run.message_index == index])) <= worst * MS


@pytest.mark.parametrize(
    ("key", "rule"),
    [
        ("id: 0x1, requests: told", "request"),
        ("requests: ask", "request"),
        ("requests: tolled", "request"),
        ("requests: steady", "request"),
    ],
)
def test_requests_that_make_no_sense_are_refused(key: str, rule: str) -> None:
    from busdesign.errors import CatalogueError

    steady = "  steady: {id: 0x130, from: strut, every: 20 ms, signals: {x: {bits: 8}}}\n"
    with pytest.raises(CatalogueError) as refused:
        parse_catalogue(NET.replace("requests: told", key) + steady)
    assert rule in [finding.rule for finding in refused.value.findings]


def test_a_fast_clock_brings_requests_closer_together() -> None:
    slack = NET.replace("at_least_apart: 15 ms", "at_least_apart: 19 ms")
    assert check(parse_catalogue(slack)).holds
    fast = check(parse_catalogue(slack.replace("panel: {}", "panel: {tolerance: 5 %}")))
    assert "request-too-soon" in [finding.rule for finding in fast.findings]
    assert parse_catalogue(slack).bus.bit_rate_bit_s == Fraction(250_000)
