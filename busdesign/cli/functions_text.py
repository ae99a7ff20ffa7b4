"""End-to-end promises as tables: what each takes in the worst case, and in a run."""

from math import floor
from typing import TYPE_CHECKING

from busdesign.cli.text import figure, printable, table

if TYPE_CHECKING:
    from busdesign.answers.check import CheckAnswer
    from busdesign.answers.functions import FunctionAnswer
    from busdesign.answers.functions_run import FunctionRun
    from busdesign.answers.simulate import SimulateAnswer


def functions_text(found: "CheckAnswer") -> list[str]:
    """A table of the functions of a catalogue, and what it takes for granted; nothing where there are none."""
    if not found.functions:
        return []
    heads = ("function", "promise", "worst ms", "within ms", "margin", "costs most")
    lines = [table(heads, [row for function in found.functions for row in _rows(function)], left=(0, 1, 5))]
    nodes = list(dict.fromkeys(node for function in found.functions for node in function.without_processing))
    if nodes:
        lines.append(f"processing is counted as 0, since none is declared, in {printable(', '.join(nodes))}")
    return lines


def _rows(function: "FunctionAnswer") -> list[tuple[str, ...]]:
    from busdesign.answers.functions import stage_words

    costliest = function.costliest
    costs = f"{stage_words(costliest.what, costliest.of)}, {figure(costliest.worst_ms)} ms" if costliest else "-"
    rows: list[tuple[str, ...]] = [
        (printable(function.name), "reaction", *_held(function.bound_ms, function.within_ms), costs)
    ]
    if function.age_ms is not None:
        rows.append(("", "age", *_held(function.age_bound_ms, function.age_ms), ""))
    if function.skew_ms is not None:
        rows.append(("", "skew", *_held(function.skew_bound_ms, function.skew_ms), ""))
    return rows


def _held(bound_ms: float | None, promised_ms: float) -> tuple[str, str, str]:
    margin = "-" if bound_ms is None else f"{floor((1 - bound_ms / promised_ms) * 100)} %"
    return figure(bound_ms), f"{promised_ms:g}", margin


def function_runs_text(found: "SimulateAnswer") -> list[str]:
    """A table of what a run showed of each function beside its bound; nothing where there are none."""
    if not found.functions:
        return []
    heads = ("function", "slowest ms", "bound ms", "oldest ms", "bound ms", "effects seen", "slowest ms", "within ms")
    return [table(heads, [_run_row(function) for function in found.functions])]


def _run_row(function: "FunctionRun") -> tuple[str, ...]:
    return (
        printable(function.name),
        figure(function.reaction_ms),
        figure(function.bound_ms),
        figure(function.age_ms),
        figure(function.age_bound_ms),
        f"{function.effects} of {function.causes}",
        figure(function.effect_ms),
        f"{function.within_ms:g}",
    )
