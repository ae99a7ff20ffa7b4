"""Runs on a disturbed wire: bit counts by hand, counters, bus off and recovery, segments, nodes without power."""

from dataclasses import replace
from fractions import Fraction
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
import yaml

from busdesign.catalogue.model import Catalogue
from busdesign.traffic.frames import BUS_ERROR_CLASS
from busdesign.virtual.bus import simulate_bus
from busdesign.virtual.disturbances import (
    BitOfFrame,
    Burst,
    Conditions,
    Instant,
    Level,
    Off,
    Parted,
    RandomBits,
    Source,
    Stuck,
    Who,
)
from busdesign.virtual.node import Arrival, Node, Number
from busdesign.virtual.run import ErrorState, Run
from busdesign.wire.flags import ERROR
from tests.networks import MS, catalogue_of, fixed, message_of, scenario_of

PUBLISHED: dict[str, Any] = yaml.safe_load(
    (Path(__file__).parents[1] / "published" / "values" / "error_frames.yaml").read_text()
)
RECOVERY = PUBLISHED["derived_error_recovery_bits"]
BIT_NS = 2000
DATA = b"\x3c" * 8  # four equal bits at most: 111 bits and few stuff bits in identifier and CRC


def bus(*names: str, bit_rate: int = 500_000, period_ns: int = 10 * MS, nodes: str = "abc") -> Catalogue:
    """One message of 8 bytes for each letter in ``names``, from the node of that letter, less urgent one by one."""
    messages = [
        replace(message_of(f"of_{name}", 0x155 + rank, name, 8, period_ns), receivers=(*nodes.replace(name, ""),))
        for rank, name in enumerate(names)
    ]
    return catalogue_of(messages, bit_rate, dict.fromkeys(nodes, Fraction(0)))


def run(catalogue: Catalogue, run_for_ns: int, conditions: Conditions, models: Any = None) -> Run:
    payload = fixed({message.name: DATA for message in catalogue.messages})
    return simulate_bus(scenario_of(catalogue, run_for_ns, payload=payload), models or {}, None, conditions)


def hits(*sources: Source) -> Conditions:
    return Conditions(sources=sources)


def states(run: Run, node: str) -> list[tuple[int, str]]:
    """When a node changed its state, and to which."""
    changes = run.errors[node]
    return [(one.at_ns, one.state) for before, one in pairwise(changes) if one.state != before.state]


def length_bits(catalogue: Catalogue) -> int:
    return int(run(catalogue, 5 * MS, Conditions()).wire_bits[0])


def test_a_frame_that_is_hit_is_sent_again_after_the_longest_error_frame() -> None:
    """Bit 40 is the first of a pair in 0011 1100: read wrong by all, flags of 12 bits, 41 + 23 bits lost."""
    catalogue = bus("a")
    found = run(catalogue, 5 * MS, hits(BitOfFrame("of_a", 0, 40)))
    (error,) = found.error_frames
    assert (error.message, error.number, error.tried, error.kind, error.bit, error.by) == (
        "of_a", 0, 0, "bit error", 40, "a"
    )  # fmt: skip
    assert error.flag_ns == 41 * BIT_NS
    lost_bits = int(found.start_ns[0]) // BIT_NS
    assert 41 + RECOVERY["min_active"] <= lost_bits <= 41 + RECOVERY["max_active"]
    assert error.end_ns == (lost_bits - PUBLISHED["intermission_recessive"]) * BIT_NS
    assert found.response_ns[0] == (lost_bits + found.wire_bits[0]) * BIT_NS
    assert len(found.traffic) == 1
    assert found.errors["a"] == (
        ErrorState(0, 0, 0, "error active"),
        ErrorState((lost_bits - 11) * BIT_NS, 8, 0, "error active"),
        ErrorState(int(found.traffic.end_ns[0]), 7, 0, "error active"),
    )
    assert [one.rec for one in found.errors["b"]] == [0, 1, 0]


def test_a_missing_acknowledgement_costs_the_shortest_error_frame() -> None:
    """Nobody else is there: 6 flag bits, 8 and 3, from the acknowledge delimiter on; 9 bits of the frame are left."""
    catalogue = bus("a")
    length = length_bits(catalogue)
    found = run(catalogue, 5 * MS, Conditions(off=(Off("b", 0), Off("c", 0))))
    first, second = found.error_frames[:2]
    assert first.kind == "acknowledge error"
    assert first.flag_ns == (length - 11) * BIT_NS
    assert second.flag_ns - first.flag_ns == (length - 11 + RECOVERY["min_active"]) * BIT_NS


