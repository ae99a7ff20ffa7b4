"""The JSON Schemas: valid themselves, current in ``docs/``, of one mind with the readers as far as they can know."""

import json
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pydantic
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from jsonschema import Draft202012Validator
from pydantic import BaseModel

from busdesign.answers.schema import KINDS, schema, schema_text
from busdesign.answers.starter import demo_scenarios
from busdesign.card_file import Card, all_cards
from busdesign.catalogue.draft import CatalogueWritten
from busdesign.catalogue.reader import parse_catalogue
from busdesign.catalogue.source import parse_source
from busdesign.cli import schema as face
from busdesign.errors import CatalogueError
from busdesign.findings import Refused
from busdesign.scenario.draft import ScenarioWritten
from busdesign.units import MAX_CHARACTERS, QuantityError, quantity_form, read_quantity
from tests.card_examples import CATALOGUE, SCENARIO, completed
from tests.catalogue.test_broken import ALL, HEAD, Broken, messages, signals
from tests.catalogue.test_damage import DEMO, damaged_words
from tests.scenario.test_reader import FULL
from tests.test_imports import loaded

OLDER = ("2.7.", "2.8.", "2.9.", "2.10.")
ROOT = Path(__file__).parents[2]
SCHEMAS = {kind: schema(kind) for kind in KINDS}
VALIDATORS = {kind: Draft202012Validator(found) for kind, found in SCHEMAS.items()}
QUANTITIES = (
    "duration",
    "bit rate",
    "frequency",
    "length",
    "resistance",
    "ratio",
    "voltage",
    "current",
    "cross-section",
    "resistance per metre",
    "delay per metre",
    "temperature",
)


def as_an_editor_has_it(text: str) -> Any:
    """The data of a YAML text as JSON has it, where every key is a text."""
    return _with_text_keys(parse_source(text, "tried.yaml")[0].data)


def _with_text_keys(data: Any) -> Any:
    if isinstance(data, dict):
        return {str(key): _with_text_keys(value) for key, value in data.items()}
    return [_with_text_keys(value) for value in data] if isinstance(data, list) else data


def refused(kind: str, text: str) -> list[str]:
    """What the schema has against ``text``, with the place of each."""
    errors = VALIDATORS[kind].iter_errors(as_an_editor_has_it(text))
    return [f"{'/'.join(map(str, error.absolute_path))}: {error.message}" for error in errors]


def parts_of(said: Any, at: str) -> Iterator[tuple[str, dict[str, Any]]]:
    """Every schema inside the schema ``said``, with its place."""
    if isinstance(said, dict):
        yield at, said
        for keyword, value in said.items():
            if keyword in ("properties", "$defs"):
                for name, part in value.items():
                    yield from parts_of(part, f"{at}/{name}")
            elif keyword in ("items", "additionalProperties", "propertyNames"):
                yield from parts_of(value, f"{at}/{keyword}")
            elif keyword in ("anyOf", "oneOf"):
                for number, part in enumerate(value):
                    yield from parts_of(part, f"{at}/{keyword}/{number}")


PARTS = [(kind, at, said) for kind, found in SCHEMAS.items() for at, said in parts_of(found, kind)]


@pytest.mark.parametrize("kind", KINDS)
def test_it_is_a_schema(kind: str) -> None:
    assert SCHEMAS[kind]["$schema"] == Draft202012Validator.META_SCHEMA["$id"]
    Draft202012Validator.check_schema(SCHEMAS[kind])


@pytest.mark.skipif(pydantic.VERSION.startswith(OLDER), reason="before 2.11 pydantic words the same schema otherwise")
@pytest.mark.parametrize("kind", KINDS)
def test_the_copy_in_the_docs_is_current(kind: str) -> None:
    file = ROOT / "docs" / f"{kind}.schema.json"
    refresh = f"busdesign schema {kind} -o docs/{kind}.schema.json"
    assert file.read_text(encoding="utf-8") == schema_text(kind), f"refresh it: {refresh}"


@pytest.mark.parametrize("kind", KINDS)
def test_the_text_is_the_schema(kind: str) -> None:
    text = schema_text(kind)
    assert json.loads(text) == SCHEMAS[kind]
    assert text.startswith('{\n  "$schema": ')
    assert text.endswith("}\n")
    assert "Written" not in text
    assert text.isascii()


