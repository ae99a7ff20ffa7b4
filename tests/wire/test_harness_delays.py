"""Propagation budgets, the longest trunk, the stub rules."""

from dataclasses import replace
from fractions import Fraction
from itertools import combinations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from busdesign.wire.delays import longest_trunk, propagation_budget, propagation_room_ns
from busdesign.wire.harness import Harness, Tap, Termination, Transceiver, wire_m
from busdesign.wire.stubs import judge_stubs, stub_lengths_m, stub_limits
from tests.wire.harnesses import GOOD, figures, harnesses, tenths


def test_a_budget_by_hand() -> None:
    """Two loops of 255 ns, 9 m of trunk out and back at 5 ns/m; no stubs at the ends."""
    budget = propagation_budget(GOOD, 1000)
    assert budget.nodes == ("panel", "strut_right")
    assert {part.name: part.delay_ns for part in budget.parts if part.delay_ns} == {
        "transceiver of panel": 255,
        "transceiver of strut_right": 255,
        "trunk": 90,
    }
    assert figures(budget.wire_m, budget.total_ns, budget.margin_ns, budget.holds) == (9, 600, 400, True)


def test_isolators_are_passed_twice_and_a_slow_node_near_by_beats_a_far_one() -> None:
    slow = Tap("slow", 2, Fraction(1, 2), Transceiver(loop_delay_ns=200, isolator_ns=75))
    budget = propagation_budget(replace(GOOD, taps=(*GOOD.taps, slow)), 1000)
    assert budget.nodes == ("strut_right", "slow")
    assert {part.name: part.delay_ns for part in budget.parts}["isolators of slow"] == 150
    assert budget.total_ns == 255 + 200 + 150 + 2 * 5 * (7 + Fraction(1, 2))


def test_a_budget_that_does_not_fit() -> None:
    budget = propagation_budget(GOOD, 599)
    assert figures(budget.margin_ns, budget.holds) == (-1, False)


@settings(max_examples=30)
@given(harnesses(most_taps=4), st.integers(1, 5000))
def test_the_parts_add_up_and_no_pair_is_slower(harness: Harness, prop_seg_ns: int) -> None:
    budget = propagation_budget(harness, prop_seg_ns)
    assert sum(part.delay_ns for part in budget.parts) == budget.total_ns
    assert budget.total_ns + budget.margin_ns == budget.limit_ns == prop_seg_ns
    assert budget.total_ns == max(
        2 * harness.cable.delay_ns_per_m * wire_m(one, other)
        + sum(tap.transceiver.loop_delay_ns + 2 * tap.transceiver.isolator_ns for tap in (one, other))
        for one, other in combinations(harness.taps, 2)
    )


@settings(max_examples=30)
@given(harnesses(most_taps=4), tenths(1, 500))
def test_a_longer_trunk_never_lowers_the_delay(harness: Harness, more_m: Fraction) -> None:
    last = max(tap.at_m for tap in harness.taps)
    moved = tuple(replace(tap, at_m=tap.at_m + more_m) if tap.at_m == last else tap for tap in harness.taps)
    longer = replace(harness, trunk_m=harness.trunk_m + more_m, taps=moved)
    assert propagation_budget(longer, 1000).total_ns >= propagation_budget(harness, 1000).total_ns


@settings(max_examples=30)
@given(harnesses(most_taps=4), st.integers(500, 5000))
def test_the_longest_trunk_just_fits(harness: Harness, prop_seg_ns: int) -> None:
    limit = longest_trunk(harness, 500_000, prop_seg_ns)
    assert limit.limit_ns == prop_seg_ns
    if limit.longest_trunk_m is None:
        nodes_ns = sum(limit.loop_delays_ns) + limit.isolators_ns + 2 * limit.stubs_m * limit.delay_ns_per_m
        assert limit.shortfall_ns == nodes_ns - prop_seg_ns > 0
        return
    assert limit.shortfall_ns == 0
    assert limit.longest_wire_m == limit.longest_trunk_m + limit.stubs_m
    trunk_m = max(limit.longest_trunk_m, Fraction(5))  # the least that stubs and trunk of a harness may have
    ends = dict(zip(limit.nodes, (Fraction(0), trunk_m), strict=True))
    taps = tuple(replace(tap, at_m=ends.get(tap.node, Fraction(0))) for tap in harness.taps)
    stretched = Harness(trunk_m, taps, (Termination(0), Termination(trunk_m)), harness.cable)
    margin_ns = propagation_budget(stretched, prop_seg_ns).margin_ns
    if trunk_m == limit.longest_trunk_m:
        assert margin_ns == 0
    else:
        assert margin_ns < 0


