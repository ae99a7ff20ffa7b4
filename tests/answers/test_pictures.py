"""Numbers for pictures, each against a slow and plain way to the same number."""

from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from busdesign.answers.names import track_of, vocabulary_with
from busdesign.answers.names_over_time import NameOverTime
from busdesign.answers.pictures import RunPicture, bin_for, response_bars, run_picture
from busdesign.answers.simulate import SimulateAnswer, judge
from busdesign.catalogue.model import Catalogue
from busdesign.virtual.bus import simulate_bus
from busdesign.wire.arbitration import arbitration_key
from tests.networks import MS, catalogues, scenario_of
from tests.report.gates import checked, project, ran

WAYS = st.fixed_dictionaries(
    {
        "phases": st.sampled_from(["declared", "random", "aligned"]),
        "jitter": st.sampled_from(["none", "random", "worst"]),
        "seed": st.integers(0, 2**32),
    }
)
QUICKLY = settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.too_slow])


@pytest.fixture(scope="module")
def root(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("gates")
    project(folder)
    return folder


@pytest.fixture(scope="module")
def answer(root: Path) -> SimulateAnswer:
    return ran(root)


@pytest.fixture(scope="module")
def picture(answer: SimulateAnswer) -> RunPicture:
    return run_picture(answer)


def named(picture: RunPicture, name: str) -> NameOverTime:
    return next(found for found in picture.names if found.name == name)


def answer_of(catalogue: Catalogue, run_for_ns: int, **more: Any) -> SimulateAnswer:
    story = scenario_of(catalogue, run_for_ns, **more)
    return judge(story, simulate_bus(story, {}), vocabulary_with(story.catalogue, {}))


@given(catalogue=catalogues(), way=WAYS)
@QUICKLY
def test_who_was_waiting_while_another_frame_won(catalogue: Catalogue, way: dict[str, Any]) -> None:
    answer = answer_of(catalogue, 30 * MS, **way)
    run, frames = answer.run, run_picture(answer).frames
    # Times are exact here: without drift only the bits of an odd bit rate are not whole, and starts follow from them.
    join_ns = -(-catalogue.bus.bit_ns * catalogue.bus.sample_point // 1)
    whole = catalogue.bus.bit_ns.denominator == 1
    for winner in range(len(frames)):
        by_ready = [
            other for other in range(winner + 1, len(frames)) if run.ready_ns[other] < run.start_ns[winner] + join_ns
        ]
        by_picture = [other for other in range(winner + 1, len(frames)) if other - frames.behind[other] <= winner]
        assert by_picture == by_ready
        if whole:
            assert len(by_picture) <= frames.waiting[winner]
    if whole and not any(run.unfinished.values()):
        assert sum(frames.behind) == sum(frames.waiting)


@given(catalogue=catalogues(), way=WAYS)
@QUICKLY
def test_each_frame_is_the_one_that_the_run_has(catalogue: Catalogue, way: dict[str, Any]) -> None:
    answer = answer_of(catalogue, 25 * MS, **way)
    run, frames = answer.run, run_picture(answer).frames
    assert len(frames) == len(run.traffic)
    for index in range(len(frames)):
        kind = frames.kinds[int(frames.kind[index])]
        message = catalogue.messages[int(run.message_index[index])]
        assert frames.rows[kind.row].message is message
        assert kind.bits == run.wire_bits[index]
        assert kind.duration_ns == run.traffic.end_ns[index] - frames.start_ns[index]
        # It may be ready a little after the start of frame that it joins.
        assert frames.waited_ns[index] == max(run.start_ns[index] - run.ready_ns[index], 0)
        assert frames.response_ns[index] == run.response_ns[index]
    assert len(set(frames.kinds)) == len(frames.kinds)
    keys = [arbitration_key(row.message.identifier or 0, extended=row.message.extended) for row in frames.rows]
    assert keys == sorted(keys)


def test_the_slowest_frame_of_each_message(answer: SimulateAnswer, picture: RunPicture) -> None:
    by_name = {message.name: message for message in answer.messages}
    for place, row in enumerate(picture.frames.rows):
        own = [i for i in range(len(picture.frames)) if picture.frames.kinds[int(picture.frames.kind[i])].row == place]
        responses = [int(picture.frames.response_ns[i]) for i in own]
        assert row.slowest == own[responses.index(max(responses))]
        assert row.deadline_ns == row.message.deadline_ns
        bound_ms = by_name[row.message.name].response_worst_ms
        assert bound_ms is not None
        assert row.bound_ns == pytest.approx(bound_ms * MS, abs=0.5)


def test_a_message_that_was_never_sent_has_no_slowest_frame(root: Path) -> None:
    early = ran(root, run_for="1 s", text=SHORT)
    rows = {row.message.name: row.slowest for row in run_picture(early).frames.rows}
    assert rows["gate_report_west"] is None
    assert rows["gate_order"] == 0


SHORT = """\
scenario: {name}
catalogue: ../../messages/gates.yaml
run_for: {run_for}
faults:
  - {{at: 0 s, kind: silent, node: gate_west}}
"""


@pytest.mark.parametrize(
    ("end_ns", "width_ns"),
    [
        (13_000 * MS, 100 * MS),
        (2_000 * MS, 100 * MS),
        (1_999 * MS, 10 * MS),
        (100 * MS, MS),
        (5_000_000 * MS, 100 * MS),
        (5_000_001 * MS, 1_000 * MS),
        (1, 10),
    ],
)
def test_bins_are_neither_few_nor_beyond_count(end_ns: int, width_ns: int) -> None:
    assert bin_for(end_ns) == width_ns


def test_the_bins_of_the_load_add_up_to_its_mean(answer: SimulateAnswer, picture: RunPicture) -> None:
    for load in (picture.load, picture.load_parts):
        starts = np.arange(len(load.loads)) * load.bin_ns
        widths = np.minimum(starts + load.bin_ns, picture.end_ns) - starts
        assert starts[-1] < picture.end_ns <= starts[-1] + load.bin_ns
        assert float((load.loads * widths).sum()) / picture.end_ns == pytest.approx(answer.load_mean)
    assert len(picture.load_parts.loads) == 20


def test_one_bin_counted_frame_by_frame(answer: SimulateAnswer, picture: RunPicture) -> None:
    run = answer.run
    bit_ns, width_ns = run.catalogue.bus.bit_ns, picture.load.bin_ns
    for place in (0, 7, 50):
        begin, end = place * width_ns, (place + 1) * width_ns
        busy_ns = Fraction(0)
        for frame_end, bits in zip(run.traffic.end_ns.tolist(), run.wire_bits.tolist(), strict=True):
            until = frame_end + 3 * bit_ns
            busy_ns += max(min(until, end) - max(until - bits * bit_ns, begin), 0)
        assert picture.load.loads[place] == pytest.approx(float(busy_ns / width_ns))


def test_the_busiest_time_is_marked_where_the_answer_says(answer: SimulateAnswer, picture: RunPicture) -> None:
    assert picture.busiest_at_ns == round(answer.load_busiest_at_s * 1e9)
    assert picture.busiest_until_ns == picture.busiest_at_ns + 100 * MS


def test_every_name_is_what_its_track_says_at_any_time(answer: SimulateAnswer, picture: RunPicture) -> None:
    for name in picture.names:
        track = track_of(name.name, answer.run)
        assert track is not None
        assert all(np.diff(name.times_ns) > 0)
        for time_ns in range(0, picture.end_ns, 7 * MS):
            place = int(np.searchsorted(name.times_ns, time_ns, side="right")) - 1
            value = track.at(time_ns)
            if value is None:
                assert place < 0
            elif name.words:
                expected = str(value).lower() if isinstance(value, bool) else value
                assert name.words[int(name.values[place])] == expected
            else:
                assert name.values[place] == value


def test_names_are_grouped_by_the_node_that_shows_or_sends_them(picture: RunPicture) -> None:
    found = {name.name: (name.node, name.label) for name in picture.names}
    assert found["gate_east.angle"] == ("gate_east", "angle")
    assert found["gate_report_west.angle"] == ("gate_west", "gate_report_west.angle")
    assert found["desk.silent"] == ("desk", "silent")
    assert "gate_report_east.angle" not in found  # no expectation speaks of it


def test_choices_flags_and_numbers_keep_their_words_and_units(picture: RunPicture) -> None:
    lamp, moving, angle = (named(picture, name) for name in ("desk.lamp", "gate_east.moving", "gate_east.angle"))
    assert (lamp.words, lamp.is_flag) == (("dark", "red", "green"), False)
    assert (moving.words, moving.is_flag) == (("false", "true"), True)
    assert (angle.words, angle.unit, named(picture, "gate_report_west.angle").unit) == ((), "deg", "deg")


def test_values_only_change_and_the_unchanging_is_known(picture: RunPicture) -> None:
    for name in picture.names:
        assert not np.any(name.values[1:] == name.values[:-1])
    assert named(picture, "desk.never_changes").is_constant
    assert not named(picture, "desk.switch").is_constant
    assert [name.name for name in picture.names if name.is_constant] == ["desk.never_changes", "desk.silent"]


def test_spans_and_extremes(picture: RunPicture) -> None:
    switch = named(picture, "desk.switch")
    assert list(switch.spans(picture.end_ns)) == [("stay", 0, 100 * MS), ("open", 100 * MS, 1000 * MS)]
    assert switch.extremes() is None
    angle = named(picture, "gate_east.angle")
    extremes = angle.extremes()
    assert extremes is not None
    assert (angle.shown(extremes[0]), angle.shown(extremes[1])) == ("0", "90")
    assert angle.times_ns[extremes[0]] == 0


def test_what_has_no_value_is_unknown() -> None:
    values = np.array([np.nan, 2.5, -1.0])
    name = NameOverTime("a.b", "a", "b", "V", (), False, np.array([0, 5, 9]), values)
    assert [name.shown(place) for place in range(3)] == ["unknown", "2.5", "-1"]
    assert name.extremes() == (2, 1)
    nothing = replace(name, values=np.array([np.nan, np.nan, np.nan]))
    assert nothing.extremes() is None


def test_moments_are_the_steps_the_faults_and_what_broke(answer: SimulateAnswer, picture: RunPicture) -> None:
    broken = next(expected for expected in answer.expectations if expected.holds is False)
    assert broken.at_s is not None
    told = [(moment.kind, moment.at_ns, moment.until_ns, moment.text) for moment in picture.moments]
    assert told == sorted(
        [
            ("step", 100 * MS, None, "desk.switch = open"),
            ("fault", 400 * MS, 600 * MS, "gate_east silent"),
            ("fault", 900 * MS, 1000 * MS, "gate_west silent"),
            ("broken", round(broken.at_s * 1e9), None, "the east gate is never silent"),
        ],
        key=lambda moment: moment[1],
    )


def test_response_bars_join_bounds_and_all_runs(root: Path, answer: SimulateAnswer) -> None:
    check = checked(root)
    longer = ran(root, run_for="3 s")
    bars = response_bars(check, [answer, longer])
    assert [bar.name for bar in bars] == ["gate_order", "gate_report_east", "gate_report_west", "wear_report"]
    for bar in bars:
        promised = next(message for message in check.messages if message.name == bar.name)
        assert (bar.bound_ms, bar.deadline_ms, bar.meets_deadline) == (
            promised.response_worst_ms,
            promised.deadline_ms,
            promised.meets_deadline,
        )
        spreads = [run.response_ms for one in (answer, longer) for run in one.messages if run.name == bar.name]
        known = [spread for spread in spreads if spread]
        assert bar.simulated is not None
        assert bar.simulated.min_ms == min(spread.min for spread in known)
        assert bar.simulated.p99_ms == max(spread.p99 for spread in known)
        assert bar.simulated.max_ms == max(spread.max for spread in known)
        assert bar.simulated.sent == sum(
            run.sent for one in (answer, longer) for run in one.messages if run.name == bar.name
        )


def test_without_runs_nothing_is_simulated(root: Path) -> None:
    assert all(bar.simulated is None for bar in response_bars(checked(root), []))


def test_a_lone_node_leaves_an_empty_picture(root: Path) -> None:
    catalogue = checked(root).definition
    own = tuple(replace(message, receivers=()) for message in catalogue.messages if message.sender == "desk")
    lone = replace(catalogue, nodes={"desk": catalogue.nodes["desk"]}, messages=own)
    picture = run_picture(answer_of(lone, 100 * MS))
    assert len(picture.frames) == 0
    assert picture.frames.kinds == ()
    assert picture.load.loads.max() == 0.0
