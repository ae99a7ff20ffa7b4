"""``check`` on clocks, wires and supply: figures by hand, and harnesses made bad that break their rule alone."""

from collections.abc import Callable
from fractions import Fraction
from itertools import combinations

import pytest
from hypothesis import given, settings

from busdesign.answers.check import CheckAnswer, check
from busdesign.answers.plain import as_plain
from busdesign.answers.starter import CATALOGUE, starter_root
from busdesign.answers.wires_judged import judged
from busdesign.catalogue.model import Catalogue
from busdesign.catalogue.reader import parse_catalogue, read_catalogue
from busdesign.catalogue.wires import units_of
from busdesign.findings import Severity
from busdesign.wire.compatibility import Board, understanding
from busdesign.wire.supply import ground_shifts
from tests.catalogue.random_catalogues import catalogues

GOOD = """\
catalogue: tried
bus:
  bit_rate: 500 kbit/s
  supply: {voltage: 28 V}
  harness:
    trunk: 80 m
    cable: {delay: 5 ns/m, resistance: 70 mohm/m}
    stubs:
      - {at: 0 m, node: panel}
      - {at: 20 m, length: 0.3 m, node: air_data}
      - {at: 60 m, length: 0.3 m, node: left}
      - {at: 80 m, node: right}
    terminations:
      - {at: 0 m, ohm: 120 ohm, tolerance: 1 %}
      - {at: 80 m, ohm: 120 ohm, tolerance: 1 %}
nodes:
  panel:
    clock: 16 MHz
    tolerance: 50 ppm
    timing: {prescaler: 2, prop_seg: 11, phase_seg1: 2, phase_seg2: 2, sjw: 2}
    transceiver: {loop_delay: 200 ns}
    supply: {length: 2 m, cross_section: 0.5 mm2, peak: 1 A, idle: 0.2 A, at_least: 20 V}
  air_data:
    clock: 16 MHz
    tolerance: 50 ppm
    transceiver: {loop_delay: 200 ns}
  left:
    clock: 8 MHz
    tolerance: 0.3 %
    transceiver: {loop_delay: 200 ns}
    supply: {length: 10 m, cross_section: 2.5 mm2, peak: 10 A, at_least: 20 V}
  right:
    clock: 8 MHz
    tolerance: 0.3 %
    transceiver: {loop_delay: 200 ns}
    supply: {length: 10 m, cross_section: 2.5 mm2, peak: 10 A, at_least: 20 V}
messages:
  m: {id: 1, from: panel, to: [air_data, left, right], every: 50 ms, lost_after: 200 ms}
"""
UNRELATED = ("idle-node",)


def checked(text: str) -> CheckAnswer:
    return check(parse_catalogue(text, "tried.yaml"))


def said(answer: CheckAnswer) -> dict[str, str]:
    """The rules that had something to say, with the text that is quoted from the caret on."""
    return {
        found.rule: "" if found.where is None else found.where.quoted[found.where.column - 1 :]
        for found in answer.findings
        if found.rule not in UNRELATED
    }


def test_the_good_one_holds() -> None:
    answer = checked(GOOD)
    assert said(answer) == {}
    assert answer.holds


def test_the_figures_of_the_good_one_by_hand() -> None:
    answer = checked(GOOD)
    assert answer.harness is not None
    way = answer.harness.propagation
    assert way is not None
    # Two loops and the trunk there and back; the given segment has 11 quanta of two cycles of 16 MHz.
    assert (way.nodes, way.total_ns, way.limit_ns) == (("panel", "right"), 2 * 200 + 2 * 80 * 5, 11 * 125)
    assert (way.margin_ns, way.holds, way.segment_of) == (175, True, "panel")
    assert sum(part.delay_ns for part in way.parts) == way.total_ns
    assert way.longest_trunk_m == pytest.approx(80 + 175 / 10 - 0.6)  # with the two longest stubs at its ends
    panel = answer.timing[0]
    # Of the two published limits sjw / (20 bits) is the larger; the smaller is phase_seg / (2 (13 bits - phase_seg)).
    assert panel.oscillator_tolerance == pytest.approx(2 / (2 * (13 * 16 - 2)))
    assert panel.margin == pytest.approx(2 / 412 - 50e-6)
    assert (panel.is_given, panel.sample_point, panel.rate_error, panel.delay_slack_ns) == (True, 0.875, 0, 175 / 2)
    rule = answer.harness.stubs[0]
    assert (rule.kind, rule.each_m, rule.all_m) == ("rule", 1375 / 50 / 5, 1375 / 10 / 5)
    assert (rule.longest_m, rule.all_stubs_m, rule.holds) == (0.3, 0.6, True)
    assert answer.harness.assumed == ()
    assert answer.harness.holds
    left = next(supply for supply in answer.supply if supply.node == "left")
    assert left.drop_v == pytest.approx(10 * 2 * 10 / 58 / 2.5)  # there and back
    assert left.margin_v == pytest.approx(8 - left.drop_v)
    worst = answer.grounds[0]
    assert worst.shift_v == pytest.approx(10 * 10 / 58 / 2.5, abs=0.2)
    assert worst.margin_v == pytest.approx(4 - worst.shift_v)


