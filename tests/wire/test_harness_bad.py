"""Harnesses made bad on purpose: each breaks the rule it should, and no other."""

from dataclasses import replace
from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from busdesign.wire.cable import Cable
from busdesign.wire.delays import propagation_budget
from busdesign.wire.harness import Harness, Tap, Termination, Transceiver, harness_problems
from busdesign.wire.levels import levels
from busdesign.wire.stubs import judge_stubs
from busdesign.wire.terminations import unsuitable_terminations
from tests.wire.harnesses import GOOD, figures, harnesses

RATE_BIT_S, PROP_SEG_NS = 500_000, 1375


def tap(harness: Harness, node: str, **changed: object) -> Harness:
    return replace(
        harness,
        taps=tuple(replace(each, **changed) if each.node == node else each for each in harness.taps),  # type: ignore[arg-type]
    )


def broken(harness: Harness) -> set[str]:
    """The rules that do not hold."""
    stubs, level_rules = judge_stubs(harness, RATE_BIT_S, PROP_SEG_NS)[0], levels(harness)
    assert stubs.margin_all_m is not None
    found = {
        "propagation": not propagation_budget(harness, PROP_SEG_NS).holds,
        "each stub": stubs.margin_each_m < 0,
        "all stubs": stubs.margin_all_m < 0,
        "level": not level_rules.holds,
        "terminations": bool(unsuitable_terminations(harness)),
    }
    return {rule for rule, is_broken in found.items() if is_broken}


WIDE = replace(GOOD, trunk_m=80, terminations=(Termination(0), Termination(80)))
MANY = tuple(Tap(f"n{i}", i * 10, 5) for i in range(6))

VARIANTS: dict[str, tuple[Harness, set[str]]] = {
    "good": (GOOD, set()),
    "wide": (WIDE, set()),
    "slow isolators": (tap(GOOD, "panel", transceiver=Transceiver(isolator_ns=400)), {"propagation"}),
    "a slow cable": (replace(WIDE, taps=(Tap("a", 0), Tap("b", 80)), cable=Cable(delay_ns_per_m=6)), {"propagation"}),
    "one long stub": (tap(WIDE, "air_data", stub_m=6), {"each stub"}),
    "many stubs": (replace(WIDE, taps=MANY), {"all stubs"}),
    "thin wire": (replace(GOOD, cable=Cable(ohm_per_m=6)), {"level"}),
    "a weak driver": (tap(GOOD, "panel", transceiver=Transceiver(driven_v_min=Fraction(9, 10))), {"level"}),
    "inputs that draw": (tap(GOOD, "panel", transceiver=Transceiver(input_ohm=30)), {"level"}),
    "one termination": (replace(GOOD, terminations=(Termination(9),)), {"terminations"}),
    "none": (replace(GOOD, terminations=()), {"terminations"}),
    "three": (replace(GOOD, terminations=(*GOOD.terminations, Termination(5))), {"terminations"}),
    "of 150 ohm": (replace(GOOD, terminations=(Termination(0), Termination(9, 150))), {"terminations"}),
    "of 10 %": (replace(GOOD, terminations=(Termination(0), Termination(9, 125, Fraction(1, 10)))), {"terminations"}),
    "a node beyond": (replace(GOOD, terminations=(Termination(0), Termination(5))), {"terminations"}),
    "bare trunk beyond": (replace(WIDE, terminations=(Termination(0), Termination(74))), {"each stub"}),
}


@pytest.mark.parametrize("name", VARIANTS)
def test_a_bad_harness_breaks_its_rule_alone(name: str) -> None:
    harness, rules = VARIANTS[name]
    assert broken(harness) == rules


def test_what_is_unsuitable_has_the_nearest_possible() -> None:
    found = {name: unsuitable_terminations(harness) for name, (harness, _) in VARIANTS.items()}
    assert [figures(problem.part, problem.nearest) for problem in found["none"]] == [("terminations", 2)]
    assert "no termination" in found["none"][0].text
    assert found["none"][0].fix == "add two of 120 ohm, at 0 m and at 9 m"
    assert "one termination only, at 9 m" in found["one termination"][0].text
    assert found["one termination"][0].fix == "add one of 120 ohm at 0 m"
    assert found["three"][0].fix == "keep the outermost two, take out the other, at 5 m"
    assert found["a node beyond"][0].fix == "the nearest possible value is 9 m"
    assert [figures(problem.part, problem.nearest) for problem in found["of 150 ohm"]] == [("terminations.1.ohm", 132)]
    assert [figures(problem.part, problem.nearest) for problem in found["of 10 %"]] == [("terminations.1.ohm", 120)]
    assert [figures(problem.part, problem.nearest) for problem in found["a node beyond"]] == [
        ("terminations.1.at_m", 9)
    ]


