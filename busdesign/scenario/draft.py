"""A scenario as written: what each key may hold, before it is held against its catalogue.

These pydantic models are the single statement of the YAML's shape; the JSON Schema is made from them.
"""

from typing import Annotated, Any, get_args

from pydantic import ConfigDict, Field, PlainValidator, WithJsonSchema

from busdesign.catalogue.json_shapes import quantity_schema
from busdesign.catalogue.written import Comment, Duration, Name, PositiveDuration, Written
from busdesign.findings import Refused, nearest, shown
from busdesign.scenario.draft_faults import FaultWritten
from busdesign.scenario.model import DriftWord, Filling, JitterWord, PhaseWord

DRIFTS: tuple[str, ...] = get_args(DriftWord)
JITTERS: tuple[str, ...] = get_args(JitterWord)
PHASES: tuple[str, ...] = get_args(PhaseWord)
FILLINGS: tuple[str, ...] = get_args(Filling)
MAX_SEED = 2**63 - 1


def _one_of(written: object, words: tuple[str, ...], also: str = "") -> str:
    if isinstance(written, str) and written in words:
        return written
    allowed = ", ".join(f"`{word}`" for word in words) + also
    near = nearest(written, words) if isinstance(written, str) else None
    raise Refused(f"expected {allowed}, found {shown(written)}", f"did you mean `{near}`?" if near else "")


def _word_or_mapping(written: object, words: tuple[str, ...], example: str) -> object:
    return written if isinstance(written, dict) else _one_of(written, words, f" or a mapping such as `{example}`")


def _expression(written: object) -> str:
    if isinstance(written, bool):
        return "true" if written else "false"
    if not isinstance(written, str):
        raise Refused(f"expected an expression, found {shown(written)}", 'write one such as `"panel.lamp == red"`')
    return written


def _value(written: object) -> object:
    if isinstance(written, bool | int | float | str):
        return written
    raise Refused(
        f"expected a word, a number, `true` or `false`, found {shown(written)}", "give one value, such as `up`"
    )


_BYTES = {"type": "string", "pattern": r"^\s*(?:[0-9a-fA-F]{2}\s*)*$", "examples": ["0102"]}
_OTHERS = "of the messages that are not named: `zero` or `random`"
_MODEL = {"type": "string", "pattern": r".:[A-Za-z_][A-Za-z0-9_]*$", "examples": ["sim/panel.py:Panel"]}

Payload = Annotated[
    Any,
    PlainValidator(lambda written: _word_or_mapping(written, FILLINGS, '{leg_report_nose: "0102"}')),
    WithJsonSchema(
        {
            "anyOf": [
                {"enum": [*FILLINGS]},
                {
                    "type": "object",
                    "properties": {"others": {"anyOf": [{"enum": [*FILLINGS]}, _BYTES], "description": _OTHERS}},
                    "additionalProperties": _BYTES,
                },
            ],
            "examples": ["random", {"leg_report_nose": "0102", "others": "zero"}],
        }
    ),
]
Drift = Annotated[
    Any,
    PlainValidator(lambda written: _word_or_mapping(written, DRIFTS, "{strut_left: +0.3 %}")),
    WithJsonSchema(
        {
            "anyOf": [
                {"enum": [*DRIFTS]},
                {"type": "object", "additionalProperties": quantity_schema("ratio", "+0.3 %", "-20 ppm")},
            ],
            "examples": ["worst", {"strut_left": "+0.3 %"}],
        }
    ),
]
Jitter = Annotated[
    Any, PlainValidator(lambda written: _one_of(written, JITTERS)), WithJsonSchema({"enum": list(JITTERS)})
]
Phases = Annotated[
    Any, PlainValidator(lambda written: _one_of(written, PHASES)), WithJsonSchema({"enum": list(PHASES)})
]
ExpressionText = Annotated[str, PlainValidator(_expression), WithJsonSchema({"type": ["string", "boolean"]})]
SetValue = Annotated[Any, PlainValidator(_value), WithJsonSchema({"type": ["string", "number", "boolean"]})]
ModelWritten = Annotated[
    Any,
    WithJsonSchema(
        {
            "anyOf": [
                _MODEL,
                {
                    "type": "object",
                    "properties": {"model": {**_MODEL, "description": "a file under the project, and a class in it"}},
                    "required": ["model"],
                },
            ],
            "examples": ["sim/panel.py:Panel", {"model": "sim/strut.py:Strut", "leg": "left"}],
        }
    ),
]


def _one_kind(schema: dict[str, Any]) -> None:
    """An expectation has the keys of one kind."""
    schema["oneOf"] = [{"required": keys} for keys in (["never"], ["always"], ["after", "within", "then"])]


class StepWritten(Written):
    """One entry of ``steps``."""

    at: Duration = Field(description="when, such as `1 s`")
    sets: dict[Name, SetValue] = Field(
        alias="set", description="what takes which value, such as `{panel.switch: up}`", min_length=1
    )
    comment: Comment = ""


class ExpectationWritten(Written):
    """One entry of ``expect``: one of ``never``, ``always`` and ``after`` (with ``within`` and ``then``)."""

    model_config = ConfigDict(json_schema_extra=_one_kind)

    name: Name = Field(description="what it says, in a few words")
    never: ExpressionText | None = Field(None, description="what must be true at no moment")
    always: ExpressionText | None = Field(None, description="what must be true at every moment")
    after: ExpressionText | None = Field(None, description="each time this becomes true ...")
    within: Duration | None = Field(None, description="... at most this much later, such as `300 ms` ...")
    then: ExpressionText | None = Field(None, description="... this is true at least once")
    comment: Comment = ""


class ScenarioWritten(Written):
    """The whole file.

    Entries of ``models``, ``payload`` and ``drift`` are read one by one.
    """

    scenario: Name = Field(description="its name, in a few words")
    catalogue: Name = Field(description="the catalogue's file, seen from this one")
    run_for: PositiveDuration = Field(description="how long, such as `12 s`")
    seed: int = Field(1, description="of everything random, such as `7`", ge=0, le=MAX_SEED)
    payload: Payload = Field("random", description="of nodes without a model, such as `random`")
    models: dict[Name, ModelWritten] = Field({}, description="such as `{panel: sim/panel.py:Panel}`")
    steps: list[StepWritten] = Field([], description="such as `[{at: 1 s, set: {panel.switch: up}}]`")
    faults: list[FaultWritten] = Field([], description="such as `[{at: 3 s, kind: silent, node: strut_left}]`")
    expect: list[ExpectationWritten] = Field([], description='such as `[{name: no alarm, never: "panel.alarm"}]`')
    drift: Drift = Field("none", description="of the nodes' clocks, such as `none`")
    jitter: Jitter = Field("random", description="how late releases are, such as `random`")
    phases: Phases = Field("declared", description="when the nodes start, such as `declared`")
    comment: Comment = ""