def test_the_level_of_two_nodes_by_hand() -> None:
    stubs = "[{at: 0 m, node: panel}, {at: 100 m, node: left}], terminations: [{at: 0 m}, {at: 100 m}]"
    circuit = "transceiver: {input: 1000 kohm}"
    text = (
        f"catalogue: t\nbus: {{bit_rate: 125 kbit/s, harness: {{trunk: 100 m, stubs: {stubs}}}}}\n"
        f"nodes: {{panel: {{{circuit}}}, left: {{{circuit}}}}}\n"
        "messages: {m: {id: 1, from: panel, to: left, every: 50 ms, lost_after: 200 ms}}\n"
    )
    harness = checked(text).harness
    assert harness is not None
    # 2.5 V behind 40 ohm, two terminations, 14 ohm of wire between them; a thousandth for the inputs.
    near = 1 / (1 / 120 + 1 / 134)
    assert harness.lowest_level_v == pytest.approx(2.5 * near / (near + 40) * 120 / 134, rel=1e-3)


def changed(*pairs: tuple[str, str]) -> Callable[[], str]:
    def made() -> str:
        text = GOOD
        for old, new in pairs:
            assert old in text, old
            text = text.replace(old, new, 1)
        return text

    return made


TWO_TERMINATIONS = """\
    terminations:
      - {at: 0 m, ohm: 120 ohm, tolerance: 1 %}
      - {at: 80 m, ohm: 120 ohm, tolerance: 1 %}
"""
OF_PANEL = "{loop_delay: 200 ns}"
OF_LEFT = "10 m, cross_section: 2.5 mm2"
BROKEN, ADVICE = Severity.BROKEN, Severity.ADVICE
BAD: dict[str, tuple[Callable[[], str], str, Severity, str]] = {
    "slow transceivers": (changed((OF_PANEL, "{loop_delay: 800 ns}")), "propagation", BROKEN, "{prescaler"),
    "isolators": (changed((OF_PANEL, "{loop_delay: 200 ns, isolator: 100 ns}")), "propagation", BROKEN, "{prescaler"),
    "a short segment": (
        changed(("prop_seg: 11, phase_seg1: 2", "prop_seg: 9, phase_seg1: 4")), "propagation", BROKEN, "{prescaler",
    ),
    "a slow cable": (changed(("delay: 5 ns/m", "delay: 6.5 ns/m")), "propagation", BROKEN, "{prescaler"),
    "one long stub": (
        changed(("length: 0.3 m, node: left", "length: 6 m, node: left")), "stub-too-long", BROKEN, "6 m",
    ),
    "bare trunk beyond": (changed(("    trunk: 80 m", "    trunk: 86 m")), "stub-too-long", BROKEN, "- {at: 0 m, ohm"),
    "thin wire": (changed(("70 mohm/m", "700 mohm/m")), "level-too-low", BROKEN, "trunk"),
    "thinner wire": (changed(("70 mohm/m", "550 mohm/m")), "level-reserve", ADVICE, "trunk"),
    "a weak driver": (
        changed((OF_PANEL, "{loop_delay: 200 ns, dominant: [0.8 V, 3 V]}")), "level-too-low", BROKEN, "trunk",
    ),
    "an input that draws": (
        changed((OF_PANEL, "{loop_delay: 200 ns, input: 200 ohm}")), "driver-load", ADVICE, "trunk",
    ),
    "no termination": (changed((TWO_TERMINATIONS, "    terminations: []\n")), "termination", BROKEN, "[]"),
    "terminations left out": (changed((TWO_TERMINATIONS, "")), "termination", BROKEN, "trunk"),
    "one termination": (
        changed(("      - {at: 80 m, ohm: 120 ohm, tolerance: 1 %}\n", "")), "termination", BROKEN, "- {at: 0 m, ohm",
    ),
    "three terminations": (
        changed(("    terminations:\n", "    terminations:\n      - {at: 40 m}\n")),
        "termination", BROKEN, "- {at: 40 m",
    ),
    "a termination of 150 ohm": (
        changed(("at: 80 m, ohm: 120 ohm", "at: 80 m, ohm: 150 ohm")), "termination", BROKEN, "150 ohm",
    ),
    "a termination of 15 %": (
        changed(("80 m, ohm: 120 ohm, tolerance: 1 %", "80 m, ohm: 121 ohm, tolerance: 15 %")),
        "termination", BROKEN, "121 ohm",
    ),
    "a node beyond the terminations": (
        changed(("- {at: 80 m, ohm", "- {at: 77 m, ohm")), "termination", BROKEN, "77 m",
    ),
    "a poor clock": (changed(("tolerance: 0.3 %", "tolerance: 1 %")), "clock-tolerance", BROKEN, "1 %"),
    "poor clocks and small jumps": (
        changed(("sjw: 2}", "sjw: 1}"), ("50 ppm", "0.2 %"), ("0.3 %", "0.45 %")), "clocks-apart", BROKEN, "{prescaler",
    ),
    "a motor on a thin wire": (
        changed((OF_LEFT, "10 m, cross_section: 0.2 mm2, ground: {cross_section: 4 mm2}")),
        "supply-drop", BROKEN, "0.2 mm2",
    ),
    "a thin ground": (
        changed((OF_LEFT, "10 m, cross_section: 4 mm2, ground: {cross_section: 0.3 mm2}")),
        "common-mode", BROKEN, "{length: 10 m",
    ),
    "a node on no stub": (
        changed(("      - {at: 20 m, length: 0.3 m, node: air_data}\n", "")),
        "harness-incomplete", ADVICE, "- {at: 0 m",
    ),
    "no trunk": (changed(("    trunk: 80 m\n", "")), "harness-incomplete", ADVICE, "cable"),
}  # fmt: skip