def test_an_unknown_kind_is_refused_with_a_hint() -> None:
    for ask in (schema, schema_text):
        with pytest.raises(Refused) as raised:
            ask("scenari")
        assert (raised.value.text, raised.value.fix) == ("there is no schema of `scenari`", "did you mean `scenario`?")


def test_the_command_knows_the_same_kinds() -> None:
    assert face.KINDS == KINDS


def test_nothing_heavy_is_loaded() -> None:
    modules = loaded({"schema": 'run("schema", "scenario")'})["schema"]
    assert "busdesign.answers.schema" in modules
    assert {name.partition(".")[0] for name in modules} & {"numpy", "numba", "rich", "cantools"} == set()
    assert {name for name in modules if name.startswith(("busdesign.virtual", "busdesign.analysis"))} == set()


@pytest.mark.parametrize("kind", KINDS)
def test_every_key_is_described(kind: str) -> None:
    keys = [
        (f"{at}/{key}", part)
        for of, at, said in PARTS
        if of == kind
        for key, part in said.get("properties", {}).items()
        if not at.endswith("anyOf/1")  # where only the keys required of a family stand
    ]
    assert len(keys) > 20
    assert [at for at, part in keys if not part.get("description")] == []


def test_every_part_of_a_quantity_or_a_word_says_what_it_looks_like() -> None:
    bare = [at for _, at, said in PARTS if "pattern" in said and not {"examples", "description"} & set(said)]
    assert [at for at in bare if not re.search("propertyNames|anyOf/1|items", at)] == []


def test_examples_and_defaults_are_valid() -> None:
    tried = 0
    for kind, at, said in PARTS:
        here = VALIDATORS[kind].evolve(schema={**said, "$defs": SCHEMAS[kind]["$defs"]})
        for value in [*said.get("examples", []), *([said["default"]] if "default" in said else [])]:
            assert [error.message for error in here.iter_errors(value)] == [], at
            tried += 1
    assert tried > 80


@pytest.mark.parametrize("kind", KINDS)
def test_what_the_models_require_is_required(kind: str) -> None:
    models: dict[str, type[BaseModel]] = {"catalogue": CatalogueWritten, "scenario": ScenarioWritten}
    model = models[kind]
    required = {known.alias or name for name, known in model.model_fields.items() if known.is_required()}
    whole = as_an_editor_has_it({"catalogue": DEMO, "scenario": FULL}[kind])
    for key in required:
        left = {other: value for other, value in whole.items() if other != key}
        found = [error.message for error in VALIDATORS[kind].iter_errors(left)]
        assert found == [f"'{key}' is a required property"]


# What reads is valid.


def test_the_demo_is_valid() -> None:
    assert refused("catalogue", DEMO) == []
    stories = demo_scenarios(ROOT)
    assert len(stories) >= 5
    for file in stories:
        assert refused("scenario", file.read_text(encoding="utf-8")) == [], file


def test_a_scenario_with_everything_is_valid() -> None:
    assert refused("scenario", FULL) == []


EVERYTHING = """\
catalogue: tried
revision: 3
bus: {bit_rate: 83333 bit/s, sample_point: 875000 ppm, load_limit: 60 %, harness: {termination: 0.12 kΩ}}
nodes: {panel: {clock: 16 MHz, tolerance: 0.3 percent, processing: 2 µs}, left: {}, right: {}}
codes: {lamp: {0x0: dark, 1: red, -1: never}}
messages:
  report:
    for_each:
      side: [l, r]
      from: [left, right]
      id: [0x10, 0o21]
      period: [10, 20]
      late: [hold, safe]
    to: panel
    every: '{period} ms'
    accept: {good_frames: 2, when_lost: '{late}'}
    comment: on the {side}, every {period} ms
    signals:
      page: {bits: 2}
      wide: {bits: 8, when: {page: [0, 1]}, unit: 'per {period} ms'}
      slim: {bits: 4, when: {page: 2}, codes: {0: a, 1: b}, initial: a}
  order: {from: panel, irregular: {at_least_apart: 1 s}, signals: {s: {bits: 2, signed: true, codes: lamp, safe: 1}}}
functions: {shows: {path: panel.key, within: 0.5 s}}
"""


