"""A DBC file read by cantools means what the catalogue means, and codes and decodes frames like our own codec.

Over the demo and over random catalogues: every layout, name, text, number and time that a DBC file carries.
"""

import json
from collections.abc import Mapping
from decimal import Decimal
from pathlib import Path
from random import Random
from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st

from busdesign.catalogue.model import ByteOrder, Catalogue
from busdesign.catalogue.packing import Slot, lay
from busdesign.catalogue.reader import parse_catalogue, read_catalogue
from busdesign.export.dbc import render
from tests.export.reading import load, same_frames, same_meaning

DEMO = Path(__file__).parents[2] / "messages" / "saltmarsh.yaml"


def test_demo_means_the_same() -> None:
    catalogue = read_catalogue(DEMO)
    same_meaning(catalogue, load(catalogue))


def test_ten_thousand_frames_of_the_demo() -> None:
    catalogue = read_catalogue(DEMO)
    assert min(same_frames(catalogue, load(catalogue), 10_000, Random(1))) >= 10_000


def test_same_number_as_base_and_extended_identifier_stays_two_messages() -> None:
    catalogue = parse_catalogue(
        "catalogue: x\nbus: {bit_rate: 1 Mbit/s}\nnodes: {a: {}}\nmessages:\n"
        "  short: {id: 5, from: a, every: 1 ms, signals: {s: {bits: 8}}}\n"
        "  long: {id: 5, extended: true, from: a, every: 1 ms, signals: {t: {bits: 8}}}\n"
    )
    loaded = load(catalogue)
    same_meaning(catalogue, loaded)
    assert loaded.get_message_by_frame_id(5, force_extended_id=True).name == "long"


def test_widest_signals() -> None:
    catalogue = parse_catalogue(
        "catalogue: x\nbus: {bit_rate: 1 Mbit/s}\nnodes: {a: {}}\nmessages:\n"
        "  little: {id: 1, from: a, every: 1 ms, signals: {s: {bits: 64, codes: {18446744073709551615: none}}}}\n"
        "  big: {id: 2, from: a, every: 1 ms, byte_order: big, signals: {s: {bits: 64, signed: true, factor: 0.5}}}\n"
        "  bare: {id: 3, from: a, every: 1 ms}\n"
    )
    loaded = load(catalogue)
    same_meaning(catalogue, loaded)
    same_frames(catalogue, loaded, 300, Random(2))


# --- random catalogues, written as YAML

LETTERS = "".join(
    chr(code) for code in (*range(0x20, 0x7F), *range(0xA0, 0x100), 0x20AC, 0x2019, 0x0160)
)  # of Windows-1252
TEXTS = st.text(LETTERS, max_size=12).filter(lambda text: not text.endswith("\\"))
COMMENTS = st.text(LETTERS + "\n\t", max_size=20).filter(lambda text: not text.endswith("\\"))
WORDS = TEXTS.filter(bool)
NAMES = st.builds(
    str.__add__, st.sampled_from(["x", "a_beginning_that_many_names_share_"]), st.text("abcXYZ012_", max_size=6)
)
PERIODS = st.sampled_from(["1 ms", "50 ms", "2.5 ms", "333 us", "999999 ns", "70 s", "1500 h"])
FACTORS = st.sampled_from([1, 2, 0.1, 0.05, -0.25, 0.001, 3.7e-07, 1e3])
OFFSETS = st.sampled_from([0, -40, 12.5, 1e6, -0.001])


def yaml_flow(value: Any) -> str:
    """``value`` as YAML in flow style, in which keys may be numbers."""
    if isinstance(value, Mapping):
        return "{" + ", ".join(f"{yaml_flow(key)}: {yaml_flow(inner)}" for key, inner in value.items()) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(map(yaml_flow, value)) + "]"
    return json.dumps(value)


