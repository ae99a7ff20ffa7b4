"""Where a part of the wires is written: from the dotted parts of ``wire.problems`` to keys and places."""

from collections.abc import Mapping
from typing import TypeAlias

from busdesign.catalogue.model_wires import Harness
from busdesign.findings import Place

Keys: TypeAlias = tuple[str, ...]  # from the root of the file down to a value; indices of lists as texts

HARNESS: Keys = ("bus", "harness")
_OF_CABLE: Mapping[str, tuple[str, ...]] = {
    "delay_ns_per_m": ("delay",),
    "ohm_per_m": ("resistance", "cross_section"),
    "impedance_ohm": ("impedance",),
    "cross_section_mm2": ("cross_section",),
    "temperature_c": ("temperature",),
}
_OF_TAP: Mapping[str, tuple[str, str]] = {"at_m": ("at", "trunk"), "stub_m": ("length", "longest_stub")}
_OF_TRANSCEIVER: Mapping[str, Keys] = {
    "loop_delay_ns": ("loop_delay",),
    "isolator_ns": ("isolator",),
    "input_ohm": ("input",),
    "driven_v_min": ("dominant", "0"),
    "driven_v_max": ("dominant", "1"),
}
_OF_TERMINATION: Mapping[str, str] = {"at_m": "at", "ohm": "ohm", "tolerance": "tolerance"}
_OF_WIRE: Mapping[str, str] = {
    "length_m": "length",
    "cross_section_mm2": "cross_section",
    "temperature_c": "temperature",
    "joints_ohm": "joints",
}
_OF_UNIT: Mapping[str, str] = {"peak_a": "peak", "idle_a": "idle", "minimum_v": "at_least"}


def keys_of(part: str, harness: Harness) -> tuple[Keys, ...]:
    """The keys that may say ``part``, the likeliest first; which of them do depends on the file."""
    head, _, rest = part.partition(".")
    if head == "trunk_m":
        return ((*HARNESS, "trunk"),)
    if head in ("cable", "copper"):
        return tuple((*HARNESS, "cable", key) for key in _OF_CABLE.get(rest, ()))
    if head == "taps":
        return _of_tap(rest, harness)
    if head == "terminations":
        return (_of_termination(rest, harness),)
    return _of_unit(rest) if head == "units" else (HARNESS,)


def place_of(part: str, harness: Harness, places: Mapping[Keys, Place]) -> Place | None:
    """Where ``part`` is written, else the nearest place above it; ``places`` are those of the catalogue."""
    wanted = keys_of(part, harness)
    found = next((places[keys] for keys in wanted if keys in places), None)
    return found or next((place for keys in wanted if (place := place_above(keys, places))), harness.place)


def place_above(keys: Keys, places: Mapping[Keys, Place]) -> Place | None:
    """The place of ``keys``, or of the nearest above them."""
    return next((places[keys[:length]] for length in range(len(keys), 0, -1) if keys[:length] in places), None)


def told(part: str, harness: Harness, text: str) -> str:
    """``text`` with the name of what it speaks of, as the file spells it."""
    keys = keys_of(part, harness)[0]
    if keys[0] == "nodes":
        return f"`{_last_word(keys)}` of `{keys[1]}`: {text}"
    if part.startswith("taps.") and harness.stubs is not None:
        node = harness.stubs[int(keys[3])].node
        return f"`{node}`: {text}"
    return f"`{_last_word(keys)}`: {text}"


def _last_word(keys: Keys) -> str:
    return next(key for key in reversed(keys) if not key.isdigit())


def _of_termination(rest: str, harness: Harness) -> Keys:
    index, _, name = rest.partition(".")
    if harness.terminations is None:
        return (*HARNESS, "termination")
    return tuple(key for key in (*HARNESS, "terminations", index, _OF_TERMINATION.get(name, "")) if key)


def _of_tap(rest: str, harness: Harness) -> tuple[Keys, ...]:
    stubs = (*HARNESS, "stubs")
    node, _, name = rest.rpartition(".")
    if name in _OF_TRANSCEIVER:
        return (("nodes", node, "transceiver", *_OF_TRANSCEIVER[name]),)
    if name not in _OF_TAP:
        node, name = rest, ""
    at = [index for index, stub in enumerate(harness.stubs or ()) if stub.node == node]
    if not name:
        return ((*stubs, str(at[-1]), "node"),) if at else (stubs,)
    own, short = _OF_TAP[name]
    return ((*stubs, str(at[0]), own),) if at else ((*HARNESS, short),)


def _of_unit(rest: str) -> tuple[Keys, ...]:
    node, _, name = rest.rpartition(".")
    if name == "supply_v":
        return (("bus", "supply", "voltage"),)
    if name in _OF_UNIT:
        return (("nodes", node, "supply", _OF_UNIT[name]),)
    owner, _, which = node.rpartition(".")
    if name in _OF_WIRE and which in ("power", "ground"):
        supply = ("nodes", owner, "supply")
        shared = (*supply, _OF_WIRE[name])
        return ((*supply, "ground", _OF_WIRE[name]), shared) if which == "ground" else (shared,)
    return (("nodes", rest, "supply"),)
