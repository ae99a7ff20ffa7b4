"""What the panel shows, when it warns, and when it lets the wheels down by itself."""

import pytest

from busdesign.errors import ModelError
from sim.panel import amphibian_lamp, landplane_lamp
from tests.sim.stories import at, played, shown, steps

STATES = ("up_locked", "down_locked", "moving", "fault", "unknown", "silent")


@pytest.mark.parametrize("surface", ["unset", "land", "water"])
@pytest.mark.parametrize("state", STATES)
@pytest.mark.parametrize("order", ["stay", "up", "down"])
def test_the_amphibians_lamps_reassure_only_for_the_chosen_landing(state: str, surface: str, order: str) -> None:
    reassuring = {("down_locked", "land"): "green", ("up_locked", "water"): "blue"}
    assert amphibian_lamp(state, surface, order) == reassuring.get((state, surface), "red")


@pytest.mark.parametrize("surface", ["unset", "land", "water"])
@pytest.mark.parametrize(
    ("state", "order", "colour"),
    [
        ("down_locked", "down", "green"),
        ("down_locked", "stay", "green"),
        ("down_locked", "up", "red"),
        ("up_locked", "up", "dark"),
        ("up_locked", "stay", "dark"),
        ("up_locked", "down", "red"),
        *((state, order, "red") for state in STATES[2:] for order in ("stay", "up", "down")),
    ],
)
def test_a_landplanes_lamps_ask_the_switch(state: str, order: str, surface: str, colour: str) -> None:
    assert landplane_lamp(state, surface, order) == colour


def test_a_landplanes_lamp_goes_green_red_dark() -> None:
    told = "run_for: 10 s\n" + steps("0 s: panel.switch: down", "1 s: panel.switch: up")
    assert shown(played(told, lamps="landplane"), "panel.lamp_left") == ["red", "green", "red", "dark"]


def test_a_landplanes_horn_wants_the_wheels_down_whatever_the_selector_says() -> None:
    told = "run_for: 1 s\n" + steps("0 s: panel.switch: up", "0 s: panel.selector: water")
    assert at(played(told, lamps="landplane", begins="up", airspeed_kt=60), "panel.horn", 1)
    assert not at(played(told, lamps="amphibian", begins="up", airspeed_kt=60), "panel.horn", 1)


def test_lamps_of_another_kind_are_refused_with_the_choice() -> None:
    with pytest.raises(ModelError, match=r"lamps are amphibian or landplane, found boat"):
        played("run_for: 1 s\n", lamps="boat")


def test_nothing_reassures_until_a_landing_is_chosen() -> None:
    answer = played("run_for: 2 s\n" + steps("0 s: panel.switch: down", "1 s: panel.selector: land"))
    for leg in ("nose", "left", "right"):
        assert at(answer, f"panel.lamp_{leg}", 0.99) == "red"
        assert at(answer, f"panel.lamp_{leg}", 1.02) == "green"


def test_a_dead_lamp_is_dark_and_the_horn_does_not_trust_it() -> None:
    told = steps("0 s: panel.switch: down", "0.5 s: panel.selector: land", "1 s: panel.dead_lamp: left")
    answer = played("run_for: 2 s\n" + told, airspeed_kt=60)
    assert shown(answer, "panel.lamp_left") == ["red", "green", "dark"]
    assert at(answer, "panel.lamp_right", 2) == "green"
    assert not at(answer, "panel.horn", 2)


def test_without_airspeed_the_horn_warns_and_nothing_extends() -> None:
    silence = "faults: [{kind: silent, node: air_data, at: 1 s, until: 3 s}]\n"
    told = "run_for: 5 s\n" + silence + steps("0 s: panel.switch: up", "0.5 s: panel.selector: land")
    answer = played(told, begins="up")
    assert shown(answer, "panel.horn") == [False, True, False]
    assert at(answer, "panel.horn", 1.6)
    assert shown(answer, "panel.armed") == [False, True, False, True]
    assert shown(answer, "strut_left.state") == ["up_locked"]


def test_a_blocked_probe_counts_as_no_airspeed() -> None:
    told = steps("0 s: panel.switch: up", "0.5 s: panel.selector: land", "1 s: air_data.probe_blocked: true")
    answer = played("run_for: 3 s\n" + told, begins="up")
    assert at(answer, "panel.horn", 1.3)
    assert shown(answer, "strut_left.state") == ["up_locked"]


@pytest.mark.parametrize("choice", ["unset", "water"])
def test_slow_without_a_choice_of_land_nothing_extends(choice: str) -> None:
    told = steps("0 s: panel.switch: up", f"0 s: panel.selector: {choice}", "0.5 s: air_data.airspeed_wanted: 50")
    answer = played("run_for: 8 s\n" + told, begins="up", airspeed_kt=75)
    assert shown(answer, "strut_left.lock") == ["engaged"]
    assert shown(answer, "panel.armed") == [False]


def test_the_automatic_does_not_fight_the_pilot_who_retracts_at_low_speed() -> None:
    told = steps("0 s: panel.switch: down", "0 s: panel.selector: land", "1 s: panel.switch: up")
    answer = played("run_for: 10 s\n" + told, airspeed_kt=60)
    assert shown(answer, "panel.order") == ["stay", "down", "up"]
    assert at(answer, "strut_left.state", 10) == "up_locked"


def test_the_automatic_ends_when_the_switch_is_moved() -> None:
    slow = ("0 s: panel.switch: up", "0 s: panel.selector: land", "0.5 s: air_data.airspeed_wanted: 60")
    told = steps(*slow, "5 s: panel.switch: stay", "6 s: panel.switch: up")
    answer = played("run_for: 12 s\n" + told, begins="up", airspeed_kt=74)
    assert shown(answer, "panel.order") == ["stay", "up", "auto_down", "stay", "up"]
    assert at(answer, "strut_left.position", 5) > 10
    assert at(answer, "strut_left.state", 12) == "up_locked"


def test_the_automatic_ends_when_land_is_unchosen() -> None:
    slow = ("0 s: panel.switch: up", "0 s: panel.selector: land", "0.5 s: air_data.airspeed_wanted: 60")
    answer = played("run_for: 12 s\n" + steps(*slow, "5 s: panel.selector: water"), begins="up", airspeed_kt=74)
    assert shown(answer, "panel.order") == ["stay", "up", "auto_down", "up"]
    assert shown(answer, "panel.lamp_left")[-1] == "blue"
    assert not at(answer, "panel.horn", 12)


def test_a_leg_that_never_spoke_is_silent() -> None:
    mute = "faults: [{kind: silent, node: strut_left, at: 0 s}]\n"
    answer = played("run_for: 2 s\n" + mute + steps("0 s: panel.selector: land"))
    assert shown(answer, "panel.lamp_left") == ["red"]
    assert at(answer, "panel.legs_heard", 2) == 2
