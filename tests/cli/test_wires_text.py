"""The lines of ``check`` on timing, wires and supply: the tightest figure of each beside its limit."""

from busdesign.answers.check import check
from busdesign.catalogue.reader import parse_catalogue
from busdesign.cli.check import check_text

MESSAGES = "messages: {m: {id: 1, from: panel, to: strut, every: 50 ms, lost_after: 200 ms}}\n"


def text_of(bus: str, nodes: str) -> str:
    """The text with its line breaks taken out."""
    head = f"catalogue: tried\nbus: {{bit_rate: 250 kbit/s{bus}}}\nnodes: {nodes}\n"
    return " ".join(check_text(check(parse_catalogue(head + MESSAGES))).split())


def test_each_has_its_line_with_the_tightest_figure() -> None:
    supply = "{length: 6 m, cross_section: 2.5 mm2, peak: 5 A, at_least: 9 V}"
    timing = "{prescaler: 4, prop_seg: 11, phase_seg1: 2, phase_seg2: 2, sjw: 2}"
    text = text_of(
        ", supply: {voltage: 12 V}, harness: {trunk: 9 m, longest_stub: 0.25 m}",
        f"{{panel: {{clock: 16 MHz, timing: {timing}, supply: {supply}}}, "
        f"strut: {{clock: 8 MHz, tolerance: 0.3 %, supply: {supply}}}}}",
    )
    assert (
        "timing: strut has least to spare: its clock may be off by 0.3 %, its setting (the best: prescaler 2, "
        "1 + 11 + 2 + 2 quanta, sampled at 87.5 %) bears 0.4854 % (error flag); "
    ) in text
    # Two loops of 255 ns, 9.5 m of cable there and back.
    assert "wires: an edge takes 605 of 2750 ns from panel to strut and back; " in text
    assert "0.9 V needed; longest stub 0.25 m, 11 m allowed" in text
    assert "assumed of the wires: panel and strut at the ends of the trunk" in text
    # 6 m there and back of 2.5 mm2: 0.0828 ohm.
    assert "supply: panel gets 11.59 V at its peak, 9 V needed; " in text


def test_a_catalogue_that_says_nothing_of_them_has_no_such_lines() -> None:
    text = text_of("", "{panel: {}, strut: {}}")
    assert not any(word in text for word in ("timing:", "wires:", "supply:", "assumed of"))


def test_what_breaks_says_by_how_much() -> None:
    supply = "{length: 10 m, cross_section: 0.3 mm2, peak: 8.1 A, at_least: 2 V}"
    clock = "clock: 16 MHz, tolerance: 1 %"
    text = text_of(
        ", supply: {voltage: 28 V}", f"{{panel: {{{clock}, supply: {supply}}}, strut: {{{clock}, supply: {supply}}}}}"
    )
    # 10 m of 0.3 mm2 are 0.5747 ohm: 4.655 V of ground at one's peak over 0 V at the other, 7 - 3 V allowed.
    assert "lies up to 4.66 V above that of" in text
    assert "0.655 V too far" in text
    assert "do not understand each other by 0." in text


def test_a_node_without_a_clock_is_named() -> None:
    assert "no clock is given for strut" in text_of("", "{panel: {clock: 16 MHz}, strut: {}}")