@pytest.mark.parametrize("name", BAD)
def test_a_bad_variant_breaks_its_rule_alone_where_it_stands(name: str) -> None:
    made, rule, severity, at = BAD[name]
    answer = checked(made())
    found = said(answer)
    assert set(found) == {rule}
    assert {each.severity for each in answer.findings if each.rule == rule} == {severity}
    assert found[rule].startswith(at)
    assert answer.holds is (severity is Severity.ADVICE)


def test_many_stubs_that_are_short_enough_alone() -> None:
    stubs = "\n".join(f"      - {{at: {10 * i} m, length: 5 m, node: n{i}}}" for i in range(6))
    nodes = "\n".join(f"  n{i}: {{transceiver: {{loop_delay: 150 ns}}}}" for i in range(6))
    text = (
        "catalogue: t\nbus:\n  bit_rate: 500 kbit/s\n  harness:\n    trunk: 50 m\n    stubs:\n"
        f"{stubs}\n    terminations: [{{at: 0 m}}, {{at: 50 m}}]\nnodes:\n{nodes}\n"
        "messages: {m: {id: 1, from: n0, to: [n1, n2, n3, n4, n5], every: 50 ms, lost_after: 200 ms}}\n"
    )
    answer = checked(text)
    assert set(said(answer)) == {"stubs-together"}
    assert not answer.holds
    (found,) = (found for found in answer.findings if found.rule == "stubs-together")
    assert "30 m long, the rule allows 27.5 m" in found.text
    # The short form cannot know the sum: what it assumes is advice at most.
    short = text.replace(f"    stubs:\n{stubs}\n    terminations: [{{at: 0 m}}, {{at: 50 m}}]", "    longest_stub: 5 m")
    answer = checked(short)
    assert {found.rule: found.severity for found in answer.findings if found.rule not in UNRELATED} == {
        "stubs-together": Severity.ADVICE
    }
    assert answer.holds


def test_what_is_proposed_would_do() -> None:
    for name, old in (("a motor on a thin wire", "0.2 mm2"), ("a termination of 150 ohm", "150 ohm")):
        text = BAD[name][0]()
        (found,) = checked(text).findings
        proposed = found.fix.partition("cross_section: ")[2].partition("`")[0] or found.fix.rpartition(" is ")[2]
        assert checked(text.replace(old, proposed)).holds, proposed
    slow = checked(BAD["a slow cable"][0]())
    (found,) = slow.findings
    longest = found.fix.partition("trunk is ")[2].partition(";")[0]
    mended = BAD["a slow cable"][0]().replace("80 m", longest).replace("60 m", "50 m")
    assert "propagation" not in said(checked(mended))


