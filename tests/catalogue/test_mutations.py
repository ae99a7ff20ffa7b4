"""Two whole catalogues, their parts swapped, renamed and given odd values: they read and can be used, or are refused.

Other than ``test_damage``, which tears at the text, this always makes good YAML, so that it reaches the rules.
"""

import copy
from collections.abc import Iterator
from pathlib import Path
from random import Random
from typing import Any

import yaml
from hypothesis import given, settings
from hypothesis import strategies as st

from busdesign.answers.check import check
from busdesign.catalogue.codec import codecs_of
from busdesign.catalogue.payloads import random_payloads
from busdesign.catalogue.source import parse_source
from busdesign.export import dbc
from busdesign.export.dbc_refusals import refusals
from tests.catalogue.test_damage import DEMO, places_are_inside

EVERYTHING = (Path(__file__).parents[1] / "export" / "everything.yaml").read_text(encoding="utf-8")
DOCUMENTS = [parse_source(text, "whole.yaml")[0].data for text in (DEMO, EVERYTHING)]
WIDE_BITS = 50  # a float holds the raw numbers of shorter signals one by one

ODD: list[Any] = [None, True, 0, -1, 64, 512, 2**63, 10**30, 10**400, 1e300, "", "é", "{leg}", "page", "50 ms", [], {}]
OF_SIGNALS: dict[str, list[Any]] = {
    "bits": [1, 3, 8, 16, 32, 33, 64],
    "start": [0, 5, 7, 23, 63],
    "byte_order": ["little", "big"],
    "signed": [True],
    "float": [True],
    "factor": [0, -1, 0.1, 1e30, 1e-30],
    "offset": [-50, 0.5, 1e10],
    "range": [[0, 1], [5, -5], [-1e6, 1e6], [0, 1e30]],
    "codes": ["lamp", "gate", {5: "x"}, {-1: "m"}, {2**63: "big"}],
    "unknown": [0, 15, 4095, -1],
    "invalid": [0, 14, 2**64 - 1],
    "resolution": [0.001, 1e9],
    "constant": [0, -1, 255],
    "reserved": [True],
    "when": [{"page": [0, 1]}, {"left": 0}, {"sub": 1}, {"state": 1}, {"counter": 0}],
    "counts": [1, 7],
    "modulo": [2, 15, 2**63],
    "crc": ["crc8-j1850", "crc8-j1850-zero", "crc16-ccitt", "crc32"],
    "data_id": [0, 0xFFFF],
    "data_id_as": ["alternate", "low", "low-zero", "behind"],
    "data_ids": [[1, 2], list(range(16))],
    "initial": [0, 64, 0.5, 1e9, "unknown", "x"],
    "safe": [0, 64, "invalid", "x"],
}


def trails(value: Any, at: tuple[Any, ...] = ()) -> Iterator[tuple[Any, ...]]:
    """Where each part of ``value`` stands."""
    steps = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for step, inner in steps:
        yield (*at, step)
        yield from trails(inner, (*at, step))


def part(value: Any, trail: tuple[Any, ...]) -> Any:
    for step in trail:
        value = value[step]
    return value


def mutated(document: Any, rng: Random) -> Any:
    document = copy.deepcopy(document)
    everywhere = list(trails(document))
    of_signals = [trail for trail in everywhere if len(trail) == 4 and trail[::2] == ("messages", "signals")]
    if of_signals and rng.random() < 0.7:
        key = rng.choice(list(OF_SIGNALS))
        part(document, rng.choice(of_signals))[key] = copy.deepcopy(rng.choice(OF_SIGNALS[key]))
        return document
    *above, last = rng.choice(everywhere)
    beside, other = part(document, tuple(above)), copy.deepcopy(part(document, rng.choice(everywhere)))
    way = rng.randrange(4)
    if way == 0:
        beside[last] = copy.deepcopy(rng.choice(ODD))
    elif way == 1:
        beside[last] = other
    elif way == 2 and isinstance(beside, dict):
        beside[rng.choice(everywhere)[-1]] = beside.pop(last)
    else:
        del beside[last]
    return document


@settings(max_examples=100, deadline=None)
@given(st.sampled_from(DOCUMENTS), st.integers(0, 2**32), st.integers(1, 2))
def test_mutated_catalogues_are_refused_or_can_be_used(document: Any, seed: int, times: int) -> None:
    rng = Random(seed)
    for _ in range(times):
        document = mutated(document, rng)
    catalogue = places_are_inside(yaml.dump(document, allow_unicode=True, sort_keys=False, width=200))
    if catalogue is None:
        return
    assert isinstance(check(catalogue).holds, bool)
    if not refusals(catalogue):
        assert dbc.render(catalogue).text
    for name, codec in codecs_of(message for message in catalogue.messages if not message.is_remote).items():
        message, draw = catalogue.message(name), random_payloads(codec, rng)
        for count in range(3):
            data = draw(codec.initial_raws, count).to_bytes(message.length_bytes, "little")
            assert codec.check_holds(data) in (True, None)
            if message.signals and all(signal.length_bits <= WIDE_BITS for signal in message.signals):
                said = {name: value for name, value in codec.decode(data).items() if name in codec.converters}
                assert codec.encode(said, count) == data
