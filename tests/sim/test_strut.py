"""What a strut board does with its orders, and what it does when something is wrong."""

from busdesign.answers.simulate import simulate
from busdesign.catalogue.codec import MessageCodec
from busdesign.catalogue.reader import read_catalogue
from sim.strut import Strut
from sim.undercarriage import Leg
from tests.sim.stories import (
    AIR_DATA,
    FOLDER,
    LEGS,
    SECOND_NS,
    STRUTS,
    at,
    changes,
    heard,
    played,
    shown,
    steps,
    story,
    with_others,
)

CATALOGUE = FOLDER.parents[1] / "messages" / "saltmarsh.yaml"
WITHOUT_PANEL = AIR_DATA + STRUTS


def test_a_leg_unlocks_moves_stops_and_locks() -> None:
    answer = played("run_for: 10 s\n" + steps("1 s: panel.switch: up"))
    for leg in LEGS:
        assert shown(answer, f"strut_{leg}.state") == ["down_locked", "moving", "up_locked"]
        assert shown(answer, f"strut_{leg}.lock") == ["engaged", "unknown", "released", "unknown", "engaged"]
        assert shown(answer, f"strut_{leg}.drive") == ["off", "retract", "off"]
        places = shown(answer, f"strut_{leg}.position")
        assert places == sorted(places, reverse=True)


class FineLeg(Leg):
    """Twenty steps for each one."""

    def step(self, step_s: float) -> None:
        for _ in range(20):
            super().step(step_s / 20)


class FineStrut(Strut):
    """Looks as often as any, at a mechanism that is reckoned finer."""

    def begin(self) -> None:
        super().begin()
        self.mechanism = FineLeg(weight_a=self.mechanism.weight_a, position=self.mechanism.position)


def test_with_finer_physics_the_legs_are_at_most_a_look_apart() -> None:
    """The pin's travel is a whole number of looks, so that a rounding may cost one: 0.18 % of the way at full speed."""
    told = story("run_for: 10 s\n" + steps("1 s: panel.switch: up"))
    coarse, fine = simulate(told), with_others(told, {f"strut_{leg}": FineStrut() for leg in LEGS})
    for leg in LEGS:
        ends = [changes(answer, f"strut_{leg}.drive")[-1][0] for answer in (coarse, fine)]
        assert abs(ends[0] - ends[1]) <= SECOND_NS // 100
        for time_s in (2, 4, 6, 8):
            places = [at(answer, f"strut_{leg}.position", time_s) for answer in (coarse, fine)]
            assert abs(places[0] - places[1]) < 0.2


def test_the_last_part_of_the_way_is_slow() -> None:
    answer = played("run_for: 10 s\n" + steps("1 s: panel.switch: up"))
    arrived = next(time for time, place in changes(answer, "strut_left.position")[2:] if place < 0.5)
    last = [speed for time, speed in changes(answer, "strut_left.speed") if time < arrived][-1]
    assert 1.0 < last < 5.0
    assert max(shown(answer, "strut_left.speed")) > 15.0


def test_a_change_of_mind_turns_the_legs_round() -> None:
    answer = played("run_for: 10 s\n" + steps("1 s: panel.switch: up", "4 s: panel.switch: down"))
    assert shown(answer, "strut_left.state") == ["down_locked", "moving", "down_locked"]
    assert shown(answer, "strut_left.drive") == ["off", "retract", "extend", "off"]
    assert min(shown(answer, "strut_left.position")) < 70
    assert max(shown(answer, "strut_left.current_a")) < 35


def test_stay_stops_the_legs_where_they_are() -> None:
    answer = played("run_for: 7 s\n" + steps("1 s: panel.switch: up", "3 s: panel.switch: stay"))
    assert shown(answer, "strut_left.drive") == ["off", "retract", "off"]
    assert 20 < at(answer, "strut_left.position", 3.5) < 90
    assert at(answer, "strut_left.position", 3.5) == at(answer, "strut_left.position", 7)
    assert at(answer, "strut_left.state", 7) == "moving"


def test_without_orders_the_legs_hold_and_say_so_and_with_them_they_go_on() -> None:
    silence = "faults: [{kind: silent, node: panel, at: 3 s, until: 5 s}]\n"
    answer = played("run_for: 12 s\n" + silence + steps("1 s: panel.switch: up"))
    for leg in LEGS:
        assert shown(answer, f"strut_{leg}.drive") == ["off", "retract", "off", "retract", "off"]
        assert shown(answer, f"strut_{leg}.fault") == ["none", "orders_lost", "none"]
        assert at(answer, f"strut_{leg}.position", 3.6) == at(answer, f"strut_{leg}.position", 4.9)
        assert at(answer, f"strut_{leg}.state", 12) == "up_locked"
    stopped = [time for time, on in changes(answer, "strut_left.drive") if on == "off"][1]
    assert 3.15 * SECOND_NS < stopped < 3.21 * SECOND_NS  # 200 ms after the last frame
    assert shown(answer, "panel.caution") == ["none", "orders_lost", "none"]


