"""The drawings of bits, delays and tolerances: to scale, well-formed, told in words as well."""

import re
import xml.etree.ElementTree as ET
from dataclasses import replace
from itertools import pairwise

import pytest

from busdesign.answers.check import CheckAnswer, check
from busdesign.answers.timing import timing
from busdesign.answers.timing_of import timing_of
from busdesign.answers.timing_shape import SettingAnswer
from busdesign.catalogue.reader import parse_catalogue
from busdesign.report.bit import bit_svg, bits_file, ticks_to
from busdesign.report.wires import wires_section
from tests.cli.running import CHECKOUT
from tests.report.reading import Page

DEMO = CHECKOUT / "messages" / "saltmarsh.yaml"
BITS = [timing(clock * 10**6, 500_000, controller=name).settings[0] for clock, name in ((16, "small"), (80, "large"))]
SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture(scope="module")
def demo() -> CheckAnswer:
    return check(DEMO)


@pytest.mark.parametrize("one", BITS)
def test_segments_and_sample_point_are_to_scale(one: SettingAnswer) -> None:
    page = Page(bit_svg(one))
    boxes = [(float(box["x"][:-1]), float(box["width"][:-1])) for box in page.all("rect")]
    lengths = (1, one.prop_seg, one.phase_seg1, one.phase_seg2)
    assert [width for _, width in boxes] == pytest.approx([100 * length / one.quanta for length in lengths], abs=1e-3)
    for (left, width), (following, _) in pairwise(boxes):
        assert left + width == pytest.approx(following, abs=2e-3)
    (sample,) = page.all("line", **{"stroke-width": "2.5"})
    assert float(sample["x1"][:-1]) == pytest.approx(100 * one.sample_point, abs=1e-3)
    assert float(sample["x1"][:-1]) == pytest.approx(boxes[3][0], abs=1e-3)
    assert f"sample point {one.sample_point * 100:.4g} %" in page.text
    assert f"at {one.sample_point * 2000:.6g} ns" in page.text
    assert "2000 ns" in page.texts["text"]


def test_a_file_is_one_xml_document_with_each_different_bit_once() -> None:
    found = timing_of(DEMO).settings
    root = ET.fromstring(bits_file(found))
    assert len(root.findall(f"{SVG}svg")) == len({(one.prescaler, one.quanta) for one in found}) == 2
    words = [element.text or "" for element in root.iter(f"{SVG}text")]
    assert "panel, air_data: prescaler 1, 1 + 47 + 8 + 8 quanta, sjw 8" in words
    assert "strut_nose, strut_left, strut_right: prescaler 2, 1 + 11 + 2 + 2 quanta, sjw 2" in words
    assert {"sync", "prop_seg", "phase_seg1", "phase_seg2"} <= set(words)


def test_a_name_cannot_write_markup() -> None:
    evil = replace(BITS[0], node="<script>&\x1b")
    root = ET.fromstring(bits_file([evil]))
    assert not list(root.iter(f"{SVG}script"))


def test_the_section_has_every_node_and_its_figures(demo: CheckAnswer) -> None:
    section = wires_section(demo)
    page = Page(section)
    for one in demo.timing:
        assert one.node in page.text
        assert f"{one.margin * 100:.4g} %" in page.text
    assert demo.harness is not None
    assert demo.harness.propagation is not None
    assert "609 of 2750 ns" in page.text
    assert len(page.all("rect", class_="bar")) == len(demo.timing)
    assert not any("style" in attributes for _, attributes in page.elements)
    for row in demo.harness.recommended:
        assert f"{row.trunk_m:.4g}" in page.text


def test_the_stack_of_delays_ends_where_the_total_does(demo: CheckAnswer) -> None:
    assert demo.harness is not None
    way = demo.harness.propagation
    assert way is not None
    _, _, after = wires_section(demo).partition("The slowest way")
    lane = re.findall(r'<div class="lane">.*?</svg></div>', after, re.DOTALL)[0]
    stack = [(float(x), float(width)) for x, width in re.findall(r'<rect x="([\d.]+)%" y="2" width="([\d.]+)%"', lane)]
    (limit,) = re.findall(r'<line class="deadline" x1="([\d.]+)%"', lane)
    assert len(stack) == sum(part.delay_ns > 0 for part in way.parts)
    end = sum(stack[-1])
    assert end / float(limit) == pytest.approx(way.total_ns / way.limit_ns, abs=1e-3)
    assert (end <= float(limit)) is way.holds


def of(bus: str, nodes: str) -> CheckAnswer:
    message = "messages: {m: {id: 1, from: panel, to: strut, every: 50 ms, lost_after: 200 ms}}\n"
    return check(parse_catalogue(f"catalogue: tried\nbus: {{bit_rate: 250 kbit/s{bus}}}\nnodes: {nodes}\n{message}"))


def test_what_breaks_is_told_by_sign_and_word() -> None:
    bad = of(", harness: {trunk: 300 m}", "{panel: {clock: 16 MHz, tolerance: 2 %}, strut: {clock: 8 MHz}}")
    page = Page(wires_section(bad))
    assert "✗ too much: 2 % of 0.4854 %" in page.text
    assert "✗ too long: " in page.text
    assert len(page.all("rect", class_="over")) == 1


def test_a_catalogue_that_says_nothing_of_them_gets_a_sentence(gate_check: CheckAnswer, page: str) -> None:
    assert "gives no clock and no wires" in wires_section(gate_check)
    assert page.count('<section id="wires">') == 1


@pytest.mark.parametrize(("most", "step"), [(0.005, 0.001), (2900.0, 500.0), (1.0, 0.2)])
def test_ticks_stay_within(most: float, step: float) -> None:
    ticks = ticks_to(most, step, "ns")
    assert ticks[0][0] == 0
    assert 3 <= len(ticks) <= 8
    assert all(0 <= at <= 100 + 1e-6 for at, _, _ in ticks)


def test_grounds_stand_beside_what_their_hearers_bear(demo: CheckAnswer) -> None:
    _, _, after = wires_section(demo).partition("Grounds apart")
    rows = re.findall(r"<tr>(.*?)</tr>", after, re.DOTALL)[1:]
    assert len(rows) == len(demo.grounds)
    for row, ground in zip(rows, demo.grounds, strict=True):
        assert all(said in row for said in (ground.hearer, ground.driver, f"{ground.shift_v:.4g} V", "-2 to 7 V"))
