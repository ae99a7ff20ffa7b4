"""No field of the catalogue is lost in silence: where each one goes, tried out by changing it.

A field that is ``CARRIED`` or put into an ``ATTRIBUTE`` changes the file; one that is ``LOST`` leaves the file as it is
and changes, or has, an entry in the list of losses; a ``PLACE`` says where something was written, and nothing else.
"""

import dataclasses
from collections.abc import Mapping
from dataclasses import replace
from fractions import Fraction
from types import MappingProxyType
from typing import Any

import pytest

from busdesign.catalogue.model import (
    Acceptance,
    Bus,
    ByteOrder,
    Catalogue,
    Function,
    Message,
    Node,
    Role,
    Signal,
)
from busdesign.catalogue.model_controllers import Queue, Receive, Transmit
from busdesign.catalogue.model_errors import ErrorModel
from busdesign.catalogue.model_wires import Cable, Harness, Stub, Supply, Timing
from busdesign.export.dbc import Rendered, render
from busdesign.wire.bit_timing import SMALL, Segments
from busdesign.wire.harness import Termination, Transceiver
from busdesign.wire.supply import Wire

CARRIED, ATTRIBUTE, LOST, PLACE = "carried", "attribute", "lost", "place"
COPPER = Wire(Fraction(6), Fraction(1, 2))

