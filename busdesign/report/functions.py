"""End-to-end promises: what each takes in the worst case, what costs most of it, and what the runs saw."""

from collections.abc import Sequence
from math import floor

from busdesign.answers.check import CheckAnswer
from busdesign.answers.functions import FunctionAnswer, stage_words
from busdesign.answers.functions_run import FunctionRun
from busdesign.answers.simulate import SimulateAnswer
from busdesign.report.markup import code, counted, milliseconds, prose, table, text
from busdesign.report.verdict import BROKEN_SIGN, HOLDS_SIGN, OPEN_SIGN


def functions_section(check: CheckAnswer, runs: Sequence[SimulateAnswer]) -> str:
    """A table with one line for each function; nothing where the catalogue has none."""
    if not check.functions:
        return ""
    heads = ["function", "path", "reaction, ms", "within, ms", "margin", "age, ms", "skew, ms", "kept", "costs most"]
    heads += ["slowest seen, ms", "slowest effect seen, ms"] if runs else []
    rows = [(*_row(function), *_seen(function.name, runs)) for function in check.functions]
    return (
        '<section id="functions"><h2>End-to-end promises</h2>\n'
        "<p>From the first step of a path to the first effect at its last one, in the worst case: each node takes its "
        "whole processing, each release is just missed, each frame takes its bound. Age is that of the oldest value "
        "acted on, skew the most between effects of one cause.</p>\n"
        f"{_assumed(check.functions)}{table('End-to-end promises', heads, rows, {2, 3, 4, 5, 6, 9, 10})}</section>"
    )


def _row(function: FunctionAnswer) -> tuple[str, ...]:
    costliest = function.costliest
    margin = "" if function.margin is None else f"{floor(function.margin * 100)} %"
    return (
        code(function.name),
        " ".join(code(step) for step in function.path),
        milliseconds(function.bound_ms),
        f"{function.within_ms:g}",
        margin,
        _promised(function.age_bound_ms, function.age_ms),
        _promised(function.skew_bound_ms, function.skew_ms),
        _kept(function),
        f"{text(stage_words(costliest.what, costliest.of))}, {milliseconds(costliest.worst_ms)} ms"
        if costliest
        else text(function.why_not),
    )


def _promised(bound_ms: float | None, promised_ms: float | None) -> str:
    return "" if promised_ms is None else f"{milliseconds(bound_ms)} of {promised_ms:g}"


def _kept(function: FunctionAnswer) -> str:
    if function.holds is None:
        return f'<span class="open">{OPEN_SIGN} no bound</span>'
    if function.holds:
        return f'<span class="holds">{HOLDS_SIGN} yes</span>'
    return f'<span class="broken">{BROKEN_SIGN} no</span>'


def _seen(name: str, runs: Sequence[SimulateAnswer]) -> tuple[str, ...]:
    if not runs:
        return ()
    seen: list[FunctionRun] = [function for run in runs for function in run.functions if function.name == name]
    slowest = [function.reaction_ms for function in seen if function.reaction_ms is not None]
    effects = [function.effect_ms for function in seen if function.effect_ms is not None]
    count = sum(function.effects for function in seen)
    return (
        milliseconds(max(slowest)) if slowest else "",
        f"{milliseconds(max(effects))} of {counted(count, 'effect')}" if effects else "",
    )


def _assumed(functions: Sequence[FunctionAnswer]) -> str:
    nodes = dict.fromkeys(node for function in functions for node in function.without_processing)
    if not nodes:
        return ""
    return f'<p class="note">Processing is counted as 0, since none is declared, in {prose(", ".join(nodes))}.</p>\n'
