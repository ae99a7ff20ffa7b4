"""The bars of the responses: in the right order, on the right side of the deadline, on an axis that suits."""

import re
from dataclasses import replace

import pytest

from busdesign.answers.check import CheckAnswer
from busdesign.answers.simulate import SimulateAnswer
from busdesign.report.response import response_section

LANE = re.compile(r'<div class="lane">.*?</svg></div>', re.DOTALL)
NUMBER = r"([\d.]+)%"


def lanes(check: CheckAnswer, runs: list[SimulateAnswer]) -> dict[str, str]:
    found = LANE.findall(response_section(check, runs))
    return {re.findall(r'class="name">(.*?)<', lane)[0]: lane for lane in found}


def bound(lane: str) -> float | None:
    found = re.search(rf'<rect class="bar \w+" y="2" width="{NUMBER}"', lane)
    return float(found[1]) if found else None


def deadline(lane: str) -> float:
    found = re.search(rf'<line class="deadline" x1="{NUMBER}"', lane)
    assert found
    return float(found[1])


def test_a_bar_passes_its_deadline_exactly_if_it_is_late(gate_check: CheckAnswer, gate_run: SimulateAnswer) -> None:
    drawn = lanes(gate_check, [gate_run])
    assert set(drawn) == {message.name for message in gate_check.messages}
    for message in gate_check.messages:
        lane = drawn[message.name]
        end = bound(lane)
        assert end is not None
        assert (end > deadline(lane)) is not message.meets_deadline
        assert ("late: " in lane) is not message.meets_deadline
        assert ('class="bar over"' in lane) is not message.meets_deadline
    assert [message.meets_deadline for message in gate_check.messages].count(False) == 1


def test_what_a_run_saw_lies_within_the_bar(gate_check: CheckAnswer, gate_run: SimulateAnswer) -> None:
    for lane in lanes(gate_check, [gate_run]).values():
        seen = re.search(rf'<line class="range" x1="{NUMBER}" x2="{NUMBER}"', lane)
        ninety_nine = re.search(rf'<circle class="p99" cx="{NUMBER}"', lane)
        assert seen
        assert ninety_nine
        end = bound(lane)
        assert end is not None
        assert 0 <= float(seen[1]) <= float(ninety_nine[1]) <= float(seen[2]) <= end + 0.01


def test_without_runs_there_are_bars_alone(gate_check: CheckAnswer) -> None:
    section = response_section(gate_check, [])
    assert 'class="p99"' not in section
    assert "sent" not in section


def test_longer_times_lie_farther_to_the_right(gate_check: CheckAnswer) -> None:
    for messages in (gate_check.messages, near_ones(gate_check)):
        check = replace(gate_check, messages=messages)
        drawn = lanes(check, [])
        times = [(message.deadline_ms, deadline(drawn[message.name])) for message in messages]
        times += [(message.response_worst_ms or 0, bound(drawn[message.name]) or 0) for message in messages]
        places = [place for _, place in sorted(times)]
        assert places == sorted(places)
        assert all(0 <= place <= 100 for place in places)


def near_ones(check: CheckAnswer) -> tuple:  # type: ignore[type-arg]
    return tuple(
        replace(message, deadline_ms=10.0 + place, response_worst_ms=2.0 + place)
        for place, message in enumerate(check.messages)
    )


@pytest.mark.parametrize(("deadline_ms", "is_logarithmic"), [(10.0, False), (1000.0, True)])
def test_the_axis_is_logarithmic_only_if_it_must_be(
    gate_check: CheckAnswer, deadline_ms: float, is_logarithmic: bool
) -> None:
    messages = tuple(replace(each, deadline_ms=deadline_ms, response_worst_ms=2.0) for each in gate_check.messages)
    section = response_section(replace(gate_check, messages=messages), [])
    assert ("logarithmic" in section) is is_logarithmic
    labels = [float(label) for label in re.findall(r'<text class="tick.*?>([\d.e+-]+) ms</text>', section)]
    assert len(labels) >= 3
    assert labels == sorted(labels)


def test_linear_bars_are_to_scale(gate_check: CheckAnswer) -> None:
    drawn = lanes(replace(gate_check, messages=near_ones(gate_check)), [])
    for message in near_ones(gate_check):
        end = bound(drawn[message.name])
        assert end is not None
        assert end / deadline(drawn[message.name]) == pytest.approx(
            message.response_worst_ms / message.deadline_ms, rel=1e-3
        )


def test_a_message_without_a_bound_has_no_bar(gate_check: CheckAnswer) -> None:
    first, *others = gate_check.messages
    unbound = replace(first, response_worst_ms=None, queuing_ms=None, meets_deadline=False)
    nameless = replace(others[0], id=None, response_worst_ms=None, queuing_ms=None, meets_deadline=None)
    check = replace(gate_check, messages=(unbound, nameless, *others[1:]))
    drawn = lanes(check, [])
    assert bound(drawn[first.name]) is None
    assert "no bound of 8 ms" in drawn[first.name]
    assert "none yet" in response_section(check, [])