SIGNAL: Mapping[str, tuple[str, Any]] = {
    "name": (CARRIED, "other"),
    "start_bit": (CARRIED, 8),
    "length_bits": (CARRIED, 13),
    "byte_order": (CARRIED, ByteOrder.BIG),
    "signed": (CARRIED, True),
    "is_float": (CARRIED, True),
    "factor": (CARRIED, 0.5),
    "offset": (CARRIED, -1.0),
    "minimum": (CARRIED, 1.0),
    "maximum": (CARRIED, 99.0),
    "unit": (CARRIED, "mm"),
    "codes": (CARRIED, MappingProxyType({3: "three"})),
    "unknown_raw": (ATTRIBUTE, 255),
    "invalid_raw": (ATTRIBUTE, 254),
    "resolution": (ATTRIBUTE, 0.5),
    "selector": (CARRIED, "page"),
    "selected_by": (CARRIED, (2, 5)),
    "role": (ATTRIBUTE, Role.CONSTANT),
    "counts": (LOST, 3),
    "modulo": (CARRIED, 9),
    "crc": (LOST, "crc8-2f"),
    "data_id": (LOST, 77),
    "data_id_as": (LOST, "behind"),
    "data_ids": (LOST, (7, 8)),
    "constant": (ATTRIBUTE, 6),
    "initial": (CARRIED, 7.0),
    "safe": (ATTRIBUTE, 8.0),
    "comment": (CARRIED, "other words"),
    "place": (PLACE, None),
    "places": (PLACE, None),
}
MESSAGE: Mapping[str, tuple[str, Any]] = {
    "name": (CARRIED, "other"),
    "identifier": (CARRIED, 0x77),
    "extended": (CARRIED, True),
    "length_bytes": (CARRIED, 7),
    "sender": (CARRIED, "two"),
    "receivers": (CARRIED, ("one", "two")),
    "signals": (CARRIED, ()),
    "period_ns": (CARRIED, 10**8),
    "irregular": (CARRIED, True),
    "deadline_ns": (ATTRIBUTE, 10**6),
    "offset_ns": (ATTRIBUTE, 10**6),
    "jitter_ns": (ATTRIBUTE, 10**6),
    "lost_after_ns": (ATTRIBUTE, 10**9),
    "moves": (ATTRIBUTE, True),
    "accept": (ATTRIBUTE, Acceptance()),
    "requests": (ATTRIBUTE, "asked"),
    "tags": (ATTRIBUTE, ("a", "b")),
    "long_code": (LOST, 12),
    "family": (LOST, "family"),
    "comment": (CARRIED, "other words"),
    "places": (PLACE, None),
}
ACCEPTANCE: Mapping[str, tuple[str, Any]] = {
    "good_frames": (ATTRIBUTE, (2, 3)),
    "drops_bad_counter": (ATTRIBUTE, False),
    "drops_bad_check": (ATTRIBUTE, False),
    "ignores_first": (ATTRIBUTE, True),
    "safe_when_lost": (ATTRIBUTE, True),
}
NODE: Mapping[str, tuple[str, Any]] = {
    "name": (CARRIED, "three"),
    "clock_hz": (LOST, Fraction(16_000_000)),
    "tolerance": (LOST, Fraction(1, 1000)),
    "processing_ns": (LOST, 10**6),
    "comment": (CARRIED, "other words"),
    "controller": (LOST, SMALL),
    "timing": (LOST, Timing(4, Segments(11, 2, 2, 2))),
    "transceiver": (LOST, Transceiver()),
    "common_mode_v": (LOST, (Fraction(-12), Fraction(12))),
    "supply": (LOST, Supply(COPPER, COPPER, Fraction(3), Fraction(9))),
    "transmit": (LOST, Transmit(Queue.FIFO, 8)),
    "receive": (LOST, Receive(3, 5_000_000)),
    "place": (PLACE, None),
}
BUS: Mapping[str, tuple[str, Any]] = {
    "bit_rate_bit_s": (CARRIED, Fraction(500_000)),
    "sample_point": (LOST, Fraction(4, 5)),
    "load_limit": (LOST, Fraction(3, 5)),
    "harness": (LOST, Harness(Fraction(9))),
    "supply_v": (LOST, Fraction(12)),
    "errors": (LOST, ErrorModel(10_000_000)),
    "place": (PLACE, None),
}
HARNESS: Mapping[str, tuple[str, Any]] = {
    "trunk_m": (LOST, Fraction(9)),
    "longest_stub_m": (LOST, Fraction(1, 4)),
    "termination_ohm": (LOST, Fraction(120)),
    "cable": (LOST, Cable(Fraction(5))),
    "stubs": (LOST, (Stub(Fraction(1), Fraction(1, 4), "one"),)),
    "terminations": (LOST, (Termination(Fraction(0)),)),
    "place": (PLACE, None),
}
FUNCTION: Mapping[str, tuple[str, Any]] = {
    "name": (LOST, "other"),
    "path": (LOST, ("m",)),
    "within_ns": (LOST, 10**6),
    "age_ns": (LOST, 10**6),
    "skew_ns": (LOST, 10**6),
    "place": (PLACE, None),
    "places": (PLACE, None),
}
CATALOGUE: Mapping[str, tuple[str, Any]] = {
    "name": (CARRIED, "other"),
    "revision": (CARRIED, 9),
    "bus": (CARRIED, Bus(Fraction(500_000), Fraction(7, 8))),
    "nodes": (CARRIED, MappingProxyType({"one": Node("one"), "two": Node("two"), "three": Node("three")})),
    "messages": (CARRIED, ()),
    "codes": (CARRIED, MappingProxyType({"lamp": MappingProxyType({0: "dark"})})),
    "functions": (LOST, (Function("f", ("m",), 10**6),)),
    "comment": (CARRIED, "other words"),
    "file": (PLACE, None),
    "files": (PLACE, None),
    "places": (PLACE, None),
    "_by_name": (PLACE, None),
}
TABLES: Mapping[type, Mapping[str, tuple[str, Any]]] = {
    Signal: SIGNAL,
    Message: MESSAGE,
    Acceptance: ACCEPTANCE,
    Node: NODE,
    Bus: BUS,
    Harness: HARNESS,
    Function: FUNCTION,
    Catalogue: CATALOGUE,
}
CASES = [
    pytest.param(kind, name, *case, id=f"{kind.__name__}.{name}")
    for kind, table in TABLES.items()
    for name, case in table.items()
    if case[0] != PLACE
]


@pytest.mark.parametrize("kind", TABLES, ids=lambda kind: kind.__name__)
def test_every_field_has_its_row(kind: type) -> None:
    assert set(TABLES[kind]) == {field.name for field in dataclasses.fields(kind)}


# Signals whose bits do not matter here: what is changed is changed alone.
PAGE = Signal("page", 48, 4)
OTHER_PAGE = Signal("other_page", 52, 4)
PLAIN = Signal("s", 0, 32, minimum=0.0, maximum=200.0, selector="other_page", selected_by=(2,), comment="words")
ASKED = Message("asked", 0x55, False, 1, "two", ("one",), (), period_ns=10**7, irregular=True)


def catalogue_with(signal: Signal = PLAIN, message: Mapping[str, Any] | None = None, **parts: Any) -> Catalogue:
    signals = (PAGE, OTHER_PAGE, signal)
    said: dict[str, Any] = {
        "name": "m",
        "identifier": 1,
        "extended": False,
        "length_bytes": 8,
        "sender": "one",
        "signals": signals,
    }
    said |= {"receivers": ("two",), "period_ns": 10**7, "deadline_ns": 10**7, "comment": "words", **(message or {})}
    known: dict[str, Any] = {
        "bus": Bus(Fraction(250_000), Fraction(7, 8)),
        "nodes": MappingProxyType({"one": Node("one", comment="words"), "two": Node("two")}),
        "functions": (Function("promise", ("asked",), 10**7),),
        **parts,
    }
    return Catalogue("x", 1, messages=(Message(**said), ASKED), comment="words", **known)