def test_a_locked_leg_that_loses_its_orders_stays_what_it_is() -> None:
    answer = played("run_for: 2 s\nfaults: [{kind: silent, node: panel, at: 1 s}]\n" + steps("0 s: panel.switch: down"))
    assert shown(answer, "strut_nose.state") == ["down_locked"]
    assert shown(answer, "strut_nose.fault") == ["none", "orders_lost"]


def test_a_lock_that_does_not_open_is_a_fault_and_the_motor_never_starts() -> None:
    answer = played("run_for: 4 s\n" + steps("0 s: strut_left.jam: lock", "1 s: panel.switch: up"))
    assert shown(answer, "strut_left.drive") == ["off"]
    assert shown(answer, "strut_left.state") == ["down_locked", "fault"]
    assert shown(answer, "panel.caution") == ["none", "lock_stuck"]
    assert at(answer, "strut_right.position", 4) < 80


def test_another_order_lets_a_leg_try_again() -> None:
    damage = ("0 s: strut_left.jam: lock", "3 s: strut_left.jam: none")
    orders = ("1 s: panel.switch: up", "4 s: panel.switch: down", "5 s: panel.switch: up")
    answer = played("run_for: 15 s\n" + steps(*damage, *orders))
    assert at(answer, "strut_left.state", 3.9) == "fault"
    assert at(answer, "strut_left.state", 4.9) == "down_locked"
    assert at(answer, "strut_left.state", 15) == "up_locked"
    assert at(answer, "panel.caution", 15) == "none"


def test_a_stiff_leg_is_too_slow_and_a_blocked_one_draws_too_much() -> None:
    tale = ("0 s: strut_left.jam: stiff", "0 s: strut_right.jam: blocked", "1 s: panel.switch: up")
    answer = played("run_for: 13 s\n" + steps(*tale))
    assert shown(answer, "strut_left.fault") == ["none", "too_slow"]
    assert shown(answer, "strut_right.fault") == ["none", "overcurrent"]
    assert at(answer, "strut_right.drive", 2) == "off"
    assert at(answer, "strut_nose.state", 13) == "up_locked"


def test_a_fault_is_said_at_once_and_again_while_it_lasts_and_never_too_often() -> None:
    answer = played("run_for: 5 s\n" + steps("0 s: strut_left.jam: lock", "1 s: panel.switch: up"))
    index = [message.name for message in answer.run.catalogue.messages].index("fault_report_left")
    said = answer.run.ready_ns[answer.run.message_index == index]
    fault = changes(answer, "strut_left.fault")[-1][0]
    assert said[0] == fault
    assert {int(gap) for gap in said[1:] - said[:-1]} == {SECOND_NS // 2}
    assert not answer.findings


def test_a_sender_whose_counter_stands_still_is_not_obeyed() -> None:
    """Its frames are right in everything else, check included."""
    message = read_catalogue(CATALOGUE).message("leg_demand")
    stuck = MessageCodec(message).encode({"demand": "up", "surface": "water"}).hex()
    answer = simulate(story(f'run_for: 3 s\npayload: {{leg_demand: "{stuck}"}}\n', cast=WITHOUT_PANEL))
    assert shown(answer, "strut_left.order") == ["stay"]
    assert shown(answer, "strut_left.state") == ["down_locked"]


def test_random_orders_move_a_leg_only_if_two_of_three_agree() -> None:
    answer = simulate(story("run_for: 3 s\npayload: random\n", cast=WITHOUT_PANEL))
    frames = [(time, ordered(**values)) for time, values in heard(answer, "leg_demand")]
    frames[0] = (frames[0][0], "the first does not count")
    for time, order in changes(answer, "strut_left.order")[1:]:
        last = [said for at_ns, said in frames if at_ns <= time][-3:]
        assert last[-1] == order
        assert last.count(order) >= 2
    assert len(changes(answer, "strut_left.order")) > 3


def ordered(demand: str, surface: str, **others: object) -> str:
    automatic = "down" if surface == "land" else "stay"
    return automatic if demand == "auto_down" else demand


def test_the_maintenance_figures_follow_a_cycle() -> None:
    answer = played("run_for: 18 s\n" + steps("1 s: panel.switch: up", "9 s: panel.switch: down"))
    (_, first), *_, (_, last) = heard(answer, "supply_report_left")
    assert (first["cycles"], last["cycles"]) == (0, 1)
    assert last["temperature"] > first["temperature"] + 3
