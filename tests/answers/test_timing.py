"""``timing`` at its door: the order, the margins, the registers, what breaks and what cannot be."""

from dataclasses import fields, replace
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest
import yaml
from hypothesis import given, reject, settings
from hypothesis import strategies as st

from busdesign.answers.check import check
from busdesign.answers.timing import timing
from busdesign.answers.timing_of import timing_of
from busdesign.answers.timing_shape import SettingAnswer
from busdesign.answers.wires_check import TimingAnswer
from busdesign.catalogue.reader import parse_catalogue
from busdesign.findings import Refused
from tests.cli.running import CHECKOUT

PUBLISHED: Any = yaml.safe_load(
    (Path(__file__).parents[1] / "published" / "values" / "bit_timing.yaml").read_text(encoding="utf-8")
)
DEMO = CHECKOUT / "messages" / "saltmarsh.yaml"
MHZ = 10**6
FAST = timing(16 * MHZ, 500_000, sample_point=Fraction(7, 8), length_m=30)


def ranked(one: SettingAnswer) -> tuple[float, ...]:
    tolerances = [condition.tolerance for condition in one.conditions]
    return (-one.margin, *(-tolerance + abs(one.rate_error) for tolerance in tolerances[1:]))


def conditions(one: SettingAnswer) -> list[Fraction]:
    """The two published conditions, computed apart from the program."""
    bit = 1 + one.prop_seg + one.phase_seg1 + one.phase_seg2
    flag = Fraction(min(one.phase_seg1, one.phase_seg2), 2 * (13 * bit - one.phase_seg2))
    return sorted([Fraction(one.sjw, 20 * bit), flag])


@settings(max_examples=20, deadline=None)
@given(
    clock=st.sampled_from([8, 10, 12, 16, 20, 24, 32, 40, 80]),
    rate=st.sampled_from([50_000, 83_333, 125_000, 250_000, 500_000, 1_000_000]),
    length=st.integers(1, 60),
    tolerance=st.integers(0, 20_000),
    controller=st.sampled_from(["small", "small_halved", "separate", "least_fd", "large"]),
)
def test_every_setting_makes_its_rate_and_leaves_its_margin(
    clock: int, rate: int, length: int, tolerance: int, controller: str
) -> None:
    ppm = Fraction(tolerance, MHZ)
    try:
        found = timing(clock * MHZ, rate, length_m=length, clock_tolerance=ppm, controller=controller, most=8)
    except Refused:
        reject()
    assert 1 <= len(found.settings) <= min(8, max(found.found, 1))
    for one in found.settings:
        bit = 1 + one.prop_seg + one.phase_seg1 + one.phase_seg2
        made = Fraction(clock * MHZ, one.prescaler * bit)
        off = abs(made / rate - 1)
        assert one.bit_rate_bit_s == float(made)
        assert one.sample_point == pytest.approx(1 - one.phase_seg2 / bit)
        assert one.oscillator_tolerance == float(conditions(one)[0])
        assert one.margin == pytest.approx(float(conditions(one)[0] - off - ppm), abs=1e-12)
        room_ns = Fraction(one.prop_seg * one.prescaler * 1000, clock)
        assert one.delay_slack_ns is not None
        assert one.delay_slack_ns == pytest.approx(float((room_ns - 2 * 255 - 10 * length) / 2))
        assert one.holds is (one.margin >= 0 and one.delay_slack_ns >= 0)
    best = found.settings[0]
    assert found.holds is best.holds
    if best.delay_slack_ns is not None and best.delay_slack_ns >= 0:
        order = [ranked(one) for one in found.settings]
        assert order == sorted(order)


@pytest.mark.parametrize("example", PUBLISHED["examples"], ids=lambda example: example["name"])
def test_the_published_examples_come_out_as_printed(example: dict[str, Any]) -> None:
    loop_ns = example["driver_ns"] + example["receiver_ns"]
    found = timing(
        example["clock_hz"],
        example["bit_rate"],
        sample_point=Fraction(str(example["sample_point_percent"])) / 100,
        length_m=Fraction(example["line_40m_ns"], 5),  # as long a way, by the cable that is assumed
        node_delay_ns=loop_ns,
        most=50,
    )
    words = {pair.word: one for one in found.settings for pair in one.registers if pair.pre_divider == 1}
    printed = words[int(example["register"], 16)]
    assert printed.quantum_ns == example["tq_ns"]
    assert printed.time_segment1 * printed.quantum_ns == example["tseg1_ns"]
    assert printed.phase_seg2 * printed.quantum_ns == example["tseg2_ns"]
    # The document cuts its percentages off after two digits.
    assert int(printed.oscillator_tolerance * 10_000) / 100 == float(example["tolerance_percent"])
    assert found.settings[0].margin >= printed.margin


