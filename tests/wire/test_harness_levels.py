"""Levels on a resistive bus: circuits by hand, numpy's solution, laws; how many nodes."""

from dataclasses import replace
from fractions import Fraction
from math import ceil

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from busdesign.wire.cable import Cable
from busdesign.wire.harness import Harness, Tap, Termination, Transceiver
from busdesign.wire.levels import highest_level, least_load, level_pairs, levels, lowest_level
from busdesign.wire.node_count import TwoEnds, node_count, trunk_for_nodes_m
from tests.wire.harnesses import GOOD, figures, harnesses, tenths

NO_LOAD_OHM = 10**6
IDEAL = Transceiver(output_ohm=0, input_ohm=NO_LOAD_OHM)


def two_nodes(trunk_m: int, transceiver: Transceiver, cable: Cable) -> Harness:
    taps = (Tap("near", 0, 0, transceiver), Tap("far", trunk_m, 0, transceiver))
    return Harness(trunk_m, taps, (Termination(0), Termination(trunk_m)), cable)


def level(harness: Harness, driver: str, hearer: str) -> Fraction:
    (pair,) = [pair for pair in level_pairs(harness) if (pair.driver, pair.hearer) == (driver, hearer)]
    return pair.level_v


def test_wire_without_resistance_gives_the_stated_voltage_at_the_stated_load() -> None:
    """Two of 120 ohm are the 60 ohm that 1.5 V is stated for; a far input of 20 kohm takes a little."""
    harness = two_nodes(10, Transceiver(), Cable(ohm_per_m=0))
    load_ohm = 1 / (Fraction(1, 60) + Fraction(1, 20_000))
    assert lowest_level(harness).load_ohm == load_ohm
    assert lowest_level(harness).level_v == Fraction(5, 2) * load_ohm / (40 + load_ohm)
    assert highest_level(harness).level_v == 3


def test_a_driver_without_output_resistance_by_hand() -> None:
    """100 m of 0.1 ohm/m twice: 20 ohm into 120 ohm beside the input."""
    harness = two_nodes(100, IDEAL, Cable(ohm_per_m=Fraction(1, 10)))
    far_ohm = 1 / (Fraction(1, 120) + Fraction(1, NO_LOAD_OHM))
    assert level(harness, "near", "far") == Fraction(3, 2) * far_ohm / (far_ohm + 20)


def test_the_lowest_and_the_figures_about_it() -> None:
    found = levels(GOOD)
    assert found.lowest == min(level_pairs(GOOD), key=lambda pair: pair.level_v)
    assert found.trunk_loop_ohm == 9 * 2 * Fraction(70, 1000)
    assert found.terminations_ohm_min == (Fraction(1188, 10),) * 2
    rule, reserve, load = found.rules
    assert figures(rule.required, reserve.required, load.required) == (Fraction(9, 10), Fraction(11, 10), 50)
    assert rule.found == found.lowest.level_v
    assert rule.margin == found.lowest.level_v - Fraction(9, 10)
    assert found.holds
    assert all(each.holds for each in found.rules)


def by_numpy(harness: Harness) -> dict[tuple[str, str], float]:
    """Each driver's circuit of its own, written down anew: points at every place and every pin, currents in every wire.

    With the currents as unknowns beside the voltages, no resistance is divided by, and those of 0 ohm lose no digits.
    """
    places = sorted({float(part) for part in [t.at_m for t in harness.taps] + [t.at_m for t in harness.terminations]})
    loop = 2 * float(harness.cable.ohm_per_m)
    pins = range(len(places), len(places) + len(harness.taps))
    wires = [(at, at + 1, loop * (places[at + 1] - places[at])) for at in range(len(places) - 1)]
    for pin, tap in zip(pins, harness.taps, strict=True):
        wires.append((places.index(float(tap.at_m)), pin, loop * float(tap.stub_m)))
    shunts = [(places.index(float(t.at_m)), float(t.ohm) * (1 - float(t.tolerance))) for t in harness.terminations]
    found = {}
    for index, driver in enumerate(harness.taps):
        points = pins.stop
        matrix = np.zeros((points + len(wires) + 1, points + len(wires) + 1))
        right = np.zeros(len(matrix))
        inputs = [
            (pin, float(tap.transceiver.input_ohm))
            for pin, tap in zip(pins, harness.taps, strict=True)
            if tap is not driver
        ]
        for point, ohm in shunts + inputs:
            matrix[point, point] += 1 / ohm
        for row, (one, other, ohm) in enumerate(wires, points):  # its two voltages and the current from one to other
            matrix[one, row], matrix[other, row] = 1, -1
            matrix[row, [one, other, row]] = 1, -1, -ohm
        circuit, last = driver.transceiver, len(matrix) - 1
        matrix[pins[index], last] = -1  # the current that the driver gives
        matrix[last, [pins[index], last]] = 1, float(circuit.output_ohm)
        right[last] = float(circuit.driven_v_min) * (1 + float(circuit.output_ohm) / 60)
        volt = np.linalg.solve(matrix, right)
        for pin, hearer in zip(pins, harness.taps, strict=True):
            if hearer is not driver:
                found[driver.node, hearer.node] = float(volt[pin])
    return found


