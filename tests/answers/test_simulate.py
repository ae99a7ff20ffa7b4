"""``busdesign.simulate``: a run beside its bounds and its expectations, in figures that can be worked out by hand."""

from dataclasses import replace
from pathlib import Path

import pytest

import busdesign
from busdesign.answers.check import check
from busdesign.answers.simulate import simulate
from busdesign.catalogue.model import Message
from busdesign.catalogue.reader import parse_catalogue
from busdesign.errors import ModelError, ScenarioError
from busdesign.findings import Severity
from busdesign.scenario.model import Scenario
from busdesign.scenario.reader import read_scenario
from busdesign.wire.lengths import frame_bits
from tests.cli.projects import Gate
from tests.networks import scenario_of

# At 250 kbit/s; the join rule and the sample point play no part where one message is ready alone.
BIT_MS = 0.004


@pytest.fixture
def gate(tmp_path: Path) -> Gate:
    return Gate(tmp_path / "gate")


def story(gate: Gate) -> Scenario:
    return read_scenario(gate.scenario)


def test_a_run_that_holds(gate: Gate) -> None:
    answer = simulate(gate.scenario)
    assert (answer.scenario, answer.catalogue, answer.seed) == ("the motor falls silent", "gate", 1)
    assert (answer.duration_s, answer.holds, answer.findings) == (1, True, ())
    assert answer.frames == len(answer.run.traffic) == sum(message.sent for message in answer.messages)
    (expected,) = answer.expectations
    assert (expected.name, expected.holds) == ("silence is noticed", True)
    assert [(node.name, node.tec, node.rec, node.state) for node in answer.nodes] == [
        ("panel", 0, 0, "error-active"),
        ("motor", 0, 0, "error-active"),
    ]


def test_a_frame_that_meets_no_other_takes_as_long_as_it_is(gate: Gate) -> None:
    gate.edit(gate.catalogue, "    lost_after: 200 ms\n", "    lost_after: 200 ms\n    offset: 25 ms\n")
    answer = simulate(replace(story(gate), models={}, steps=(), faults=(), expectations=()))
    assert [(message.name, message.sent) for message in answer.messages] == [
        ("demand", 20),
        ("alarm", 0),
        ("report", 20),
    ]
    for index, definition in enumerate(answer.story.catalogue.messages):
        times = answer.messages[index].response_ms
        payloads = answer.run.traffic.payload[answer.run.message_index == index]
        lengths_ms = [BIT_MS * length_bits(definition, int(payload)) for payload in payloads]
        assert (times is None) == (not lengths_ms)
        if times is not None:
            ranked = sorted(lengths_ms)
            assert times.min == pytest.approx(ranked[0])
            assert times.mean == pytest.approx(sum(ranked) / 20)
            assert times.p99 == times.max == pytest.approx(ranked[-1])  # the 20th of 20


def length_bits(definition: Message, payload: int) -> int:
    """Of one frame, intermission included, counted by the room that knows the wire."""
    assert definition.identifier is not None
    return frame_bits(definition.identifier, payload.to_bytes(definition.length_bytes, "little"))


def test_every_bound_is_the_one_that_check_gives(gate: Gate) -> None:
    answer = simulate(gate.scenario)
    bounds = {message.name: message.response_worst_ms for message in check(answer.story.catalogue).messages}
    assert {message.name: message.response_worst_ms for message in answer.messages} == bounds
    assert [message.within_bound for message in answer.messages] == [True, None, True]


def test_the_load_is_that_of_the_frames_on_the_wire(gate: Gate) -> None:
    answer = simulate(gate.scenario)
    assert answer.load_mean == pytest.approx(answer.run.wire_bits.sum() * BIT_MS / 1000)
    starts, bits = answer.run.start_ns, answer.run.wire_bits
    begin = answer.load_busiest_at_s * 1e9
    inside = (starts >= begin - 1) & (starts + bits * 4000 <= begin + 100e6 + 1)
    assert answer.load_busiest_100ms >= bits[inside].sum() * 4000 / 100e6 - 1e-9
    assert answer.load_busiest_100ms >= answer.load_mean


def test_a_broken_expectation_breaks_the_run(gate: Gate) -> None:
    gate.edit(gate.scenario, "within: 300 ms", "within: 10 ms")
    answer = simulate(gate.scenario)
    (expected,) = answer.expectations
    assert (expected.holds, answer.holds, answer.findings) == (False, False, ())
    assert expected.at_s == pytest.approx(0.26, abs=0.01)


@pytest.mark.parametrize("condition", ["demand.speed > 99", "alarm.level == 3"])
def test_what_is_never_put_to_the_test_is_not_held(gate: Gate, condition: str) -> None:
    gate.edit(gate.scenario, "after: motor.silent", f"after: {condition}")
    answer = simulate(gate.scenario)
    assert ([expected.holds for expected in answer.expectations], answer.holds) == ([None], False)
    assert answer.expectations[0].text