@given(catalogues())
@settings(max_examples=20, deadline=None)
def test_the_worst_pairs_are_the_worst_of_all_pairs(catalogue: Catalogue) -> None:
    found = judged(catalogue)
    boards = [Board(name, each.setting, each.assessment.clock_tolerance) for name, each in found.settings.items()]
    agreed = [understanding(*pair, delay_ns=found.delay_ns or 0) for pair in combinations(boards, 2)]
    assert (found.apart is None) == (agreed == [])
    if found.apart is not None:
        assert found.apart.margin == min(each.margin for each in agreed)
    units = units_of(catalogue)
    for worst in found.shifts:
        limits = catalogue.nodes[worst.hearer].common_mode_v or (Fraction(-2), Fraction(7))
        all_shifts = [shift for shift in ground_shifts(units, limits) if shift.hearer == worst.hearer]
        assert worst.margin_v == min(shift.margin_v for shift in all_shifts)
    assert {worst.hearer for worst in found.shifts} == ({unit.name for unit in units} if len(units) > 1 else set())


def test_without_clocks_the_segment_is_assumed_and_said() -> None:
    answer = checked(
        "catalogue: t\nbus: {bit_rate: 250 kbit/s, harness: {trunk: 9 m}}\nnodes: {a: {}, b: {}}\n"
        "messages: {m: {id: 1, from: a, to: b, every: 50 ms, lost_after: 200 ms}}\n"
    )
    assert answer.timing == ()
    assert answer.clocks_apart is None
    assert answer.harness is not None
    assert answer.harness.propagation is not None
    assert answer.harness.propagation.segment_of is None
    assert answer.harness.propagation.limit_ns == 11 * 250
    assert answer.harness.assumed[-1] == "a propagation segment as of a bit of 16 quanta, as no node has a clock"
    assert answer.holds


def test_a_rate_that_is_not_exact_is_told_with_one_that_is() -> None:
    answer = checked(
        "catalogue: t\nbus: {bit_rate: 83.333 kbit/s}\nnodes: {a: {clock: 16 MHz}, b: {clock: 8 MHz}}\n"
        "messages: {m: {id: 1, from: a, to: b, every: 50 ms, lost_after: 200 ms}}\n"
    )
    (found,) = answer.findings
    assert (found.rule, found.severity) == ("rate-inexact", Severity.ADVICE)
    assert "`a`, `b` cannot make 83.333 kbit/s exactly, but 83.333333 kbit/s" in found.text
    assert found.fix == "all clocks make 83.333333 kbit/s exactly"


def test_the_demo_holds_with_margins() -> None:
    answer = check(read_catalogue(starter_root() / CATALOGUE))
    assert answer.holds
    assert answer.harness is not None
    assert answer.harness.holds
    assert answer.harness.assumed == ()
    assert len(answer.timing) == len(answer.supply) == len(answer.grounds) == 5
    assert min(timing.margin for timing in answer.timing) > 0.001
    assert answer.harness.propagation is not None
    assert answer.harness.propagation.margin_ns > 1000
    assert all(level.holds for level in answer.harness.levels)
    assert min(supply.margin_v for supply in answer.supply) > 0.5
    assert min(ground.margin_v for ground in answer.grounds) > 2
    assert answer.clocks_apart is not None
    assert answer.clocks_apart.holds


def test_plain_data_has_every_figure_beside_its_limit_and_source() -> None:
    plain = as_plain(checked(GOOD))
    assert set(plain["harness"]["propagation"]) >= {"total_ns", "limit_ns", "margin_ns", "source", "parts"}
    assert {level["kind"] for level in plain["harness"]["levels"]} == {"rule", "recommendation"}
    assert all(type(value) is float for value in (plain["timing"][0]["margin"], plain["supply"][0]["margin_v"]))
    assert all(row["source"] for row in plain["harness"]["recommended"] + plain["harness"]["stubs"])


def test_the_margin_of_the_demo_is_the_one_of_its_weakest_condition() -> None:
    demo = check(read_catalogue(starter_root() / CATALOGUE))
    for timing in demo.timing:
        quanta = 1 + timing.prop_seg + timing.phase_seg1 + timing.phase_seg2
        jump = Fraction(timing.sjw, 20 * quanta)
        smaller = min(timing.phase_seg1, timing.phase_seg2)
        flag = Fraction(smaller, 2 * (13 * quanta - timing.phase_seg2))
        assert timing.oscillator_tolerance == pytest.approx(float(min(jump, flag)))