def test_a_node_alone_goes_error_passive_and_never_bus_off() -> None:
    """After 16 attempts; from then on it pauses 8 bits more before each. Published: single node startup."""
    catalogue = bus("a", nodes="a")
    length = length_bits(bus("a"))
    found = run(catalogue, 100 * MS, Conditions())
    assert len(found.traffic) == 0
    assert found.errors["a"][-1].tec == 128
    assert len(found.errors["a"]) == 1 + PUBLISHED["derived_fault_counts"]["consecutive_tx_errors_to_error_passive"]
    assert [state for _, state in states(found, "a")] == ["error passive"]
    apart = [(later.flag_ns - one.flag_ns) // BIT_NS for one, later in pairwise(found.error_frames)]
    assert set(apart[:15]) == {length - 11 + RECOVERY["min_active"]}
    assert set(apart[15:]) == {length - 11 + RECOVERY["min_active"] + PUBLISHED["suspend_transmission_recessive"]}
    assert found.unfinished["of_a"] == found.released["of_a"] == 10


@pytest.mark.parametrize("bit_rate", [125_000, 250_000, 500_000, 1_000_000])
def test_bus_off_after_32_errors_in_a_row_and_back_after_the_published_time(bit_rate: int) -> None:
    catalogue = bus("a", bit_rate=bit_rate, period_ns=50 * MS)
    found = run(catalogue, 45 * MS, hits(BitOfFrame("of_a", 0, 40, attempts=1000)))
    assert len(found.error_frames) == PUBLISHED["derived_fault_counts"]["consecutive_tx_errors_to_bus_off"]
    (_, passive), (off_ns, off), (back_ns, back) = states(found, "a")
    assert (passive, off, back) == ("error passive", "bus off", "error active")
    assert (back_ns - off_ns) / MS == pytest.approx(PUBLISHED["derived_bus_off_times_ms"][bit_rate], abs=1e-9)
    assert found.unfinished["of_a"] == 1
    assert len(found.traffic) == 0


def test_a_frame_counts_as_one_run_of_a_busy_bus() -> None:
    """`a` is bus off. Each frame of `b` ends in 11 recessive bits; idle stretches count by 11."""
    catalogue = bus("a", "b", period_ns=2 * MS)
    source = BitOfFrame("of_a", 1, 40, attempts=1000)
    (_, _), (off_ns, _), (back_ns, _) = states(run(catalogue, 60 * MS, hits(source)), "a")
    alone = states(run(bus("a", period_ns=2 * MS), 60 * MS, hits(source)), "a")
    assert back_ns - off_ns > alone[2][0] - alone[1][0]


def test_one_that_stays_bus_off_comes_back_when_it_is_asked_to_only() -> None:
    catalogue = bus("a", "b")
    source = BitOfFrame("of_a", 0, 40, attempts=1000)
    found = run(catalogue, 80 * MS, Conditions(sources=(source,), stay_off=frozenset("a")))
    assert found.errors["a"][-1].state == "bus off"
    assert len(found.traffic) == 8  # of b alone
    back = run(catalogue, 80 * MS, hits(source))
    assert back.errors["a"][-1].state == "error active"
    assert len(back.traffic) == 15


def test_an_error_passive_node_lets_the_next_one_go_first() -> None:
    """16 errors in a row: then `a`, though more urgent, waits 8 bits longer than `b`."""
    catalogue = bus("a", "b")
    urgent = run(catalogue, 9 * MS, hits(BitOfFrame("of_a", 0, 40, attempts=15)))
    assert list(urgent.message_index) == [0, 1]
    passive = run(catalogue, 9 * MS, hits(BitOfFrame("of_a", 0, 40, attempts=16)))
    assert list(passive.message_index) == [1, 0]


class Ear(Node):
    """Counts what it hears and what it misses."""

    heard_so_far = Number("")
    missed_so_far = Number("")

    def heard(self, message: Arrival) -> None:
        self.heard_so_far += 1

    def missed(self, message: object) -> None:
        self.missed_so_far += 1


def ears(nodes: str) -> dict[str, Ear]:
    made = {name: Ear() for name in nodes}
    for name, ear in made.items():
        ear.name = name
    return made


def test_the_last_bit_but_one_makes_some_hear_a_frame_twice() -> None:
    catalogue = bus("a")
    listening = ears("bc")
    hit = BitOfFrame("of_a", 0, 5, "end of frame", frozenset("b"))
    found = run(catalogue, 5 * MS, hits(hit), listening)
    assert len(found.traffic) == 1
    assert (listening["b"].heard_so_far, listening["c"].heard_so_far) == (1, 2)


def test_what_the_transmitter_alone_reads_wrong_is_its_error() -> None:
    found = run(bus("a"), 5 * MS, hits(Instant(40 * BIT_NS, Who.TRANSMITTER)))
    assert [(error.kind, error.by, error.bit) for error in found.error_frames] == [("bit error", "a", 40)]
    found = run(bus("a"), 5 * MS, hits(Instant(40 * BIT_NS, frozenset("b"))))
    assert [error.by for error in found.error_frames] == ["b"]
    assert max(one.rec for one in found.errors["b"]) == 9  # 1, and 8 for the dominant bit behind its flag
    assert max(one.rec for one in found.errors["c"]) == 1


def test_open_wires_leave_two_buses() -> None:
    """Between 5 and 24 ms `a` is alone and repeats without end; `b` and `c` go on as if nothing had happened."""
    listening = ears("abc")
    parted = Parted((frozenset("a"), frozenset("bc")), 5 * MS, 24 * MS)
    catalogue = bus("a", "b")
    found = run(catalogue, 40 * MS, Conditions(parted=(parted,)), listening)
    of_a = found.start_ns[found.message_index == 0]
    of_b = found.start_ns[found.message_index == 1]
    assert list(of_b[1:3]) == [10 * MS, 20 * MS]  # nobody is before it
    assert (of_a[1] > 24 * MS).item()
    assert {error.kind for error in found.error_frames} == {"acknowledge error"}
    assert [state for _, state in states(found, "a")] == ["error passive", "error active"]
    assert len(found.errors["b"]) == 1
    assert listening["c"].heard_so_far == len(found.traffic)
    assert listening["a"].heard_so_far == len(of_b) - 2


def test_two_segments_are_busy_at_the_same_time() -> None:
    catalogue = bus("a", "b", "c", "d", nodes="abcd")
    parted = Parted((frozenset("ab"), frozenset("cd")), 0)
    found = run(catalogue, 9 * MS, Conditions(parted=(parted,)))
    assert list(found.start_ns[:2]) == [0, 0]
    assert not found.error_frames
    assert sorted(found.message_index[2:]) == [1, 3]


def test_a_frame_that_is_on_the_wire_as_it_opens_is_broken_off() -> None:
    parted = Parted((frozenset("ab"), frozenset("c")), 50 * BIT_NS)
    found = run(bus("a"), 5 * MS, Conditions(parted=(parted,)))
    assert [error.bit for error in found.error_frames] == [50]
    assert len(found.traffic) == 1


def test_a_node_without_power_sends_and_hears_nothing() -> None:
    listening = ears("bc")
    found = run(bus("a", "b"), 50 * MS, Conditions(off=(Off("b", 5 * MS, 25 * MS),)), listening)
    assert [int((found.message_index == index).sum()) for index in (0, 1)] == [5, 3]
    assert listening["b"].heard_so_far == 3
    assert listening["c"].heard_so_far == len(found.traffic)
    assert not found.error_frames


def test_a_stuck_pair_lets_nothing_through_and_then_everything() -> None:
    for level in Level:
        found = run(bus("a", "b"), 50 * MS, hits(Stuck(level, 5 * MS, 32 * MS)))
        assert not ((found.traffic.end_ns > 5 * MS) & (found.traffic.end_ns < 32 * MS)).any(), level
        assert (found.traffic.end_ns > 32 * MS).sum() >= 2
        for name in "ab":
            worst = max(one.tec + one.rec for one in found.errors[name])
            assert worst >= 128, level


def test_a_pair_stuck_recessive_turns_senders_off_and_receivers_notice_nothing() -> None:
    """Each attempt: start of frame, flag; 15 more bit errors in the first flag make it passive. Then 26 bits each."""
    found = run(bus("a"), 15 * MS, hits(Stuck(Level.RECESSIVE, 5 * MS)))
    assert len(found.errors["c"]) == 1
    (passive_ns, _), (off_ns, off) = states(found, "a")[:2]
    assert off == "bus off"
    assert passive_ns == 10 * MS + 16 * BIT_NS
    # passive flag 6, delimiter 8, intermission 3, suspension 8 after that; then 16 times a start of frame that fails
    assert off_ns == passive_ns + (25 + 15 * 26 + 1) * BIT_NS


def test_a_burst_holds_the_bus_until_its_end() -> None:
    until_ns = 300_000
    found = run(bus("a", "b", period_ns=50 * MS), 30 * MS, hits(Burst(50 * BIT_NS, until_ns)))
    assert found.start_ns[0] >= until_ns + 11 * BIT_NS
    short = run(bus("a", period_ns=50 * MS), 30 * MS, hits(Burst(50 * BIT_NS, 50 * BIT_NS + 10)))
    assert len(short.error_frames) == 1
    assert short.errors["a"][-1].tec == 7


def test_a_recording_of_it_has_the_error_frames_in_their_place() -> None:
    found = run(bus("a"), 15 * MS, hits(BitOfFrame("of_a", 0, 40), BitOfFrame("of_a", 1, 60)))
    recorded = found.recorded()
    assert list(recorded.flags) == [ERROR, 0, ERROR, 0]
    assert list(recorded.identifier) == [BUS_ERROR_CLASS, 0x155, BUS_ERROR_CLASS, 0x155]
    assert list(recorded.end_ns) == sorted(recorded.end_ns)
    assert run(bus("a"), 15 * MS, Conditions()).recorded().equal(run(bus("a"), 15 * MS, Conditions()).traffic)


def test_random_bits_depend_on_their_seed_and_place_alone() -> None:
    catalogue = bus("a", "b", period_ns=2 * MS)
    random = RandomBits(1 / 1000, seed=5)
    first, again = (run(catalogue, 400 * MS, hits(random)) for _ in range(2))
    assert first.error_frames == again.error_frames
    assert first.errors == again.errors
    assert first.traffic.equal(again.traffic)
    other = run(catalogue, 400 * MS, hits(RandomBits(1 / 1000, seed=6)))
    assert other.error_frames != first.error_frames
    hit = {(one.message, one.number, one.bit) for one in first.error_frames if one.tried == 0}
    beside = run(catalogue, 400 * MS, hits(Instant(1_000_000_007), random))
    assert {(one.message, one.number, one.bit) for one in beside.error_frames if one.tried == 0} == hit
    few = run(catalogue, 400 * MS, hits(RandomBits(1 / 1000, seed=5, until_ns=100 * MS)))
    assert few.error_frames == tuple(one for one in first.error_frames if one.flag_ns < 100 * MS + 20 * BIT_NS)


def test_the_rate_of_random_bits_is_theirs() -> None:
    """800 frames of about 115 bits, one bit in 1000 wrong: about 11 % of the attempts are hit."""
    catalogue = bus("a", "b", period_ns=2 * MS)
    found = run(catalogue, 800 * MS, hits(RandomBits(1 / 1000, seed=1)))
    share = len(found.error_frames) / (len(found.error_frames) + len(found.traffic))
    expected = 1 - (1 - 1 / 1000) ** float(found.wire_bits.mean())
    spread = (expected * (1 - expected) / (len(found.traffic) + len(found.error_frames))) ** 0.5
    assert abs(share - expected) < 4 * spread


@pytest.mark.parametrize("rate", [1.0, 1.5])
def test_a_rate_that_is_none_is_refused(rate: float) -> None:
    with pytest.raises(ValueError, match="rate"):
        run(bus("a"), 5 * MS, hits(RandomBits(rate, 1)))


def test_every_release_is_accounted_for_whatever_happens() -> None:
    catalogue = bus("a", "b", "c", period_ns=1 * MS)
    conditions = Conditions(
        sources=(RandomBits(1 / 300, 3), Stuck(Level.DOMINANT, 20 * MS, 21 * MS), Burst(40 * MS, 41 * MS)),
        off=(Off("b", 10_050_000, 15 * MS),),
        parted=(Parted((frozenset("a"),), 25_050_000, 30_070_000), Parted((frozenset("ab"),), 28 * MS, 33 * MS)),
    )
    found = run(catalogue, 60 * MS, conditions)
    for index, message in enumerate(catalogue.messages):
        sent = int((found.message_index == index).sum())
        assert sent + found.unfinished[message.name] == found.released[message.name]
    assert len(found.error_frames) > 20


@pytest.mark.parametrize(("idle_bits", "heard"), [(0, 1), (2, 1), (PUBLISHED["passive_error_needs_idle_bits"], 2)])
def test_an_error_passive_receiver_needs_an_idle_bus_of_three_bits(idle_bits: int, heard: int) -> None:
    """`b` alone reads the first of three frames wrong. Its passive flag ends in end of frame, its delimiter 3 bits
    after intermission: a frame that follows at once is missed, and the next one, after a pause, is not.
    """
    plain = bus("a", "c")
    length_ns = length_bits(plain) * BIT_NS
    messages = (
        replace(plain.messages[0], period_ns=50 * MS, offset_ns=30 * MS),
        replace(plain.messages[1], period_ns=50 * MS, offset_ns=30 * MS + length_ns + idle_bits * BIT_NS),
    )
    catalogue = replace(plain, messages=messages)
    listening = ears("b")
    made_passive = Stuck(Level.DOMINANT, 1 * MS, 2 * MS, seen_by=Who.ALL)
    hit = BitOfFrame("of_a", 0, 40, seen_by=frozenset("b"))
    found = run(catalogue, 49 * MS, hits(made_passive, hit), listening)
    assert len(found.traffic) == 2
    assert not found.error_frames
    assert listening["b"].heard_so_far == heard - 1