@st.composite
def signals_written(draw: st.DrawFn) -> dict[str, Any]:
    bits = draw(st.integers(1, 64) | st.integers(1, 12))
    written: dict[str, Any] = {"bits": bits, "byte_order": draw(st.sampled_from(["little", "big"]))}
    if draw(st.booleans()):
        written["start"] = draw(st.integers(0, 63))
    written |= {"unit": draw(TEXTS), "comment": draw(COMMENTS)}
    kind = draw(st.sampled_from(["number", "number", "range", "codes", "counter"]))
    if kind == "counter" and bits > 1:
        written["counts"] = 1
        written["modulo"] = draw(st.integers(2, 1 << bits))
        return written
    written["signed"] = draw(st.booleans())
    low, high = (-(1 << bits - 1), (1 << bits - 1) - 1) if written["signed"] else (0, (1 << bits) - 1)
    if kind == "codes":
        words = draw(st.lists(WORDS, min_size=1, max_size=4, unique=True))
        raws = draw(st.lists(st.integers(low, high), min_size=1, max_size=len(words), unique=True))
        written["codes"] = dict(zip(raws, words, strict=False))
        written["initial"] = draw(st.sampled_from(words[: len(raws)]))
        return written
    written |= {"factor": draw(FACTORS), "offset": draw(OFFSETS)}
    if kind == "range" and bits <= 24:
        raws = sorted(draw(st.lists(st.integers(low, high), min_size=2, max_size=2)))
        ends = sorted(Decimal(str(written["factor"])) * raw + Decimal(str(written["offset"])) for raw in raws)
        if all(Decimal(repr(float(end))) == end for end in ends):
            written["range"] = [float(end) for end in ends]
            written["initial"] = draw(st.sampled_from(written["range"]))
    return written


@st.composite
def messages_written(draw: st.DrawFn, nodes: list[str]) -> dict[str, Any]:
    nodes = draw(st.permutations(nodes))
    signals = draw(st.dictionaries(NAMES, signals_written(), max_size=7))
    if draw(st.booleans()):
        signals["check"] = {"bits": 8, "crc": "crc8-j1850"}
    slots = [
        Slot(name, one["bits"], ByteOrder(one.get("byte_order", "little")), one.get("start"), "crc" in one)
        for name, one in signals.items()
    ]
    clashing = {clash.name for clash in lay(slots, 8).clashes}
    written: dict[str, Any] = {
        "extended": draw(st.booleans()),
        "from": nodes[0],
        "to": draw(st.lists(st.just(nodes[1]), max_size=2)),
        "jitter": draw(st.sampled_from(["0 ms", "1 us", "12345 ns"])),
        "comment": draw(COMMENTS),
        "bytes": 8,
        "signals": {name: one for name, one in signals.items() if name not in clashing},
    }
    period = draw(PERIODS)
    written |= draw(
        st.sampled_from(
            [
                {"every": period, "offset": "12 us", "lost_after": "2000 h"},
                {"every": period, "deadline": "100500 ns"},
                {"irregular": {"at_least_apart": period}},
            ]
        )
    )
    return written


@st.composite
def catalogues(draw: st.DrawFn) -> Catalogue:
    names = draw(st.lists(NAMES, min_size=4, max_size=6, unique=True))
    nodes, messages = names[:2], names[2:]
    identifiers = draw(st.lists(st.integers(0, 0x7FF), min_size=len(messages), max_size=len(messages), unique=True))
    shift = draw(st.sampled_from([0, 18]))
    written = {name: draw(messages_written(nodes)) for name in messages}
    for identifier, message in zip(identifiers, written.values(), strict=True):
        message["id"] = identifier << shift if message["extended"] else identifier
    return parse_catalogue(
        yaml_flow(
            {
                "catalogue": draw(WORDS),
                "revision": draw(st.integers(0, 99)),
                "comment": draw(COMMENTS),
                "bus": {"bit_rate": "500 kbit/s"},
                "nodes": {name: {"comment": draw(COMMENTS)} for name in nodes},
                "messages": written,
            }
        )
    )


@given(catalogues(), st.integers(0, 2**32))
@settings(max_examples=40, deadline=None)
def test_random_catalogue_means_and_speaks_the_same(catalogue: Catalogue, seed: int) -> None:
    loaded = load(catalogue)
    same_meaning(catalogue, loaded)
    same_frames(catalogue, loaded, 40, Random(seed))
    assert render(catalogue) == render(catalogue)