def test_the_reasons_and_what_was_not_taken() -> None:
    assert FAST.why[0].startswith("it leaves the most margin, 0.4854 %")
    assert any("covers the delay there and back, with 565 ns over" in reason for reason in FAST.why)
    earlier = FAST.rejected[0]
    assert earlier.setting.margin > FAST.settings[0].margin
    assert earlier.why == "it samples at 75 %, wanted 87.5 %"


def test_the_delay_and_the_longest_wire() -> None:
    way, trunk = FAST.propagation, FAST.trunk
    assert way is not None
    assert trunk is not None
    assert (way.total_ns, way.limit_ns, way.margin_ns) == (2 * 255 + 300, 11 * 125, 11 * 125 - 810)
    assert trunk.longest_trunk_m == (11 * 125 - 510) / 10
    assert (trunk.nodes_delay_ns, trunk.cable_delay_ns_per_m) == (510, 5)
    assert {row.trunk_m for row in FAST.recommended if row.bit_rate_bit_s == 500_000} == {100}
    assert timing(16 * MHZ, 500_000).propagation is None


def test_a_wire_that_no_setting_carries_breaks_and_the_longest_possible_does_not() -> None:
    far = timing(16 * MHZ, 500_000, length_m=300)
    assert not far.holds
    (finding,) = far.findings
    assert (finding.rule, finding.fix) == (
        "propagation",
        "the longest possible wire is 99 m; a lower bit rate allows more",
    )
    assert timing(16 * MHZ, 500_000, length_m=99).holds
    assert not timing(16 * MHZ, 500_000, length_m=Fraction(991, 10)).holds


def test_where_none_carries_the_delay_those_of_another_sample_point_that_do_are_named() -> None:
    short = timing(16 * MHZ, 500_000, sample_point=Fraction(7, 10), length_m=70)
    assert not short.holds
    assert [one.setting.sample_point for one in short.rejected] == [0.75, 0.8125, 0.875]
    for one in short.rejected:
        assert one.setting.delay_slack_ns is not None
        assert one.setting.delay_slack_ns >= 0
        assert one.why.startswith("it carries the delay, but it samples at ")


def test_nodes_that_alone_take_too_long() -> None:
    (finding,) = timing(16 * MHZ, 1_000_000, length_m=1, node_delay_ns=900).findings
    assert finding.fix == "the nodes alone take 1800 ns: faster ones, or a lower bit rate"


def test_a_clock_within_what_is_told_would_do() -> None:
    bad = timing(16 * MHZ, 500_000, clock_tolerance=Fraction(1, 200))
    assert [finding.rule for finding in bad.findings] == ["clock-tolerance"]
    assert bad.settings[0].margin < 0
    assert bad.findings[0].fix.startswith("a clock within 0.4854 % would do")
    assert timing(16 * MHZ, 500_000, clock_tolerance=Fraction(4854, MHZ)).holds


def test_an_inexact_rate_is_told_with_the_nearest_exact_one() -> None:
    found = timing(16 * MHZ, 83_333, most=1)
    (finding,) = found.findings
    assert finding.rule == "rate-inexact"
    assert found.settings[0].rate_error != 0
    assert "exactly" in finding.fix


@pytest.mark.parametrize(
    ("words", "nearest"),
    [
        ({"bit_rate_bit_s": 3 * MHZ}, "the nearest possible is 1 Mbit/s"),
        ({"clock_hz": 7_372_800, "bit_rate_bit_s": MHZ}, "the nearest possible is 921.6 kbit/s"),
        ({"sample_point": Fraction(6, 5)}, "the nearest possible is 93.75 %"),
        ({"sample_point": Fraction(0)}, "the nearest possible is 37.5 %"),
        ({"length_m": -1}, "the nearest possible value is"),
        ({"node_delay_ns": -1}, "the nearest possible value is 0 ns"),
        ({"clock_tolerance": 1}, "the nearest possible is below 1"),
        ({"most": 0}, "the nearest possible is 1"),
    ],
)
def test_what_cannot_be_is_refused_with_the_nearest(words: dict[str, Any], nearest: str) -> None:
    given_words: dict[str, Any] = {"clock_hz": 16 * MHZ, "bit_rate_bit_s": 500_000, **words}
    with pytest.raises(Refused) as refused:
        timing(given_words.pop("clock_hz"), given_words.pop("bit_rate_bit_s"), **given_words)
    assert nearest in str(refused.value)