@settings(max_examples=25)
@given(harnesses())
def test_levels_as_numpy_solves_them(harness: Harness) -> None:
    pairs = level_pairs(harness)
    assert {(pair.driver, pair.hearer): float(pair.level_v) for pair in pairs} == pytest.approx(
        by_numpy(harness), rel=1e-9
    )
    assert lowest_level(harness).level_v == min(pair.level_v for pair in pairs)
    assert least_load(harness).load_ohm == min(pair.load_ohm for pair in pairs)
    strongest_v = max(tap.transceiver.source_v_max for tap in harness.taps)
    assert max(pair.driver_v for pair in pairs) < highest_level(harness).level_v <= strongest_v


@settings(max_examples=20)
@given(harnesses(most_taps=4), tenths(0, 5000))
def test_another_node_never_raises_a_level(harness: Harness, at_m: Fraction) -> None:
    assume(at_m <= harness.trunk_m)
    more = replace(harness, taps=(*harness.taps, Tap("one more", at_m)))
    after = {(pair.driver, pair.hearer): pair.level_v for pair in level_pairs(more)}
    assert all(after[pair.driver, pair.hearer] <= pair.level_v for pair in level_pairs(harness))
    assert lowest_level(more).level_v <= lowest_level(harness).level_v


def ended(harness: Harness, cable: Cable | None = None) -> Harness:
    """The same with a node at each end."""
    taps = (Tap("first", 0), *harness.taps, Tap("last", harness.trunk_m))
    return replace(harness, taps=taps, cable=cable or harness.cable)


@settings(max_examples=20)
@given(harnesses(most_taps=3), tenths(1, 1000))
def test_a_longer_trunk_never_raises_the_far_level(harness: Harness, more_m: Fraction) -> None:
    """Cut anywhere and lengthened there, so that what lies beyond moves along."""
    cut_m = harness.trunk_m / 2
    longer = replace(
        harness,
        trunk_m=harness.trunk_m + more_m,
        taps=tuple(replace(tap, at_m=tap.at_m + more_m * (tap.at_m > cut_m)) for tap in harness.taps),
        terminations=tuple(replace(t, at_m=t.at_m + more_m * (t.at_m > cut_m)) for t in harness.terminations),
    )
    assert level(ended(longer), "first", "last") <= level(ended(harness), "first", "last")


@settings(max_examples=20)
@given(harnesses(most_taps=3), st.integers(1, 500))
def test_more_resistance_in_the_wire_never_raises_the_far_level(harness: Harness, more_mohm: int) -> None:
    worse = Cable(ohm_per_m=harness.cable.ohm_per_m + Fraction(more_mohm, 1000))
    assert level(ended(harness, worse), "first", "last") <= level(ended(harness), "first", "last")


@settings(max_examples=20)
@given(harnesses(most_taps=4), st.integers(50, 300))
def test_another_termination_never_raises_a_level(harness: Harness, ohm: int) -> None:
    more = replace(harness, terminations=(*harness.terminations, Termination(0, ohm)))
    assert lowest_level(more).level_v <= lowest_level(harness).level_v
    assert highest_level(more).level_v <= highest_level(harness).level_v


@given(tenths(10, 3000), tenths(0, 3000), tenths(0, 3000), st.integers(0, 80))
def test_a_termination_moved_inwards_never_lowers_the_far_level(
    trunk_m: Fraction, one_m: Fraction, other_m: Fraction, output_ohm: int
) -> None:
    """Without inputs. Nearer to the driver it draws more there, yet the wire beyond carries nothing."""
    inner_m, outer_m = sorted((min(one_m, trunk_m), min(other_m, trunk_m)))
    circuit = Transceiver(input_ohm=NO_LOAD_OHM, output_ohm=output_ohm)
    taps = (Tap("near", 0, 0, circuit), Tap("far", trunk_m, 0, circuit))
    inner, outer = (Harness(trunk_m, taps, (Termination(0), Termination(at_m))) for at_m in (inner_m, outer_m))
    assert level(inner, "near", "far") >= level(outer, "near", "far") * (1 - Fraction(100, NO_LOAD_OHM))


