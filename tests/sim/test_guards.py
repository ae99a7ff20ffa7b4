"""Every guard of the demo is worth something: take it away, and the expectation that watches over it breaks.

Taken together the sabotages break every expectation of every scenario, so that none of them is there for show.
"""

from collections.abc import Mapping
from dataclasses import replace
from functools import cache

import pytest

from busdesign.catalogue.model import Message
from busdesign.scenario.reader import read_scenario
from busdesign.virtual.node import Arrival, Node
from sim.panel import Panel
from sim.strut import Strut
from tests.sim.stories import FOLDER, LEGS, NAMES, with_others


class RecklessStrut(Strut):
    """Drives whatever the lock does."""

    def may_drive(self) -> bool:
        return True


class HastyStrut(Strut):
    """Full voltage from the start to the end switch."""

    def run_motor(self, goal: float) -> None:
        super().run_motor(goal)
        self.mechanism.duty = 1.0 if goal > self.mechanism.position else -1.0


class DeafStrut(Strut):
    """Believes no order."""

    def believe(self, order: str) -> None:
        pass


class IcedStrut(Strut):
    """Is frozen in."""

    def look(self) -> None:
        self.jam = "blocked"
        super().look()


class CredulousStrut(Strut):
    """Extends by itself whatever the pilot chose."""

    def order_in(self, demand: str, surface: str) -> str:
        return "down" if demand == "auto_down" else demand


class HeedlessStrut(Strut):
    """Carries on without orders."""

    def missed(self, message: Message) -> None:
        pass


class SulkingStrut(Strut):
    """Takes no order again once they were lost."""

    def believe(self, order: str) -> None:
        if not self.lost:
            super().believe(order)


class ObstinateStrut(Strut):
    """Says that orders are lost, and drives all the same."""

    def act(self) -> None:
        lost, self.lost = self.lost, False
        super().act()
        self.lost = lost


class AnxiousStrut(Strut):
    """Gives up its orders at the first one that is late, and says so for ever."""

    def look(self) -> None:
        if self.order == "up":
            self.trouble = "overcurrent"
        super().look()


class RestlessStrut(Strut):
    """Goes up without an order."""

    def look(self) -> None:
        self.believe("up")
        super().look()


class DeafPanel(Panel):
    """Hears no leg."""

    def heard(self, message: Arrival) -> None:
        pass


class RashPanel(Panel):
    """Takes itself for armed."""

    def look(self) -> None:
        super().look()
        self.armed = True


class TrustingPanel(Panel):
    """Believes that a leg it does not hear is where it last was."""

    def missed(self, message: Message) -> None:
        pass


class ResentfulPanel(Panel):
    """Does not listen to a leg again that was silent once."""

    def begin(self) -> None:
        self.shunned: set[str] = set()
        super().begin()

    def missed(self, message: Message) -> None:
        self.shunned.add(message.sender)
        super().missed(message)

    def heard(self, message: Arrival) -> None:
        if message.sender not in self.shunned:
            super().heard(message)


class OptimisticPanel(Panel):
    """Shows green, come what may."""

    def lamp(self, leg: str) -> str:
        return "green"


class PessimisticPanel(Panel):
    """Shows red, come what may."""

    def lamp(self, leg: str) -> str:
        return "red"


class LandplanePanel(Panel):
    """Dark for up and locked, as on a land aeroplane."""

    lamps = "landplane"


class LoudPanel(Panel):
    """Sounds the horn all the time."""

    def sound_horn(self) -> None:
        self.horn = True


class MutePanel(Panel):
    """Has no horn."""

    def sound_horn(self) -> None:
        self.horn = False


class EagerPanel(Panel):
    """Extends by itself without a positive choice of land."""

    def may_extend(self) -> bool:
        return True


class EarlyPanel(Panel):
    """Extends by itself at any speed."""

    def is_slow_enough(self) -> bool:
        return True


