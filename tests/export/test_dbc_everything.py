"""A catalogue in which every key is used: its DBC file reads back with the same meaning, frame by frame.

After a change of ``everything.yaml`` or of the file, look at the difference and write the golden file anew with

    python -m tests.export.test_dbc_everything
"""

from pathlib import Path
from random import Random

import pytest

from busdesign.catalogue.model import Catalogue, Role
from busdesign.catalogue.reader import parse_catalogue, read_catalogue
from busdesign.export.dbc import render
from tests.export.reading import attribute, load, same_frames, same_meaning

HERE = Path(__file__).parent
WRITTEN, GOLDEN = HERE / "everything.yaml", HERE / "golden" / "everything.dbc"


@pytest.fixture(scope="module")
def everything() -> Catalogue:
    return read_catalogue(WRITTEN)


def test_it_is_the_golden_file_twice(everything: Catalogue) -> None:
    first = render(everything).text
    assert first.splitlines() == GOLDEN.read_text(encoding="cp1252").splitlines()
    assert render(read_catalogue(WRITTEN)).text == first


def test_it_means_the_same(everything: Catalogue) -> None:
    same_meaning(everything, load(everything))


def test_ten_thousand_frames(everything: Catalogue) -> None:
    decoded, encoded = same_frames(everything, load(everything), 11_500, Random(1))
    assert decoded >= 10_000
    assert encoded >= 10_000


def test_a_selector_on_a_page_bears_both_marks(everything: Catalogue) -> None:
    lines = render(everything).text.split("\r\n")
    marks = {line.split()[1]: line.split()[2] for line in lines if line.startswith(" SG_ ")}
    assert [marks[name] for name in ("page", "sub", "subsub", "deepest", "shared", "flag")] == [
        "M",
        "m2M",
        "m4M",
        "m0",
        "m1",
        ":",
    ]
    assert any(line.endswith(" shared page 1-2, 5-5;") for line in lines)
    assert any(line.endswith(" subsub sub 4-6, 9-9;") for line in lines)


def test_a_comment_that_looks_like_a_signal_stays() -> None:
    catalogue = parse_catalogue(
        'catalogue: x\ncomment: "a\\n SG_ s M : 0|1"\nbus: {bit_rate: 1 Mbit/s}\nnodes: {a: {}}\nmessages:\n'
        "  m: {id: 1, from: a, every: 1 s, bytes: 8, signals: {p: {bits: 1}, q: {bits: 1, when: {p: 0}}, "
        "r: {bits: 1, when: {q: 1}}, s: {bits: 1, when: {p: 1}}}}\n"
    )
    same_meaning(catalogue, load(catalogue))


def test_a_remote_request_is_no_second_message(everything: Catalogue) -> None:
    text, loaded = render(everything).text, load(everything)
    assert text.count("BO_ 784 ") == text.count("\r\nBO_ 784 fault:") + text.count(" BO_ 784 ")
    assert [message.name for message in loaded.messages if message.frame_id == 0x310] == ["fault"]
    asked = loaded.get_message_by_name("fault")
    assert attribute(asked, "MsgRequest") == "fault_asked"
    assert attribute(asked, "MsgRequestedBy") == "keeper"
    assert (attribute(asked, "MsgRequestPeriod"), attribute(asked, "MsgRequestAtLeastApart")) == ("500 ms", "")
    (lost,) = (loss.text for loss in render(everything).losses if "remote request" in loss.text)
    assert lost == (
        "DBC has no word for a remote request, so that it has no `to`, `deadline`, `tags`, `comment`: `fault_asked`"
    )


def test_an_irregular_request_says_how_far_apart() -> None:
    catalogue = parse_catalogue(
        "catalogue: x\nbus: {bit_rate: 1 Mbit/s}\nnodes: {a: {}, b: {}}\nmessages:\n"
        "  m: {id: 1, from: a, irregular: {at_least_apart: 1 s}}\n"
        "  ask: {requests: m, from: b, irregular: {at_least_apart: 2500 us}}\n"
    )
    asked = load(catalogue).get_message_by_name("m")
    assert attribute(asked, "MsgRequestAtLeastApart") == "2500 us"
    assert attribute(asked, "MsgRequestPeriod") == ""
    assert not any("remote" in loss.text for loss in render(catalogue).losses)


def test_reserved_bits_are_free_bits_and_said_to_be(everything: Catalogue) -> None:
    names = [signal.name for one in everything.messages for signal in one.signals if signal.role is Role.RESERVED]
    text = render(everything).text
    assert names == ["spare", "gap", "kept_free"]
    assert not any(name in text for name in names)
    (lost,) = (loss for loss in render(everything).losses if "reserved" in loss.text)
    assert lost.text == "DBC has no word for reserved bits, which it takes for free ones: `flow`, `paged`, `unused`"


def test_start_values_of_floats_are_floats(everything: Catalogue) -> None:
    loaded = load(everything)
    assert loaded.get_message_by_name("paged").get_signal_by_name("number").initial == 1.5
    wide = loaded.get_message_by_name("doubles").get_signal_by_name("wide")
    assert wide.initial == pytest.approx(1e25, rel=1e-15)
    definition = loaded.dbc and loaded.dbc.attribute_definitions["GenSigStartValue"]
    assert definition
    assert (definition.minimum or 0) < -1e308
    assert (definition.maximum or 0) > 1e308


if __name__ == "__main__":
    GOLDEN.write_bytes(render(read_catalogue(WRITTEN)).data)
