"""Wires against published figures: values/physical_layer.yaml and values/harness_delays.yaml, sources there."""

from fractions import Fraction
from math import pi
from pathlib import Path
from typing import Any

import pytest
import yaml

from busdesign.wire import physical_layer
from busdesign.wire.cable import COPPER_OHM_MM2_PER_M, GAUGE_MM2, Cable, copper_ohm_per_m
from busdesign.wire.delays import longest_trunk, propagation_budget, propagation_room_ns
from busdesign.wire.harness import Harness, Tap, Termination, Transceiver
from busdesign.wire.levels import reserved_level_v
from busdesign.wire.node_count import TwoEnds, trunk_for_nodes_m
from busdesign.wire.recommendations import mixed_trunk_m, recommended_lengths, recommended_stubs
from busdesign.wire.stubs import stub_limits
from tests.wire.harnesses import figures

VALUES = Path(__file__).parent / "values"
LAYER: dict[str, Any] = yaml.safe_load((VALUES / "physical_layer.yaml").read_text(encoding="utf-8"))
DELAYS: dict[str, Any] = yaml.safe_load((VALUES / "harness_delays.yaml").read_text(encoding="utf-8"))


def exact(printed: float | str) -> Fraction:
    return Fraction(str(printed))


def two_nodes(trunk_m: Fraction | int, transceiver: Transceiver, cable: Cable) -> Harness:
    taps = (Tap("near", 0, 0, transceiver), Tap("far", trunk_m, 0, transceiver))
    return Harness(trunk_m, taps, (Termination(0), Termination(trunk_m)), cable)


@pytest.mark.parametrize("example", DELAYS["examples"], ids=lambda example: example["name"])
def test_the_propagation_segment_of_the_bosch_examples(example: dict[str, Any]) -> None:
    transceiver = Transceiver(loop_delay_ns=example["driver_ns"] + example["receiver_ns"])
    harness = two_nodes(40, transceiver, Cable(delay_ns_per_m=Fraction(example["line_40m_ns"], 40)))
    budget = propagation_budget(harness, example["prop_ns"])
    assert budget.total_ns == example["prop_ns"]
    assert longest_trunk(harness, example["bit_rate"], example["prop_ns"]).longest_trunk_m == 40


def test_our_constants_are_the_published_ones() -> None:
    levels, cable, term = LAYER["levels"], LAYER["cable"], LAYER["termination_ohm"]
    assert exact(levels["dominant_diff_v"]["min"]) == physical_layer.DOMINANT_V_MIN
    assert exact(levels["dominant_diff_v"]["max"]) == physical_layer.DOMINANT_V_MAX
    assert levels["dominant_diff_v"]["load_ohm"] == physical_layer.DRIVER_LOAD_OHM
    assert exact(levels["receiver_dominant_above_v"]) == physical_layer.DOMINANT_ABOVE_V
    assert exact(levels["receiver_recessive_below_v"]) == physical_layer.RECESSIVE_BELOW_V
    assert list(levels["common_mode_v"].values()) == [
        physical_layer.COMMON_MODE_V_MIN,
        physical_layer.COMMON_MODE_V_MAX,
    ]
    assert list(map(exact, levels["recessive_bias_v"].values())) == [
        physical_layer.RECESSIVE_BIAS_V_MIN,
        physical_layer.RECESSIVE_BIAS_V_MAX,
    ]
    assert [term["nominal"], term["min"], term["max"]] == [
        physical_layer.TERMINATION_OHM,
        physical_layer.TERMINATION_OHM_MIN,
        physical_layer.TERMINATION_OHM_MAX,
    ]
    assert exact(cable["resistance_mohm_per_m"]) / 1000 == physical_layer.CABLE_OHM_PER_M
    assert cable["delay_ns_per_m"] == physical_layer.CABLE_DELAY_NS_PER_M
    assert cable["impedance_ohm"] == physical_layer.CABLE_IMPEDANCE_OHM
    assert LAYER["transceiver_loop_delay_ns_max"]["value"] == physical_layer.LOOP_DELAY_NS_MAX


TABLES_OF_LENGTHS = [
    ("07/95", LAYER["length_by_rate_cia_1995"]["rows"]),
    ("DS-102", LAYER["length_by_rate_other_published"][0]["rows"]),
    ("fieldbus", LAYER["length_by_rate_other_published"][1]["rows"]),
    ("ISO 11898-2", {LAYER["iso11898_2_reference"]["at_kbit"]: LAYER["iso11898_2_reference"]["length_m"]}),
    ("CANopen", {row["kbit"]: row["trunk_m"] for row in LAYER["stubs_canopen"]["rows"]}),
    ("J1939", {LAYER["j1939"]["rate_kbit"]: LAYER["j1939"]["length_m"]}),
]


@pytest.mark.parametrize(
    ("table", "kbit_s", "length_m"),
    [(table, kbit_s, length_m) for table, rows in TABLES_OF_LENGTHS for kbit_s, length_m in rows.items()],
)
def test_recommended_lengths_are_shown_as_printed(table: str, kbit_s: int, length_m: int) -> None:
    (row,) = [row for row in recommended_lengths(1000 * kbit_s) if table in row.source.text]
    assert figures(row.bit_rate_bit_s, row.trunk_m) == (1000 * kbit_s, length_m)