STRUTS: Mapping[str, type[Strut]] = {
    "reckless": RecklessStrut,
    "hasty": HastyStrut,
    "deaf": DeafStrut,
    "iced": IcedStrut,
    "credulous": CredulousStrut,
    "restless": RestlessStrut,
    "heedless": HeedlessStrut,
    "sulking": SulkingStrut,
    "obstinate": ObstinateStrut,
    "anxious": AnxiousStrut,
}
PANELS: Mapping[str, type[Panel]] = {
    "deaf-panel": DeafPanel,
    "rash": RashPanel,
    "trusting": TrustingPanel,
    "resentful": ResentfulPanel,
    "optimistic": OptimisticPanel,
    "pessimistic": PessimisticPanel,
    "landplane": LandplanePanel,
    "loud": LoudPanel,
    "mute": MutePanel,
    "eager": EagerPanel,
    "early": EarlyPanel,
}
# Struts and panel of a pair break different expectations; together they save a run.
TRIED = {
    "retract": ("reckless loud", "hasty optimistic", "deaf", "iced", "pessimistic", "landplane"),
    "extend": (
        *("reckless", "hasty optimistic", "deaf mute", "iced", "pessimistic", "landplane", "loud"),
        *("early", "eager", "credulous eager"),
    ),
    "power_up": ("restless rash", "deaf-panel", "optimistic"),
    "stuck_lock": ("reckless", "deaf", "deaf-panel", "optimistic"),
    "babbling_strut": ("reckless", "deaf", "heedless", "sulking", "optimistic", "trusting", "no-fault"),
    "cut_leg": ("reckless", "deaf", "heedless", "obstinate", "sulking", "optimistic", "pessimistic", "trusting"),
    "flipped_bits": ("reckless", "deaf", "anxious", "optimistic", "pessimistic", "deaf-panel"),
    "silent_strut": ("reckless", "hasty optimistic", "deaf", "pessimistic", "landplane", "trusting", "resentful"),
}
LOCKS = {f"{leg} motor only against a released lock" for leg in LEGS}


def saboteurs(names: str) -> dict[str, Node]:
    nodes: dict[str, Node] = {}
    for name in names.replace("no-fault", "").split():
        nodes |= {f"strut_{leg}": STRUTS[name]() for leg in LEGS} if name in STRUTS else {"panel": PANELS[name]()}
    return nodes


@cache
def broken(scenario: str, sabotage: str) -> frozenset[str]:
    """The expectations of ``scenario`` that break under ``sabotage``."""
    told = read_scenario(FOLDER / f"{scenario}.yaml")
    answer = with_others(replace(told, faults=()) if sabotage == "no-fault" else told, saboteurs(sabotage))
    return frozenset(found.name for found in answer.expectations if found.holds is False)


@pytest.mark.parametrize("scenario", NAMES)
def test_every_expectation_can_break(scenario: str) -> None:
    every = {expected.name for expected in read_scenario(FOLDER / f"{scenario}.yaml").expectations}
    assert every - frozenset().union(*(broken(scenario, sabotage) for sabotage in TRIED[scenario])) == set()


@pytest.mark.parametrize("scenario", ["extend", "silent_strut"])
def test_a_motor_that_does_not_ask_the_lock_is_caught(scenario: str) -> None:
    assert broken(scenario, "reckless") >= LOCKS


@pytest.mark.parametrize("scenario", ["retract", "extend"])
def test_a_motor_that_does_not_slow_down_is_caught(scenario: str) -> None:
    assert any(name.startswith("every leg slows down") for name in broken(scenario, "hasty optimistic"))


def test_a_panel_without_the_lamp_for_silence_is_caught() -> None:
    assert "a silent leg shows red" in broken("silent_strut", "trusting")


@pytest.mark.parametrize("scenario", ["retract", "extend", "silent_strut"])
def test_an_amphibian_with_a_landplanes_lamps_is_caught(scenario: str) -> None:
    assert "no lamp is dark" in broken(scenario, "landplane")


def test_each_of_the_two_guards_against_wheels_on_water_holds_alone() -> None:
    still = "without a positive choice of land nothing moves"
    assert "without a positive choice of land nothing is armed" in broken("extend", "eager")
    assert still not in broken("extend", "eager")
    assert still in broken("extend", "credulous eager")
    assert broken("extend", "credulous") == frozenset()
