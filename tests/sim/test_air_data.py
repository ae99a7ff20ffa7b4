"""What the air-data board says of a flight in straight lines."""

from busdesign.answers.simulate import simulate
from tests.sim.stories import AIR_DATA, SECOND_NS, heard, steps, story


def test_airspeed_and_height_follow_what_is_flown_at_their_rates() -> None:
    tale = "run_for: 5 s\n" + steps("1 s: air_data.airspeed_wanted: 80", "1 s: air_data.height_wanted: 950")
    frames = heard(simulate(story(tale, cast=AIR_DATA, airspeed_kt=90)), "air_data_report")
    assert frames[0][1]["airspeed"] == 90
    assert frames[0][1]["height"] == 1000
    for time_ns, values in frames:
        flown_s = max(0.0, min(time_ns / SECOND_NS - 1, 2))  # 10 kt at 5 kt/s, 50 ft at 25 ft/s
        assert abs(values["airspeed"] - (90 - 5 * flown_s)) < 0.5
        assert abs(values["height"] - (1000 - 25 * flown_s)) < 2.5
        assert values["valid"] == 1
    assert (frames[-1][1]["airspeed"], frames[-1][1]["height"]) == (80, 950)


def test_a_blocked_probe_is_marked_and_opens_again() -> None:
    tale = "run_for: 3 s\n" + steps("1 s: air_data.probe_blocked: true", "2 s: air_data.probe_blocked: false")
    frames = heard(simulate(story(tale, cast=AIR_DATA)), "air_data_report")
    told = [(time_ns / SECOND_NS, values["valid"]) for time_ns, values in frames]
    assert {valid for time_s, valid in told if 1.1 < time_s < 2} == {0}
    assert {valid for time_s, valid in told if time_s < 1 or time_s > 2.1} == {1}