def test_a_message_said_too_soon_breaks_the_run(gate: Gate) -> None:
    gate.panel.write_text(gate.panel.read_text() + '        self.say("alarm", level=1)\n')
    answer = simulate(gate.scenario)
    assert not answer.holds
    (found,) = [found for found in answer.findings if found.rule == "said-too-soon"]
    assert found.severity is Severity.BROKEN
    assert found.where is not None
    assert found.where.quoted.strip() == "irregular: {at_least_apart: 100 ms}"


def test_clocks_beyond_their_tolerance_may_exceed_the_bound_and_it_is_said(gate: Gate) -> None:
    gate.edit(gate.scenario, "run_for: 1 s\n", "run_for: 1 s\ndrift: {motor: -9 %, panel: -9 %}\n")
    gate.edit(gate.catalogue, "    to: panel\n    every: 50 ms\n", "    to: panel\n    every: 50 ms\n    bytes: 8\n")
    answer = simulate(gate.scenario)
    beyond = [message.name for message in answer.messages if message.within_bound is False]
    assert [found.rule for found in answer.findings] == ["bound-exceeded"] * len(beyond)
    assert answer.holds is (not beyond)


def test_alone_on_the_bus_nothing_is_ever_completed(gate: Gate) -> None:
    text = gate.catalogue.read_text().partition("  alarm:")[0]
    text = text.replace("  motor: {tolerance: 0.3 %}\n", "").replace("    to: motor\n", "")
    gate.catalogue.write_text(text)
    gate.scenario.write_text("scenario: alone\ncatalogue: ../../messages/gate.yaml\nrun_for: 1 s\n")
    answer = simulate(gate.scenario)
    assert (answer.frames, answer.holds) == (0, False)
    assert [found.rule for found in answer.findings] == ["no-acknowledge"]
    assert [(node.name, node.tec, node.state) for node in answer.nodes] == [("panel", 128, "error-passive")]


def test_the_same_seed_is_the_same_run_and_another_one_is_not(gate: Gate) -> None:
    told = story(gate)
    first, second, other = (simulate(replace(told, seed=seed)) for seed in (5, 5, 6))
    assert first.run.traffic.payload.tolist() == second.run.traffic.payload.tolist()
    assert first.run.traffic.payload.tolist() != other.run.traffic.payload.tolist()
    assert first.seed == 5


def test_progress_is_told_in_order(gate: Gate) -> None:
    told: list[float] = []
    simulate(gate.scenario, progress=told.append)
    assert told == sorted(told)
    assert 0 < told[0] < 0.02
    assert 0.98 < told[-1] <= 1


def test_names_are_checked_before_anything_runs(gate: Gate) -> None:
    gate.edit(gate.panel, "        self.look()\n", '        raise AssertionError("it ran")\n')
    gate.edit(gate.scenario, "panel.lamp == red", "panel.lmap == red")
    with pytest.raises(ScenarioError) as raised:
        simulate(gate.scenario)
    assert [found.rule for found in raised.value.findings] == ["unknown-name"]


def test_a_model_that_fails_is_raised_with_its_line(gate: Gate) -> None:
    gate.edit(gate.panel, "speed=10", "speed=101")
    with pytest.raises(ModelError) as raised:
        simulate(gate.scenario)
    (found,) = raised.value.findings
    assert found.where is not None
    assert (Path(found.where.file).name, found.where.line) == ("panel.py", 19)


def test_a_message_without_an_identifier_cannot_be_simulated(gate: Gate) -> None:
    gate.edit(gate.catalogue, "    id: 0x210\n", "")
    with pytest.raises(ScenarioError) as raised:
        simulate(gate.scenario)
    assert [found.rule for found in raised.value.findings] == ["no-identifier"]


def test_a_model_may_not_take_a_name_that_the_catalogue_gives(gate: Gate) -> None:
    gate.edit(gate.panel, "    lamp = Choice", '    silent = Choice("no", "yes")\n    lamp = Choice')
    with pytest.raises(ScenarioError) as raised:
        simulate(gate.scenario)
    assert [found.rule for found in raised.value.findings] == ["model-name"]


def test_the_root_package_has_the_same_door() -> None:
    assert busdesign.simulate is simulate


def test_an_overloaded_bus_does_not_hold() -> None:
    """Without a bound nothing is kept, whatever the run shows; and a deadline missed in a run is a broken promise."""
    text = "catalogue: s\nbus: {bit_rate: 10 kbit/s}\nnodes: {a: {}, b: {}}\nmessages:\n"
    text += "  hi: {id: 1, from: a, to: b, bytes: 8, every: 14 ms, deadline: 1 ms}\n"
    text += "  lo: {id: 2, from: b, to: a, bytes: 8, every: 14 ms}\n"
    answer = simulate(scenario_of(parse_catalogue(text), 1_000_000_000))
    assert answer.holds is False
    rules = [(found.rule, found.text.split("`")[1]) for found in answer.findings]
    assert ("no-bound", "lo") in rules
    assert ("deadline-missed", "hi") in rules
