"""The demo's scenarios hold: as they stand, and with other clocks and other luck."""

from dataclasses import replace

import pytest

from busdesign.answers.simulate import simulate
from busdesign.scenario.model import Scenario
from busdesign.scenario.reader import read_scenario
from tests.sim.stories import FOLDER, NAMES

FAULTY = ("babbling_strut", "cut_leg", "flipped_bits")  # no bound counts what fails there: its findings are advice
TOLD_OF_FAULTS = ("bound-exceeded", "deadline-missed", "function-too-slow", "fault-assumed")


def scenario(name: str) -> Scenario:
    return read_scenario(FOLDER / f"{name}.yaml")


@pytest.mark.parametrize("name", NAMES)
def test_every_expectation_is_exercised_and_holds(name: str) -> None:
    answer = simulate(FOLDER / f"{name}.yaml")
    assert [(found.name, found.text) for found in answer.expectations if found.holds is not True] == []
    assert answer.expectations
    beyond = {found.rule for found in answer.findings}
    assert beyond <= ({*TOLD_OF_FAULTS} if name in FAULTY else set())
    assert answer.holds


@pytest.mark.parametrize("name", NAMES)
def test_they_hold_with_wrong_clocks(name: str) -> None:
    told = replace(scenario(name), seed=11, drift="random")
    assert [(found.name, found.text) for found in simulate(told).expectations if not found.holds] == []


@pytest.mark.parametrize("seed", [21, 22])
def test_they_hold_however_the_boards_start_beside_each_other(seed: int) -> None:
    for name in ("retract", "extend"):
        told = replace(scenario(name), seed=seed, phases="random")
        assert [(found.name, found.text) for found in simulate(told).expectations if not found.holds] == []


def test_a_run_is_the_same_each_time() -> None:
    first, second = (simulate(scenario("silent_strut")).run for _ in range(2))
    assert first.traffic.payload.tolist() == second.traffic.payload.tolist()
    assert first.traffic.end_ns.tolist() == second.traffic.end_ns.tolist()
    assert first.traces == second.traces