@pytest.mark.parametrize("row", LAYER["devicenet"]["rows"], ids=lambda row: f"{row['kbit']} kbit/s")
def test_devicenet_as_printed(row: dict[str, Any]) -> None:
    rate = 1000 * row["kbit"]
    lengths = {length.note: length.trunk_m for length in recommended_lengths(rate) if "DeviceNet" in length.source.text}
    assert lengths == {"thick cable": row["thick_m"], "thin cable": row["thin_m"]}
    (stubs,) = [stubs for stubs in recommended_stubs(rate) if "DeviceNet" in stubs.source.text]
    assert (stubs.stub_m, stubs.all_stubs_m) == (row["drop_m"], row["all_drops_m"])
    left, limit = row["mixed_rule"].split(" <= ")
    factor = exact(left.split("+ ")[1].removesuffix("*thin")) if "*" in left else Fraction(1)
    assert mixed_trunk_m(rate, 10, 20) == (10 + factor * 20, exact(limit))


@pytest.mark.parametrize("row", LAYER["stubs_canopen"]["rows"], ids=lambda row: f"{row['kbit']} kbit/s")
def test_the_stub_rule_gives_every_row_of_the_canopen_table(row: dict[str, Any]) -> None:
    rate, (prop, quanta) = 1000 * row["kbit"], DELAYS["stub_rule_segments"]["rows"][row["kbit"]]
    rule, *recommended = stub_limits(rate, Fraction(10**9, rate) * prop / quanta, LAYER["cable"]["delay_ns_per_m"])
    assert (rule.kind, rule.each_m, rule.all_m) == ("rule", exact(row["stub_m"]), exact(row["all_stubs_m"]))
    (printed,) = [limit for limit in recommended if "CANopen" in limit.source.text]
    assert (printed.each_m, printed.all_m) == (rule.each_m, rule.all_m)


@pytest.mark.parametrize("kbit_s", DELAYS["stub_rule_segments"]["rows"])
def test_the_room_before_the_usual_sample_points(kbit_s: int) -> None:
    """75 % above 800 kbit/s, 80 % above 500, else 87.5 %: both phase segments two quanta, the rest propagation."""
    prop, quanta = DELAYS["stub_rule_segments"]["rows"][kbit_s]
    sample_point = Fraction(quanta - 2, quanta)
    assert propagation_room_ns(1000 * kbit_s, sample_point, quanta) == Fraction(10**6, kbit_s) * prop / quanta


PARAMETERS = LAYER["max_length_by_nodes"]["parameters"]
MOHM_BY_MM2 = {0.25: 91, 0.5: 50, 0.75: 33}  # formula_check of the table: what its absolute values need


@pytest.mark.parametrize(
    ("mm2", "nodes", "length_m"),
    [
        (mm2, nodes, length_m)
        for mm2, by_nodes in LAYER["max_length_by_nodes"]["rows"].items()
        for nodes, length_m in by_nodes.items()
    ],
)
def test_the_longest_trunk_by_nodes(mm2: float, nodes: int, length_m: int) -> None:
    """The table is printed to 10 m."""
    transceiver = Transceiver(driven_v_min=exact(PARAMETERS["v_out_min"]), input_ohm=PARAMETERS["r_diff_min"])
    cable = Cable(ohm_per_m=Fraction(MOHM_BY_MM2[mm2], 1000))
    ends = TwoEnds(1, cable, far=Termination(0, PARAMETERS["r_term_min"]), transceiver=transceiver)
    assert abs(trunk_for_nodes_m(nodes, ends) - length_m) <= 5


def test_the_reserved_level() -> None:
    assert reserved_level_v(exact(PARAMETERS["v_out_min"]), exact(PARAMETERS["v_th_max"])) == Fraction(11, 10)


def test_copper() -> None:
    copper = DELAYS["copper"]
    assert float(COPPER_OHM_MM2_PER_M) == pytest.approx(copper["resistivity_ohm_m"] * 1e6, rel=1e-4)
    hot = copper_ohm_per_m(1, copper["temperature_c"] + 100) / copper_ohm_per_m(1, copper["temperature_c"])
    assert hot == 1 + 100 * exact(copper["per_kelvin"])


def test_thin_copper_is_the_cable_of_the_standard() -> None:
    """CiA 303-1: 70 mohm/m go with 0.25 .. 0.34 mm2 up to 40 m."""
    row = LAYER["cia303_1_cable"]["rows"][0]
    thin, thick = (copper_ohm_per_m(exact(mm2)) * 1000 for mm2 in row["mm2"].split("-"))
    assert thick < thin < row["mohm_per_m"] < thin * Fraction(105, 100)


@pytest.mark.parametrize("gauge", GAUGE_MM2)
def test_gauges(gauge: int) -> None:
    across_mm = 0.127 * 92 ** ((36 - gauge) / 39)
    assert float(GAUGE_MM2[gauge]) == pytest.approx(pi / 4 * across_mm**2, rel=3e-3)