def changed(kind: type, name: str, value: Any) -> tuple[Catalogue, Catalogue]:
    """A catalogue, and the same with ``name`` of its ``kind`` set to ``value``."""
    before = catalogue_with()
    if kind is Signal:
        base = PLAIN
        if name in ("counts", "modulo"):
            base = replace(PLAIN, role=Role.COUNTER, modulo=12, selector="", selected_by=())
        elif name in ("crc", "data_id", "data_id_as", "data_ids"):
            base = replace(PLAIN, role=Role.CHECK, length_bits=8, crc="crc8-j1850", selector="", selected_by=())
        elif name == "constant":
            base = replace(PLAIN, role=Role.CONSTANT)
        return catalogue_with(base), catalogue_with(replace(base, **{name: value}))
    if kind is Message:
        return before, catalogue_with(message={name: value})
    if kind is Acceptance:
        accepts = Acceptance(), replace(Acceptance(), **{name: value})
        return catalogue_with(message={"accept": accepts[0]}), catalogue_with(message={"accept": accepts[1]})
    if kind is Node:
        silent = replace(before, messages=(replace(before.messages[0], receivers=()),))
        two = replace(before.nodes["two"], **{name: value})
        return silent, replace(silent, nodes=MappingProxyType({"one": before.nodes["one"], two.name: two}))
    if kind is Bus:
        return before, replace(before, bus=replace(before.bus, **{name: value}))
    if kind is Harness:
        return before, replace(before, bus=replace(before.bus, harness=Harness(**{name: value})))
    if kind is Function:
        return before, replace(before, functions=(replace(before.functions[0], **{name: value}),))
    return before, replace(before, **{name: value})


def listed(rendered: Rendered) -> set[str]:
    return {loss.text for loss in rendered.losses}


ALWAYS_SAID = {  # lost as a whole, whatever the value: the words of the entry that says so
    "Signal.counts": "counter, with its step",
    "Signal.crc": "check, with its algorithm and `data_id`",
    "Signal.data_id": "check, with its algorithm and `data_id`",
    "Signal.data_id_as": "check, with its algorithm and `data_id`",
    "Signal.data_ids": "check, with its algorithm and `data_id`",
    "Function.path": "functions and the time they promise",
    "Function.within_ns": "functions and the time they promise",
    "Function.age_ns": "functions and the time they promise",
    "Function.skew_ns": "functions and the time they promise",
}


@pytest.mark.parametrize(("kind", "name", "fate", "value"), CASES)
def test_what_the_table_says_is_so(kind: type, name: str, fate: str, value: Any) -> None:
    first, second = (render(catalogue) for catalogue in changed(kind, name, value))
    if fate != LOST:
        assert first.text != second.text
        return
    assert first.text == second.text
    words = ALWAYS_SAID.get(f"{kind.__name__}.{name}")
    if words is None:
        assert listed(second) != listed(first)
    else:
        assert any(words in text for text in listed(second))


def test_reserved_is_the_role_that_is_lost() -> None:
    rendered = render(catalogue_with(replace(PLAIN, role=Role.RESERVED, minimum=None, maximum=None)))
    assert " SG_ s " not in rendered.text
    assert any("reserved bits" in text for text in listed(rendered))


REQUEST_KEYS = {
    "receivers": ("to", ("two",)),
    "deadline_ns": ("deadline", 10**6),
    "offset_ns": ("offset", 10**6),
    "jitter_ns": ("jitter", 10**6),
    "lost_after_ns": ("lost_after", 10**9),
    "moves": ("moves", True),
    "tags": ("tags", ("a",)),
    "accept": ("accept", Acceptance()),
    "comment": ("comment", "words"),
}


@pytest.mark.parametrize("name", REQUEST_KEYS)
def test_what_a_remote_request_loses_is_said(name: str) -> None:
    key, value = REQUEST_KEYS[name]
    bare = {"requests": "asked", "signals": (), "receivers": (), "comment": ""}
    assert not any("remote request" in text for text in listed(render(catalogue_with(message=bare))))
    (said,) = (text for text in listed(render(catalogue_with(message={**bare, name: value}))) if "remote" in text)
    assert f"`{key}`" in said