def test_a_catalogue_with_unusual_spellings_reads_and_is_valid() -> None:
    assert {message.name for message in parse_catalogue(EVERYTHING).messages} == {"report_l", "report_r", "order"}
    assert refused("catalogue", EVERYTHING) == []


CARDS = [card for card in all_cards() if card.example in KINDS]


@pytest.mark.parametrize("card", CARDS, ids=lambda card: card.rule)
def test_what_a_card_calls_right_is_valid(card: Card) -> None:
    parts = {"catalogue": CATALOGUE, "scenario": SCENARIO}[card.example]
    assert refused(card.example, completed(card.good, parts)) == []


@settings(max_examples=50, deadline=None)
@given(damaged_words())
@example(DEMO)
def test_what_reads_in_spite_of_damage_is_valid(text: str) -> None:
    try:
        parse_catalogue(text)
    except CatalogueError:
        return
    assert refused("catalogue", text) == []


def test_parts_of_a_catalogue_may_lie_in_included_files() -> None:
    assert refused("catalogue", "catalogue: tried\nbus: {bit_rate: 1 Mbit/s}\ninclude: rest.yaml\n") == []
    assert refused("catalogue", "nodes: {panel: {}}\n") == []
    assert refused("catalogue", "nodes: {panel: {}}\nrevision: 2\n") != []
    assert refused("catalogue", "include: rest.yaml\nbus: {bit_rate: 1 Mbit/s}\n") != []


# What does not read for its shape is not valid.

SHAPE_RULES = ("unknown-key", "missing-key", "wrong-value", "wrong-unit")
ONE_KIND = "to JSON, 12.0 is the whole number 12"
TEXT_KEYS = "a key of JSON is always a text"
LIMITS = "a pattern of the text does not weigh the quantity"
BEYOND_A_SCHEMA = {
    "12.0": ONE_KIND,
    "name is a number": TEXT_KEYS,
    "name is null": TEXT_KEYS,
    "zero": LIMITS,
    "negative": LIMITS,
    "finer than time": LIMITS,
    "longer than time": LIMITS,
    "Mega for kilo": LIMITS,
    "outside the bit": LIMITS,
    "tolerance": LIMITS,
    "clock": LIMITS,
}
SHAPES = [broken for broken in ALL if broken.rule in SHAPE_RULES]


@pytest.mark.parametrize("broken", SHAPES, ids=lambda broken: broken.what)
def test_a_broken_shape_is_refused_where_a_schema_can_know(broken: Broken) -> None:
    is_refused = bool(refused("catalogue", broken.text.replace("§", "")))
    assert is_refused is not (broken.what in BEYOND_A_SCHEMA), BEYOND_A_SCHEMA.get(broken.what)


def test_each_exception_is_one_of_the_broken() -> None:
    assert set(BEYOND_A_SCHEMA) <= {broken.what for broken in SHAPES}


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (messages("m: {every: 1 s}"), "messages/m: "),
        (messages("m: {for_each: {id: [1, 2]}, every: 1 s}"), "messages/m: "),
        (messages("m: {for_each: {from: [panel, 5]}, every: 1 s}"), "messages/m/for_each/from/1: 5 is not of type"),
        (messages("m: {for_each: {leg: []}, from: panel, every: 1 s}"), "messages/m/for_each/leg: "),
        (messages("m: {for_each: {}, from: panel, every: 1 s}"), "messages/m/for_each: "),
        (signals("s: {factor: 2}"), "messages/report/signals/s: "),
        (signals("s: {bits: 8, resolution: 0}"), "messages/report/signals/s/resolution: "),
        (signals("s: {bits: 8, codes: {on: 1}}"), "messages/report/signals/s/codes: "),
        (HEAD + "signal_types: {p: {bit: 8}}\nmessages: {m: {from: panel, every: 1 s}}", "signal_types/p: "),
        (HEAD + "signal_types: {p: {type: q}}\nmessages: {m: {from: panel, every: 1 s}}", "signal_types/p: "),
        (HEAD + "codes: {lamp: {dark: 0}}\nmessages: {m: {from: panel, every: 1 s}}", "codes/lamp"),
    ],
)
def test_a_catalogue_is_refused_at_its_place(text: str, said: str) -> None:
    found = refused("catalogue", text)
    assert found
    assert all(one.startswith(said) for one in found), found