TWO_ENDS = st.builds(
    TwoEnds,
    tenths(10, 3000),
    st.builds(Cable, ohm_per_m=st.integers(0, 150).map(lambda mohm: Fraction(mohm, 1000))),
    st.builds(Termination, st.just(0), st.integers(100, 130), st.just(Fraction(1, 100))),
    st.builds(Termination, st.just(0), st.integers(100, 130), st.just(Fraction(1, 100))),
    st.builds(Transceiver, input_ohm=st.integers(500, 30_000), output_ohm=st.integers(0, 60)),
)


def ladder(ends: TwoEnds, nodes: int) -> Harness:
    """All but the driver at the far end, as few nodes that draw like all of them: an input has 1 ohm at the least."""
    input_ohm, others = Fraction(ends.transceiver.input_ohm), nodes - 1
    lumps = ceil(others / input_ohm)
    lump = replace(ends.transceiver, input_ohm=input_ohm * lumps / others)
    far = (Tap(f"far{index or ''}", ends.trunk_m, 0, lump) for index in range(lumps))
    terminations = (ends.near, replace(ends.far, at_m=ends.trunk_m))
    return Harness(ends.trunk_m, (Tap("driver", 0, 0, ends.transceiver), *far), terminations, ends.cable)


@settings(max_examples=40)
@given(TWO_ENDS)
def test_the_number_of_nodes_just_fits_on_the_solved_bus(ends: TwoEnds) -> None:
    most = node_count(ends).most_nodes
    assume(most < 10_000)
    if most:
        assert level(ladder(ends, most), "driver", "far") >= Fraction(9, 10)
    assert level(ladder(ends, max(most + 1, 2)), "driver", "far") < Fraction(9, 10)


@settings(max_examples=40)
@given(TWO_ENDS, st.integers(2, 40))
def test_the_published_formula_is_the_solved_bus_of_an_ideal_driver(ends: TwoEnds, nodes: int) -> None:
    ideal = replace(ends, transceiver=replace(ends.transceiver, output_ohm=0))
    drawn = 1 / ideal.far.ohm_min + Fraction(nodes - 1) / ideal.transceiver.input_ohm
    assert level(ladder(ideal, nodes), "driver", "far") == Fraction(3, 2) / (1 + ideal.loop_ohm * drawn)


@settings(max_examples=40)
@given(TWO_ENDS, st.integers(2, 200))
def test_trunk_and_nodes_by_the_formula_agree(ends: TwoEnds, nodes: int) -> None:
    assume(ends.cable.ohm_per_m)
    trunk_m = trunk_for_nodes_m(nodes, ends)
    assume(Fraction(1, 10) < trunk_m < 10_000)
    (by_formula,) = [
        limit for limit in node_count(replace(ends, trunk_m=trunk_m)).limits if limit.name == "published formula"
    ]
    assert by_formula.most_nodes == nodes


@settings(max_examples=40)
@given(TWO_ENDS, st.lists(st.integers(0, 100), min_size=1, max_size=6))
def test_nodes_anywhere_never_hear_less_than_all_at_the_far_end(ends: TwoEnds, percents: list[int]) -> None:
    """What the count rests on, for trunks with less loop resistance than a termination."""
    assume(ends.loop_ohm < 60)
    taps = tuple(
        Tap(f"n{i}", ends.trunk_m * Fraction(percent, 100), 0, ends.transceiver)
        for i, percent in enumerate([*percents, 0])
    )
    terminations = (ends.near, replace(ends.far, at_m=ends.trunk_m))
    spread = Harness(ends.trunk_m, taps, terminations, ends.cable)
    assert min(pair.level_v for pair in level_pairs(spread) if pair.driver == f"n{len(percents)}") >= level(
        ladder(ends, len(taps)), "driver", "far"
    )


def test_a_count_by_hand() -> None:
    """Without wire: 60 ohm and inputs of 1 kohm. 2.5 V behind 40 ohm reach 0.9 V at a load of 22.5 ohm."""
    ends = TwoEnds(1, Cable(ohm_per_m=0), transceiver=Transceiver(input_ohm=1000))
    by_level, _, by_formula, by_load = node_count(ends).limits
    assert by_level.most_nodes == 1 + int((1 / 22.5 - 1 / 60) * 1000)
    assert by_formula.most_nodes == 10_000
    assert by_load.most_nodes == 1 + int((1 / 50 - 1 / 60) * 1000)


def test_no_two_nodes_hold_on_an_endless_wire() -> None:
    assert node_count(TwoEnds(10_000)).most_nodes == 0
    with pytest.raises(ValueError, match=r"trunk_m: -1 m is not within .* nearest possible value is 0.01 m"):
        node_count(TwoEnds(-1))
    with pytest.raises(ValueError, match="nodes: 1 nodes is not within"):
        trunk_for_nodes_m(1, TwoEnds(1))
