"""The physics of one leg: nothing moves that is held, nothing comes from nothing, and the step is fine enough."""

from collections.abc import Iterable

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sim.undercarriage import (
    AT_STOP,
    DOWN,
    FRICTION_A,
    MASS,
    MOTOR_V_PER_SPEED,
    PIN_TRAVEL_S,
    SOURCE_V,
    UP,
    WINDING_OHM,
    WIRE_OHM,
    Leg,
)

STEP_S = 0.010


def unlocked(position: float = DOWN, weight_a: float = 5.0) -> Leg:
    return Leg(weight_a=weight_a, position=position, pin=0.0, pin_out=True)


def driven(leg: Leg, duty: float, seconds: float, step_s: float = STEP_S) -> Iterable[Leg]:
    leg.duty = duty
    for _ in range(round(seconds / step_s)):
        leg.step(step_s)
        yield leg


@pytest.mark.parametrize(("duty", "start", "end"), [(-0.8, DOWN, UP), (0.8, UP, DOWN)])
def test_travel_goes_one_way_and_ends_at_the_stop(duty: float, start: float, end: float) -> None:
    places = [leg.position for leg in driven(unlocked(start), duty, 8)]
    assert places == sorted(places, reverse=end < start)
    assert places[-1] == end
    assert len(set(places)) > 500


def test_up_takes_longer_than_down_and_an_idle_leg_goes_nowhere() -> None:
    def seconds(duty: float, start: float, end: float) -> float:
        return STEP_S * sum(leg.position != end for leg in driven(unlocked(start), duty, 20))

    assert seconds(0.8, UP, DOWN) < seconds(-0.8, DOWN, UP) < 8
    assert seconds(0.0, UP, DOWN) == pytest.approx(20)


@pytest.mark.parametrize("position", [UP, DOWN])
@pytest.mark.parametrize("duty", [-1.0, 1.0])
@pytest.mark.parametrize("pin", [1.0, 0.01])
def test_a_pin_holds_the_leg_against_its_motor(position: float, duty: float, pin: float) -> None:
    leg = Leg(weight_a=5.0, position=position, pin=pin, pin_jammed=True)
    assert {(leg.position, leg.speed) for leg in driven(leg, duty, 1)} == {(position, 0.0)}
    assert abs(leg.motor_a) == pytest.approx(leg.supply_v / WINDING_OHM)  # stalled: the whole voltage over the winding


@pytest.mark.parametrize("position", [10.0, 50.0, 90.0])
def test_the_jack_holds_by_itself_anywhere(position: float) -> None:
    assert {leg.position for leg in driven(unlocked(position), 0.0, 5)} == {position}


@pytest.mark.parametrize("duty", [-1.0, -0.6, 0.6, 1.0])
def test_speed_settles_where_the_equations_say(duty: float) -> None:
    """Force balance by hand: the current at standstill, less the one that the speed takes away, carries the load."""
    leg = unlocked(50.0)
    for _ in driven(leg, duty, 1.0):
        pass
    way = 1.0 if duty > 0 else -1.0
    pull_a = 5.0 * (1 - (leg.position / 100) ** 2)
    current_a = way * FRICTION_A - pull_a  # what must flow to keep it going
    leg.step(1e-6)  # currents of this very moment
    assert leg.motor_a == pytest.approx(current_a, abs=0.2)
    assert leg.speed * MOTOR_V_PER_SPEED + leg.motor_a * WINDING_OHM == pytest.approx(duty * leg.supply_v, abs=1e-3)


def test_energy_put_in_is_found_again() -> None:
    """Over a free stretch: motor work = friction + weight + motion, all in units of A * %."""
    leg = unlocked(90.0)
    put_in = friction = lifted = 0.0
    for duty, seconds in ((-1.0, 2.0), (-0.3, 1.0)):
        leg.duty = duty
        for _ in range(round(seconds / 0.001)):
            before = leg.position
            leg.step(0.001)
            way = leg.position - before
            put_in += leg.motor_a * way
            friction += FRICTION_A * abs(way)
            lifted -= 5.0 * (1 - ((leg.position + before) / 200) ** 2) * way
    assert UP < leg.position < 60
    assert put_in == pytest.approx(friction + lifted + MASS * leg.speed**2 / 2, rel=0.01)


def test_a_shorted_motor_brakes_without_drawing() -> None:
    leg = unlocked(50.0)
    for _ in driven(leg, 1.0, 1.0):
        pass
    drawn = [leg.drawn_a for leg in driven(leg, 0.0, 0.5)]
    assert leg.speed == 0.0
    assert max(drawn) == min(drawn)


def test_the_pin_takes_its_time_and_goes_in_only_at_a_stop() -> None:
    leg = Leg(weight_a=5.0, pin_out=True)
    steps = 0
    while leg.pin > 0:
        leg.step(STEP_S)
        steps += 1
    assert steps * STEP_S == pytest.approx(PIN_TRAVEL_S, abs=STEP_S)
    leg.position, leg.pin_out = DOWN - 2 * AT_STOP, False
    leg.step(1.0)
    assert leg.pin == 0.0
    leg.position = DOWN
    leg.step(1.0)
    assert leg.pin == 1.0


@pytest.mark.parametrize("duty", [-1.0, -0.5, 0.5, 1.0])
def test_a_step_of_10_ms_is_fine_enough(duty: float) -> None:
    """Beside steps of 0.2 ms, from standstill through 3 s: within 0.02 % of the travel, and 0.01 %/s once it runs."""
    coarse, fine = unlocked(50 - 45 * duty), unlocked(50 - 45 * duty)
    for _ in driven(coarse, duty, 3.0, STEP_S):
        pass
    for _ in driven(fine, duty, 3.0, 0.0002):
        pass
    assert coarse.position == pytest.approx(fine.position, abs=0.02)
    assert coarse.speed == pytest.approx(fine.speed, abs=0.01)


HISTORIES = st.lists(
    st.tuples(st.floats(-1, 1), st.booleans(), st.integers(1, 60)),  # duty, pin out, for so many steps
    max_size=20,
)


@given(HISTORIES, st.sampled_from([UP, DOWN, 37.0]))
@settings(max_examples=60, deadline=None)
def test_whatever_the_board_does(history: list[tuple[float, bool, int]], start: float) -> None:
    leg = Leg(weight_a=5.0, position=start, pin=1.0 if start in (UP, DOWN) else 0.0)
    for leg.duty, leg.pin_out, steps in history:
        for _ in range(steps):
            pinned, before = leg.locked, leg.position
            leg.step(STEP_S)
            assert UP <= leg.position <= DOWN
            assert 0.0 <= leg.pin <= 1.0
            assert leg.drawn_a > 0.0
            assert leg.supply_v == pytest.approx(SOURCE_V - WIRE_OHM * leg.drawn_a)
            assert leg.position == before or not (pinned and leg.locked)
