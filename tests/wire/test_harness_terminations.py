"""Missing, third and wrong terminations."""

from dataclasses import replace
from fractions import Fraction

from hypothesis import given, settings

from busdesign.wire.harness import Harness, Termination
from busdesign.wire.levels import lowest_level
from busdesign.wire.terminations import echoes, termination_cases, unsuitable_terminations
from tests.wire.harnesses import GOOD, figures, harnesses


def test_a_good_bus_has_nothing_wrong() -> None:
    assert unsuitable_terminations(GOOD) == []
    assert figures(*echoes(GOOD)) == (0, 0)


def test_the_cases_of_a_good_bus() -> None:
    cases = termination_cases(GOOD, wrong_ohm=(60,))
    built, *others = cases
    assert figures(built.kind, built.change_v, built.holds) == ("as built", 0, True)
    assert [case.kind for case in others] == ["missing", "missing", "third", "wrong", "wrong"]
    for case in others:
        assert case.change_v == case.lowest.level_v - built.lowest.level_v
        assert (case.change_v > 0) == (case.kind == "missing")
        assert (case.highest_v > built.highest_v) == (case.kind == "missing")


def test_echoes_by_hand() -> None:
    missing = [case for case in termination_cases(GOOD) if case.kind == "missing"]
    assert [figures(*case.echoes) for case in missing] == [(1, 0), (0, 1)]
    doubled = replace(GOOD, terminations=(Termination(0), Termination(0), Termination(9)))
    assert figures(*echoes(doubled)) == (Fraction(-1, 3), 0)


def test_levels_without_wire_resistance_by_hand() -> None:
    """3 V and 40 ohm inside at 60 ohm: 5 V at no load, so 3.75 V at 120 ohm and 2.5 V at 40 ohm."""
    wires = replace(GOOD, terminations=(Termination(0), Termination(9)), cable=replace(GOOD.cable, ohm_per_m=0))
    highest_v = {case.kind: case.highest_v for case in termination_cases(wires)}
    assert figures(highest_v["as built"], highest_v["missing"], highest_v["third"]) == (
        3,
        Fraction(15, 4),
        Fraction(5, 2),
    )
    none = termination_cases(replace(wires, terminations=()))
    assert none[0].highest_v == 5
    assert figures(*none[0].echoes) == (1, 1)


@settings(max_examples=20)
@given(harnesses(most_taps=4))
def test_a_third_is_where_it_does_most_harm(harness: Harness) -> None:
    (third,) = [case for case in termination_cases(harness, ()) if case.kind == "third"]
    assert third.lowest.level_v == min(
        lowest_level(replace(harness, terminations=(*harness.terminations, Termination(tap.at_m)))).level_v
        for tap in harness.taps
    )