IMPOSSIBLE: dict[str, tuple[Harness, str, Fraction | int | None]] = {
    "no trunk": (
        replace(GOOD, trunk_m=0, taps=(Tap("a", 0), Tap("b", 0)), terminations=()),
        "trunk_m",
        Fraction(1, 100),
    ),
    "a negative trunk": (replace(GOOD, trunk_m=-3), "trunk_m", Fraction(1, 100)),
    "a trunk round the world": (replace(GOOD, trunk_m=10**9), "trunk_m", 10_000),
    "a trunk in floats": (replace(GOOD, trunk_m=9.5), "trunk_m", Fraction(19, 2)),  # type: ignore[arg-type]
    "a node beyond the end": (tap(GOOD, "air_data", at_m=12), "taps.air_data.at_m", 9),
    "a node before the start": (tap(GOOD, "air_data", at_m=-1), "taps.air_data.at_m", 0),
    "a stub longer than the trunk": (tap(GOOD, "panel", stub_m=10), "taps.panel.stub_m", 9),
    "a negative stub": (tap(GOOD, "panel", stub_m=-1), "taps.panel.stub_m", 0),
    "a negative loop": (tap(GOOD, "panel", transceiver=Transceiver(-1)), "taps.panel.loop_delay_ns", 0),
    "an isolator of a second": (
        tap(GOOD, "panel", transceiver=Transceiver(isolator_ns=10**9)),
        "taps.panel.isolator_ns",
        100_000,
    ),
    "an input of 0 ohm": (tap(GOOD, "panel", transceiver=Transceiver(input_ohm=0)), "taps.panel.input_ohm", 1),
    "a driver upside down": (
        tap(GOOD, "panel", transceiver=Transceiver(driven_v_max=1)),
        "taps.panel.driven_v_max",
        Fraction(3, 2),
    ),
    "a node twice": (replace(GOOD, taps=(*GOOD.taps, Tap("panel", 3))), "taps.panel", None),
    "a node alone": (replace(GOOD, taps=GOOD.taps[:1]), "taps", 2),
    "a termination beyond the end": (
        replace(GOOD, terminations=(Termination(0), Termination(10))),
        "terminations.1.at_m",
        9,
    ),
    "a termination of 0 ohm": (
        replace(GOOD, terminations=(Termination(0, 0), Termination(9))),
        "terminations.0.ohm",
        1,
    ),
    "a tolerance in per cent": (
        replace(GOOD, terminations=(Termination(0), Termination(9, 120, 5))),
        "terminations.1.tolerance",
        Fraction(1, 2),
    ),
    "faster than light": (
        replace(GOOD, cable=Cable(delay_ns_per_m=3)),
        "cable.delay_ns_per_m",
        Fraction(10**9, 299_792_458),
    ),
    "negative wire": (replace(GOOD, cable=Cable(ohm_per_m=-1)), "cable.ohm_per_m", 0),
    "no impedance": (replace(GOOD, cable=Cable(impedance_ohm=0)), "cable.impedance_ohm", 10),
}


@pytest.mark.parametrize("name", IMPOSSIBLE)
def test_what_cannot_be_is_told_with_the_nearest_possible(name: str) -> None:
    harness, part, nearest = IMPOSSIBLE[name]
    (problem,) = [found for found in harness_problems(harness) if found.part == part]
    assert problem.nearest == nearest
    assert bool(problem.fix) == (nearest is not None)
    with pytest.raises(ValueError, match=part):
        propagation_budget(harness, 1000)
    with pytest.raises(ValueError, match=part):
        levels(harness)


def test_everything_wrong_is_told_at_once() -> None:
    bad = replace(tap(tap(GOOD, "panel", stub_m=-1), "air_data", at_m=99), cable=Cable(ohm_per_m=-1))
    assert {problem.part for problem in harness_problems(bad)} == {
        "taps.panel.stub_m",
        "taps.air_data.at_m",
        "cable.ohm_per_m",
    }


@settings(max_examples=40)
@given(
    harnesses(most_taps=3),
    st.one_of(
        st.integers(-(10**400), 10**400), st.floats(), st.fractions(), st.booleans(), st.none(), st.text(max_size=50)
    ),
    st.sampled_from(["trunk_m", "at_m", "stub_m", "ohm"]),
)
def test_any_value_is_computed_with_or_refused(harness: Harness, value: object, where: str) -> None:
    if where == "trunk_m":
        harness = replace(harness, trunk_m=value)  # type: ignore[arg-type]
    elif where == "ohm":
        harness = replace(harness, terminations=(Termination(0, value),))  # type: ignore[arg-type]
    else:
        harness = tap(harness, "n0", **{where: value})
    if harness_problems(harness):
        with pytest.raises(ValueError, match="is"):
            levels(harness)
    else:
        assert levels(harness).lowest.level_v > 0