def test_the_longest_trunk_says_what_it_assumes() -> None:
    limit = longest_trunk(GOOD, 1_000_000, 600)
    assert figures(limit.loop_delays_ns, limit.left_for_wire_ns, limit.longest_wire_m) == ((255, 255), 90, 9)
    assert limit.stubs_m == Fraction(1, 2)
    assert limit.longest_trunk_m == Fraction(17, 2)
    assert {row.trunk_m for row in limit.recommended} == {40, 25, 30, 20}
    assert all(row.source.status for row in limit.recommended)


def test_a_rate_between_rows_takes_the_stricter() -> None:
    limit = longest_trunk(GOOD, 333_000, 1000)
    assert {row.bit_rate_bit_s for row in limit.recommended} == {500_000, 1_000_000}
    assert longest_trunk(GOOD, 2_000_000, 1000).recommended == ()


def test_the_room_for_propagation() -> None:
    """16 quanta of 125 ns at 500 kbit/s, sampled after 14: 2 for each phase, 1 to synchronise, 11 left."""
    assert propagation_room_ns(500_000, Fraction(7, 8)) == 11 * 125
    assert propagation_room_ns(500_000, Fraction(7, 8), 16, 1) == 12 * 125
    with pytest.raises(ValueError, match=r"the nearest is 87.5 %"):
        propagation_room_ns(500_000, Fraction(86, 100))
    with pytest.raises(ValueError, match="leave none for propagation"):
        propagation_room_ns(500_000, Fraction(1, 2))


def test_stubs_by_hand() -> None:
    """1000 ns at 5 ns/m: 200 m of wire, so 4 m for each stub and 20 m for all."""
    rule = judge_stubs(GOOD, 500_000, 1000)[0]
    assert figures(rule.limit.each_m, rule.limit.all_m) == (4, 20)
    assert (rule.longest_m, rule.all_stubs_m) == (Fraction(1, 4), Fraction(1, 2))
    assert (rule.margin_each_m, rule.margin_all_m, rule.too_long) == (Fraction(15, 4), Fraction(39, 2), ())


def test_a_trunk_beyond_its_terminations_is_a_stub() -> None:
    inner = replace(GOOD, terminations=(Termination(0), Termination(5)))
    assert stub_lengths_m(inner)["trunk after its last termination"] == 4
    rule = judge_stubs(inner, 1_000_000, 375)[0]
    assert (rule.longest, rule.too_long, rule.holds) == ((name := "trunk after its last termination"), (name,), False)


def test_a_missing_termination_makes_no_stub_of_the_trunk() -> None:
    assert judge_stubs(replace(GOOD, terminations=(Termination(0),)), 1_000_000, 375)[0].longest_m == Fraction(1, 4)


@settings(max_examples=30)
@given(harnesses(most_taps=4), st.integers(10, 5000))
def test_stub_verdicts_agree_with_their_figures(harness: Harness, prop_seg_ns: int) -> None:
    lengths = stub_lengths_m(harness)
    for verdict in judge_stubs(harness, 250_000, prop_seg_ns):
        assert verdict.all_stubs_m == sum(lengths.values())
        fits = all(length_m <= verdict.limit.each_m for length_m in lengths.values())
        together = verdict.limit.all_m is None or verdict.all_stubs_m <= verdict.limit.all_m
        assert verdict.holds == (fits and together)
        assert bool(verdict.too_long) == (not fits)


@given(st.integers(1, 5000), tenths(40, 70))
def test_a_slower_cable_never_allows_a_longer_stub(prop_seg_ns: int, delay_ns_per_m: Fraction) -> None:
    slower = stub_limits(250_000, prop_seg_ns, delay_ns_per_m + 1)
    for limit, less in zip(stub_limits(250_000, prop_seg_ns, delay_ns_per_m), slower, strict=True):
        assert less.each_m <= limit.each_m


@pytest.mark.parametrize("prop_seg_ns", [0, -1, 1.5, 10**12])
def test_a_segment_that_cannot_be(prop_seg_ns: int) -> None:
    with pytest.raises(ValueError, match="prop_seg_ns"):
        propagation_budget(GOOD, prop_seg_ns)
