"""The files of a new project: ``busdesign/starter_templates/`` filled in, at the shortest period that the bus bears.

In a template ``$name`` stands for a value, and a line that speaks of ``$leg`` comes once for each reporting node.
"""

import re
from collections.abc import Mapping, Sequence
from pathlib import Path
from string import Template

from busdesign.answers.check import CheckAnswer, check
from busdesign.answers.new_names import Choices
from busdesign.answers.schema import schema_text
from busdesign.catalogue.reader import parse_catalogue
from busdesign.errors import InputError, OutputError
from busdesign.findings import Finding, Severity, counted
from busdesign.units import format_bit_rate, format_duration, format_ratio

PERIODS_MS = (50, 100, 200, 500)
LINE_LETTERS = 120  # of a line of Python, as in the rest of the house
NS_PER_MS = 1_000_000
MOST_LOAD = 0.4  # in the worst case, to leave room for what is still to come (common practice, no source)

CATALOGUE_TEMPLATE = "messages/catalogue.yaml"
SCENARIO_FILES = ("sim/scenarios/normal.yaml", "sim/scenarios/silence.yaml")
_AS_NAMED = ("README.md", "sim/panel.py", "sim/leg.py", *SCENARIO_FILES)
_SCHEMAS = {"messages/catalogue.schema.json": "catalogue", "sim/scenarios/scenario.schema.json": "scenario"}
_OF_EACH_LEG = re.compile(r"\$leg\b")


def catalogue_file(name: str) -> str:
    """Where the catalogue of a project of that name lies, seen from its folder."""
    return f"messages/{name}.yaml"


def project_files(choices: Choices) -> dict[str, str]:
    """The text of every file, by its path in the project. Raises InputError if the bus is too slow for the nodes."""
    values = _values(choices)
    texts = {catalogue_file(choices.name): _filled(CATALOGUE_TEMPLATE, values, choices)}
    texts |= {file: _filled(file, values, choices) for file in _AS_NAMED}
    return texts | {file: schema_text(kind) for file, kind in _SCHEMAS.items()}


def fit_findings(choices: Choices) -> list[Finding]:
    """What to say if the bit rate does not carry that many nodes."""
    return [] if _fitting(choices) else [_too_slow(choices)]


def _values(choices: Choices) -> dict[str, str]:
    fitting = _fitting(choices)
    if fitting is None:
        raise InputError([_too_slow(choices)])
    period_ms, checked = fitting
    return {**_values_at(choices, period_ms), "load": format_ratio(checked.bus.load_worst)}


def _fitting(choices: Choices) -> tuple[int, CheckAnswer] | None:
    """The shortest period at which the catalogue holds, and what its check says; None if there is none."""
    for period_ms in PERIODS_MS:
        checked = _checked(choices, period_ms)
        if checked.holds and checked.bus.load_worst <= MOST_LOAD:
            return period_ms, checked
    return None


def _checked(choices: Choices, period_ms: int) -> CheckAnswer:
    return check(parse_catalogue(_filled(CATALOGUE_TEMPLATE, _values_at(choices, period_ms), choices)))


def _too_slow(choices: Choices) -> Finding:
    load = _checked(choices, PERIODS_MS[-1]).bus.load_worst
    text = f"{choices.bit_rate} is too slow for {counted(len(choices.nodes), 'node')}"
    needed_bit_s = -(-int(choices.bit_rate_bit_s * load) // int(MOST_LOAD * 10_000)) * 10_000  # up to whole 10 kbit/s
    return Finding("wrong-value", Severity.ERROR, None, text, f"`{format_bit_rate(needed_bit_s)}` would carry them")


def _values_at(choices: Choices, period_ms: int) -> dict[str, str]:
    """What the templates' names stand for, if every message comes every ``period_ms``."""
    panel, *legs = choices.nodes
    offsets = (period_ms * (place + 1) // (len(legs) + 1) for place in range(len(legs)))
    lost_after_ms = 4 * period_ms
    return {
        "project": choices.name,
        "bit_rate": choices.bit_rate,
        "panel": panel,
        "first": legs[0],
        "legs": ", ".join(legs),
        "legs_in_python": _legs_in_python(legs),
        "lint": ""
        if legs == [leg.lower() for leg in legs]
        else "# ruff: noqa: N815 (the names have the capitals of their nodes)\n",
        "ids": ", ".join(f"0x{0x210 + place:X}" for place in range(len(legs))),
        "offsets": ", ".join(f"{offset} ms" for offset in offsets),
        "every": _duration(period_ms),
        "half": _duration(period_ms // 2),
        "lost_after": _duration(lost_after_ms),
        # How soon a scenario expects things: a look of the panel's, a period, and the frame itself.
        "reaches": _duration(2 * period_ms),
        "shown": _duration(2 * period_ms),
        "noticed": _duration(lost_after_ms + 100),
        "arrives": _duration(5000 + 2 * period_ms),
    }


def _legs_in_python(legs: Sequence[str]) -> str:
    """As a formatter would have it: on one line where that is long enough."""
    quoted = [f'"{leg}"' for leg in legs]
    line = f"LEGS = ({', '.join(quoted)}{',' if len(legs) == 1 else ''})"
    if len(line) <= LINE_LETTERS:
        return line
    return "\n".join(["LEGS = (", *(f"    {leg}," for leg in quoted), ")"])


def _duration(time_ms: int) -> str:
    return format_duration(time_ms * NS_PER_MS)


def _filled(file: str, values: Mapping[str, str], choices: Choices) -> str:
    lines: list[str] = []
    for line in _template(file).splitlines():
        each: tuple[str, ...] = choices.nodes[1:] if _OF_EACH_LEG.search(line) else ("",)
        lines += [Template(line).substitute(values, leg=leg) for leg in each]
    return "\n".join(lines) + "\n"


def _template(file: str) -> str:
    path = Path(__file__).resolve().parents[1] / "starter_templates" / f"{file}.txt"
    try:
        return path.read_text(encoding="utf-8")
    except OSError:
        raise OutputError("this installation came without the files of a new project; install it again") from None
