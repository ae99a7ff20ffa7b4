"""What faults do beyond the one claim of each kind: counts, limits in time, what is left alone, what is said."""

from pathlib import Path

import pytest

from busdesign.answers.simulate import SimulateAnswer, simulate
from busdesign.catalogue.codec import MessageCodec
from busdesign.scenario.reader import parse_scenario
from tests.networks import MS
from tests.virtual.faulty_bus import laid_out, story


@pytest.fixture(scope="module")
def root(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return laid_out(tmp_path_factory.mktemp("faulty"))


def played(root: Path, *entries: str, run_for: str = "300 ms") -> SimulateAnswer:
    text = story("".join(f"  - {entry}\n" for entry in entries), "", run_for)
    return simulate(parse_scenario(text, str(root / "sim" / "story.yaml")))


def frames(answer: SimulateAnswer, name: str) -> list[tuple[int, dict[str, object]]]:
    """When each frame of a message ended, and what it said."""
    run = answer.run
    index = [message.name for message in run.catalogue.messages].index(name)
    codec = MessageCodec(run.catalogue.messages[index])
    rows = [row for row, which in enumerate(run.message_index) if which == index]
    return [(int(run.traffic.end_ns[row]), dict(codec.decode(run.traffic.data(row)))) for row in rows]


def counters(answer: SimulateAnswer, name: str, after_ms: int = 0, until_ms: int = 10_000) -> list[object]:
    return [said["counter"] for end, said in frames(answer, name) if after_ms * MS <= end < until_ms * MS]


def shown(answer: SimulateAnswer, name: str) -> list[object]:
    return list(answer.run.traces[name].values)


def notes(answer: SimulateAnswer) -> list[str]:
    return [found.text for found in answer.findings if found.rule == "fault-assumed"]


def most_errors(answer: SimulateAnswer, node: str) -> tuple[int, int]:
    states = answer.run.errors[node]
    return max(state.tec for state in states), max(state.rec for state in states)


def test_the_counters_of_a_unit_begin_anew_with_it(root: Path) -> None:
    answer = played(root, "{at: 95 ms, until: 150 ms, kind: reset, node: left, restart: 12 ms}")
    assert counters(answer, "report_left", until_ms=95) == list(range(10))[:10]
    assert counters(answer, "report_left", after_ms=95)[:4] == [0, 1, 2, 3]
    first_ns = next(end for end, _ in frames(answer, "report_left") if end > 95 * MS)
    assert 166 * MS < first_ns < 167 * MS  # on at 162 ms, and its offset is 4 ms
    assert shown(answer, "left.power_ups") == [0, 1, 0, 2]


def test_a_unit_that_is_off_hears_nothing_and_does_nothing(root: Path) -> None:
    answer = played(root, "{at: 95 ms, until: 150 ms, kind: reset, node: left}")
    trace = answer.run.traces["left.plains"]
    assert not [time for time in trace.times_ns if 95 * MS < time < 150 * MS]
    assert [node.state for node in answer.nodes] == ["error-active"] * 4


@pytest.mark.parametrize(("voltage", "power_ups"), [("9 V", 1), ("8.9 V", 2)])
def test_a_brown_out_resets_only_what_does_not_bear_it(voltage: str, power_ups: int, root: Path) -> None:
    answer = played(root, f"{{at: 95 ms, until: 150 ms, kind: brown_out, node: left, voltage: {voltage}}}")
    assert shown(answer, "left.power_ups")[-1] == power_ups
    assert bool(notes(answer)) is (power_ups == 1)


def test_a_dominant_time_out_frees_the_bus_and_cuts_the_node_off(root: Path) -> None:
    answer = played(root, "{at: 95 ms, until: 200 ms, kind: stuck_dominant, node: far, time_out: 2 ms}")
    assert [misses for misses in shown(answer, "left.misses") if misses] == []
    assert not [end for end, _ in frames(answer, "report_far") if 95 * MS < end < 200 * MS]
    assert [end for end, _ in frames(answer, "report_far") if end > 200 * MS]
    assert "lowest bit rate of 5.5 kbit/s" in notes(answer)[0]


def test_a_transmitter_alone_ends_error_passive_and_never_bus_off(root: Path) -> None:
    answer = played(root, "{at: 95 ms, until: 200 ms, kind: alone, node: left}")
    assert most_errors(answer, "left")[0] == 128
    assert all(state.state != "bus off" for state in answer.run.errors["left"])


def test_a_shorted_pair_brings_senders_to_bus_off(root: Path) -> None:
    answer = played(root, "{at: 95 ms, until: 200 ms, kind: pair_shorted}")
    assert any(state.state == "bus off" for state in answer.run.errors["panel"])


@pytest.mark.parametrize(("ohm", "carries"), [("1000 ohm", True), ("5 ohm", False)])
def test_a_resistance_between_the_wires_is_judged_by_the_levels(ohm: str, carries: bool, root: Path) -> None:
    answer = played(root, f"{{at: 95 ms, kind: pair_shorted, ohm: {ohm}, position: 5 m}}")
    assert (len(frames(answer, "order")) == 30) is carries
    assert ("so it carries" in notes(answer)[0]) is carries


def test_one_missing_termination_on_a_short_bus_does_nothing_by_itself(root: Path) -> None:
    answer = played(root, "{at: 95 ms, kind: termination_missing, position: 10 m}")
    assert not answer.run.error_frames
    assert "no further errors are assumed" in notes(answer)[0]


@pytest.mark.parametrize("kind", ["wire_to_ground, wire: low", "wire_to_supply, wire: high"])
def test_a_wire_to_ground_or_supply_may_carry_on(kind: str, root: Path) -> None:
    answer = played(root, f"{{at: 95 ms, kind: {kind}}}")
    carries = kind.endswith("low")  # the supply of 24 V is beyond the common-mode range
    assert (len(frames(answer, "order")) == 30) is carries


def test_an_end_of_frame_error_is_heard_twice_by_some(root: Path) -> None:
    answer = played(root, "{at: 95 ms, kind: end_of_frame_error, message: plain, frame: 1, seen_by: [far]}")
    assert shown(answer, "left.plains")[-1] == 31
    assert shown(answer, "far.plains")[-1] == 30


def test_a_frame_is_hit_as_often_as_attempts_says(root: Path) -> None:
    entry = "{{at: 95 ms, kind: flipped_bit, message: order, frame: 2, bit: 3, field: data, attempts: {}}}"
    for attempts in (1, 3):
        answer = played(root, entry.format(attempts))
        errors = [(error.message, error.number, error.tried) for error in answer.run.error_frames]
        assert errors == [("order", 11, tried) for tried in range(attempts)]


def test_only_the_nodes_that_read_it_wrong_count_it(root: Path) -> None:
    answer = played(root, "{at: 95 ms, kind: flipped_bit, message: plain, frame: 1, bit: 21, seen_by: [right]}")
    assert most_errors(answer, "right")[1] >= 1
    assert most_errors(answer, "panel")[0] == 8


def test_random_flips_are_the_same_for_one_seed_and_others_for_another(root: Path) -> None:
    def errors(seed: int) -> list[tuple[str, int, int]]:
        answer = played(root, f"{{at: 50 ms, until: 250 ms, kind: flipped_bits, rate: 0.5 %, seed: {seed}}}")
        found = answer.run.error_frames
        assert all(50 * MS < frame.flag_ns < 251 * MS for frame in found)
        return [(frame.message, frame.number, frame.bit) for frame in found]

    assert errors(1) == errors(1) != errors(2)


def test_a_flood_of_a_known_identifier_is_heard_as_that_message(root: Path) -> None:
    entry = "{at: 100 ms, until: 200 ms, kind: babbling, node: far, id: 0x120, every: 1 ms, bytes: 2}"
    answer = played(root, entry)
    assert shown(answer, "left.plains")[-1] == 30 + 100
    assert 0.0 in shown(answer, "left.value")[2:]


def test_a_flood_of_an_unknown_identifier_takes_the_bus_and_nothing_else(root: Path) -> None:
    entry = "{at: 100 ms, until: 200 ms, kind: babbling, node: far, id: 0x7FF, every: 1 ms}"
    answer = played(root, entry)
    assert len(frames(answer, "order")) == 30
    assert answer.frames == 6 * 30 - 30 + 100
    assert answer.load_busiest_100ms > 0.5


def test_two_senders_that_start_at_once_collide_until_one_is_passive(root: Path) -> None:
    answer = played(root, "{at: 102 ms, kind: duplicate_identifier, node: far, message: plain}")
    tec, _ = most_errors(answer, "panel")
    assert tec >= 128
    assert len(frames(answer, "plain")) > 40


def test_lateness_keeps_to_its_time(root: Path) -> None:
    answer = played(root, "{at: 100 ms, until: 200 ms, kind: late, message: order, by: 3 ms}")
    late = [end % (10 * MS) > 3 * MS for end, _ in frames(answer, "order")]
    assert late == [False] * 10 + [True] * 10 + [False] * 10


@pytest.mark.parametrize(
    ("kind", "counts"),
    [
        ("repeated", [4, 5, 5, 6, 6, 7, 8]),
        ("lost", [4, 7, 8]),
        ("swapped", [4, 6, 5, 8, 7, 9]),
        ("stale", [4, 4, 4, 7, 8]),
        ("corrupted, payload_bit: 0", [4, 5, 6, 7, 8]),
    ],
)
def test_what_becomes_of_the_messages_counter(kind: str, counts: list[int], root: Path) -> None:
    end = "80 ms" if kind == "swapped" else "70 ms"
    answer = played(root, f"{{at: 50 ms, until: {end}, kind: {kind}, message: plain}}")
    assert counters(answer, "plain", after_ms=40)[: len(counts)] == counts


def test_faults_of_one_message_lie_upon_each_other(root: Path) -> None:
    answer = played(
        root,
        "{at: 50 ms, kind: lost, message: plain, one_in: 2}",
        "{at: 0 s, kind: repeated, message: plain}",
    )
    assert counters(answer, "plain", after_ms=40)[:8] == [4, 4, 5, 5, 7, 7, 9, 9]


def test_overload_frames_put_no_counter_up(root: Path) -> None:
    answer = played(root, "{at: 0 s, kind: full_buffer, node: far}")
    assert [most_errors(answer, node) for node in ("panel", "left", "right", "far")] == [(0, 0)] * 4
    assert len(frames(answer, "order")) == 30


@pytest.mark.parametrize(("error", "reads"), [("+0.2 %", True), ("+9 %", False)])
def test_an_oscillator_is_borne_within_its_settings(error: str, reads: bool, root: Path) -> None:
    answer = played(root, f"{{at: 100 ms, kind: oscillator, node: far, error: {error}}}")
    assert (not answer.run.error_frames) is reads


@pytest.mark.parametrize(("point", "acknowledged"), [("70 %", True), ("10 %", False)])
def test_a_sample_point_before_the_nearest_acknowledge(point: str, acknowledged: bool, root: Path) -> None:
    answer = played(root, f"{{at: 100 ms, kind: wrong_sample_point, node: left, sample_point: {point}}}")
    assert (not answer.run.error_frames) is acknowledged


def test_bounds_and_deadlines_beyond_which_a_fault_puts_a_message_are_advice(root: Path) -> None:
    answer = played(root, "{at: 100 ms, until: 150 ms, kind: babbling, node: far, id: 0x001, every: 300 us}")
    assert {"bound-exceeded", "deadline-missed"} <= {found.rule for found in answer.findings}
    assert answer.holds
