"""Every kind of fault: what the guide claims of it happens, and does not happen without it."""

from pathlib import Path

import pytest

from busdesign.answers.simulate import SimulateAnswer, simulate
from busdesign.scenario.faults.kinds import KINDS
from busdesign.scenario.reader import parse_scenario
from busdesign.virtual.faults.players import PLAYERS
from tests.virtual.faulty_bus import laid_out, story

# Kind → its entry (with what others it needs beside it), and what is true at some moment because of it.
CLAIMS = {
    "silent": ("{at: 100 ms, until: 300 ms, kind: silent, node: left}", "left.silent and panel.heard_right > 20"),
    "reset": ("{at: 100 ms, until: 200 ms, kind: reset, node: left, restart: 50 ms}", "left.power_ups == 2"),
    "brown_out": ("{at: 100 ms, until: 200 ms, kind: brown_out, node: left, voltage: 6 V}", "left.power_ups == 2"),
    "babbling": ("{at: 100 ms, until: 200 ms, kind: babbling, node: far, id: 0x001, every: 300 us}", "left.misses > 0"),
    "stuck_dominant": ("{at: 100 ms, until: 200 ms, kind: stuck_dominant, node: far}", "left.misses > 0"),
    "stuck_recessive": ("{at: 100 ms, kind: stuck_recessive, node: left}", "left.silent"),
    "alone": ("{at: 100 ms, until: 200 ms, kind: alone, node: left}", "left.silent and left.misses == 1"),
    "full_buffer": ("{at: 100 ms, kind: full_buffer, node: far}", "left.order_late > 2550"),
    "flipped_bit": (
        "{at: 100 ms, kind: flipped_bit, message: order, frame: 3, bit: 20}",
        "left.orders == 13 and left.order_late > 350",
    ),
    "flipped_bits": ("{at: 100 ms, kind: flipped_bits, rate: 1 %, seed: 5}", "left.order_late > 500"),
    "burst": ("{at: 120 ms, kind: burst, lasts: 5 ms}", "left.order_late > 5000"),
    "end_of_frame_error": (
        "{at: 100 ms, kind: end_of_frame_error, message: plain, frame: 2, seen_by: [far]}",
        "left.plains == 51 and far.plains == 50",
    ),
    "wires_open": (
        "{at: 100 ms, kind: wires_open, between: [left, right]}",
        "left.orders == 50 and right.misses == 1",
    ),
    "one_wire_open": (
        "{at: 100 ms, kind: one_wire_open, wire: high, position: 8 m}",
        "far.silent and left.orders > 40",
    ),
    "pair_shorted": ("{at: 100 ms, until: 150 ms, kind: pair_shorted}", "far.silent and left.misses > 0"),
    "wire_to_ground": ("{at: 100 ms, until: 150 ms, kind: wire_to_ground, wire: high}", "left.misses > 0"),
    "wire_to_supply": ("{at: 100 ms, until: 150 ms, kind: wire_to_supply, wire: high}", "left.misses > 0"),
    "ground_lost": ("{at: 100 ms, until: 200 ms, kind: ground_lost, node: left}", "left.power_ups == 2"),
    "dead_unit": ("{at: 100 ms, kind: dead_unit, node: far, ohm: 1 ohm}", "far.silent and panel.silent"),
    "termination_missing": (
        "{at: 100 ms, kind: termination_missing, position: 10 m, error_rate: 1 %}",
        "left.order_late > 500",
    ),
    "wrong_bit_rate": ("{at: 100 ms, kind: wrong_bit_rate, node: far, bit_rate: 125 kbit/s}", "far.silent"),
    "oscillator": ("{at: 100 ms, kind: oscillator, node: far, error: +9 %}", "far.silent"),
    "wrong_sample_point": (
        "{at: 100 ms, kind: wrong_sample_point, node: left, sample_point: 5 %}",
        "left.silent or panel.gap_left < 1 and panel.heard_left > 10",
    ),
    "late": ("{at: 100 ms, kind: late, message: order, by: 3 ms}", "left.order_late > 3000"),
    "jittering": ("{at: 100 ms, kind: jittering, node: panel, by: 5 ms, seed: 4}", "left.order_late > 2000"),
    "duplicate_identifier": (
        "{at: 105 ms, kind: duplicate_identifier, node: far, message: plain}",
        "left.value == 0 and left.plains > 60",
    ),
    "corrupted": ("{at: 100 ms, until: 150 ms, kind: corrupted, message: order, payload_bit: 0}", "left.misses == 1"),
    "repeated": ("{at: 100 ms, kind: repeated, message: plain}", "left.step == 0 and left.plains > 60"),
    "lost": ("{at: 100 ms, kind: lost, message: plain, one_in: 3}", "left.step == 2"),
    "swapped": ("{at: 100 ms, kind: swapped, message: plain}", "left.step == 15"),
    "stale": ("{at: 100 ms, until: 150 ms, kind: stale, message: order}", "left.misses == 1 and left.word == halt"),
}  # fmt: skip
BESIDE = {
    "full_buffer": "{at: 0 s, kind: late, message: order, by: 2100 us}"
}  # in both stories: orders right behind `plain`


@pytest.fixture(scope="module")
def root(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return laid_out(tmp_path_factory.mktemp("faulty"))


def played(root: Path, entries: list[str], expect: str, run_for: str = "500 ms") -> SimulateAnswer:
    text = story("".join(f"  - {entry}\n" for entry in entries if entry), expect, run_for)
    return simulate(parse_scenario(text, str(root / "sim" / "story.yaml")))


def test_every_kind_is_played_and_claimed() -> None:
    assert list(CLAIMS) == list(KINDS)
    assert list(PLAYERS) == list(KINDS)


@pytest.mark.parametrize("kind", CLAIMS)
def test_the_claim_holds_with_the_fault(kind: str, root: Path) -> None:
    entry, claim = CLAIMS[kind]
    (found,) = played(root, [BESIDE.get(kind, ""), entry], claim).expectations
    assert found.holds is True, found.text


@pytest.mark.parametrize("kind", CLAIMS)
def test_the_claim_fails_without_it(kind: str, root: Path) -> None:
    (found,) = played(root, [BESIDE.get(kind, "")], CLAIMS[kind][1]).expectations
    assert found.holds is False, found.text