def test_of_a_catalogue_it_says_what_check_says() -> None:
    found, checked = timing_of(DEMO), check(DEMO)
    assert [one.node for one in found.settings] == [one.node for one in checked.timing]
    for one, other in zip(found.settings, checked.timing, strict=True):
        for name in ("prescaler", "prop_seg", "phase_seg1", "phase_seg2", "sjw", "margin", "delay_slack_ns", "holds"):
            assert getattr(one, name) == getattr(other, name)
    assert found.clocks_apart == checked.clocks_apart
    assert checked.harness is not None
    assert found.propagation == checked.harness.propagation
    assert found.holds


def test_nodes_without_a_clock_are_named() -> None:
    head = "catalogue: tried\nbus: {bit_rate: 250 kbit/s}\nmessages: {m: {id: 1, from: panel, every: 50 ms}}\nnodes: "
    none = timing_of(parse_catalogue(head + "{panel: {}, strut: {}}"))
    assert (none.settings, [finding.rule for finding in none.findings]) == ((), ["no-clock"])
    one = timing_of(parse_catalogue(head + "{panel: {clock: 16 MHz}, strut: {}}"))
    assert any("strut" in said for said in one.assumed)


def test_a_clock_that_is_too_far_off_breaks_the_catalogue_here_too() -> None:
    text = "catalogue: tried\nbus: {bit_rate: 250 kbit/s}\nmessages: {m: {id: 1, from: panel, every: 50 ms}}\n"
    found = timing_of(parse_catalogue(text + "nodes: {panel: {clock: 16 MHz, tolerance: 2 %}, strut: {clock: 8 MHz}}"))
    assert not found.holds
    assert "clock-tolerance" in {finding.rule for finding in found.findings}


def test_a_sample_point_that_carries_the_delay_is_named() -> None:
    (finding,) = timing(12 * MHZ, 1_000_000, length_m=10, controller="large").findings
    assert finding.fix.endswith("; a sample point of 83.33 % carries this one")
    assert timing(12 * MHZ, 1_000_000, length_m=10, controller="large", sample_point=Fraction(5, 6)).holds


def test_check_says_of_a_setting_what_timing_says_of_it() -> None:
    checked, shown = check(DEMO).timing, timing_of(DEMO).settings
    names = [each.name for each in fields(TimingAnswer)]
    assert [[getattr(one, name) for name in names] for one in checked] == [
        [getattr(one, name) for name in names] for one in shown
    ]


@settings(max_examples=20, deadline=None)
@given(
    clock=st.sampled_from([8, 10, 16, 20]),
    rate=st.sampled_from([125_000, 250_000, 500_000]),
    length=st.none() | st.integers(1, 60),
    controller=st.sampled_from(["small", "small_halved"]),
)
def test_registers_mean_the_setting_that_they_were_made_of(
    clock: int, rate: int, length: int | None, controller: str
) -> None:
    for one in timing(clock * MHZ, rate, length_m=length, controller=controller).settings:
        (pair,) = [each for each in one.registers if each.pre_divider == (1 if controller == "small" else 2)]
        given_back = timing(clock * MHZ, length_m=length, controller=controller, registers=pair.word)
        assert given_back.bit_rate_bit_s == rate
        assert given_back.settings == (replace(one, is_given=True),)
        assert given_back.holds == one.holds


def test_registers_off_the_rate_or_too_short_for_the_wire() -> None:
    slow = timing(16 * MHZ, 500_000, registers=0x1C43)
    assert {finding.rule for finding in slow.findings} == {"clock-tolerance", "rate-inexact"}
    assert slow.settings[0].rate_error == -0.5
    far = timing(16 * MHZ, registers=0x1C41, length_m=100)
    # 13 quanta of 125 ns before the sample point, one of them of phase_seg1: 1500 ns, of 510 + 1000.
    assert [finding.rule for finding in far.findings] == ["propagation"]
    assert far.settings[0].prop_seg == 12


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ({"registers": 0}, "prop_seg of 1 quantum does not fit"),
        ({"registers": 0x10000}, "is not 16 bits"),
        ({"registers": 0x1C41, "controller": "large"}, "does not have the classical two registers"),
        ({}, "neither a bit rate nor registers are given"),
    ],
)
def test_registers_that_mean_nothing(words: dict[str, Any], said: str) -> None:
    with pytest.raises(Refused, match=said):
        timing(16 * MHZ, **words)