def test_a_signal_may_leave_its_bits_to_its_type() -> None:
    assert refused("catalogue", signals("s: {type: percent}")) == []


@pytest.mark.parametrize(
    ("line", "at"),
    [
        ("fault: []", ": "),
        ("drift: {door_left: 0.3}", "drift: "),
        ("payload: {door_report: 0102}", "payload: "),
        ("payload: ones", "payload: "),
        ("models: {panel: {leg: left}}", "models/panel: "),
        ("models: {panel: panel}", "models/panel: "),
        ("steps: [{at: 1 s, set: {panel.x: [1]}}]", "steps/0/set/panel.x: "),
        ("steps: [{at: 1, set: {panel.x: 1}}]", "steps/0/at: "),
        ("faults: [{at: 1 s, kind: silant, node: panel}]", "faults/0/kind: "),
        ("expect: [{name: n}]", "expect/0: "),
        ("expect: [{name: n, never: a, always: b}]", "expect/0: "),
        ("expect: [{name: n, after: a, within: 1 s}]", "expect/0: "),
        ("jitter: often", "jitter: "),
        ("seed: -1", "seed: "),
    ],
)
def test_a_scenario_is_refused_at_its_place(line: str, at: str) -> None:
    found = refused("scenario", f"scenario: s\ncatalogue: c.yaml\nrun_for: 1 s\n{line}\n")
    assert found
    assert all(one.startswith(at) for one in found), found


# Patterns agree with ``units``.

UNITS = re.findall(r"\S+", "s ms us µs μs sec min h bit/s kbit/s MHz m cm ohm kΩ Ω % ppm percent S kbps m/s")
NUMBERS = st.from_regex(r"[+-]?([0-9]{1,5}(\.[0-9]{0,3})?|\.[0-9]{1,3})([eE][+-]?[0-9]{1,3})?", fullmatch=True)
SPACES = st.sampled_from(["", " ", "  ", "\t", "\u00a0"])
QUANTITY_TEXTS = st.one_of(
    st.tuples(SPACES, NUMBERS, SPACES, st.sampled_from([*UNITS, ""]), SPACES).map("".join),
    st.text("0123456789.eE+-, msunhkbitMHzohmpΩ%/\n", max_size=12),
    st.text(max_size=6),
)


def reads(text: str, kind: str) -> bool:
    try:
        read_quantity(text, kind)
    except QuantityError:
        return False
    return True


@settings(max_examples=60, deadline=None)
@given(QUANTITY_TEXTS, st.sampled_from(QUANTITIES))
@example("1e5 ms", "duration")
@example("1e555 ms", "duration")
@example("5 " + " " * 40 + "ms", "duration")
@example("1 kΩ", "resistance")
@example("1,5 ms", "duration")
@example("50", "ratio")
def test_a_pattern_matches_what_is_read_and_nothing_else(text: str, kind: str) -> None:
    pattern = quantity_form(kind)[0]
    matches = len(text) <= MAX_CHARACTERS and bool(re.search(pattern, text))
    assert matches is reads(text, kind)


@settings(max_examples=80, deadline=None)
@given(st.data(), st.sampled_from(QUANTITIES))
def test_what_a_pattern_matches_is_read(data: st.DataObject, kind: str) -> None:
    text = data.draw(st.from_regex(quantity_form(kind)[0], fullmatch=True))
    assert reads(text, kind) is (len(text) <= MAX_CHARACTERS)


@pytest.mark.parametrize("kind", QUANTITIES)
def test_the_example_of_a_quantity_is_one(kind: str) -> None:
    assert reads(quantity_form(kind)[1], kind)


def test_numbers_in_other_bases_are_whole_numbers() -> None:
    assert refused("catalogue", signals("s: {bits: 0o10}")) == []
    assert "0x110" in SCHEMAS["catalogue"]["$comment"]
    assert as_an_editor_has_it("id: 0x110") == {"id": 272}
