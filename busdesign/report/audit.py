"""The page of an audit: the verdict, what is wrong, what was measured, what could not be seen, and the cautions."""

import os
from collections.abc import Sequence
from pathlib import Path

from busdesign.answers.audit_answer import AuditAnswer, AuditFinding
from busdesign.answers.audit_functions import FunctionSeen
from busdesign.answers.audit_pictures import audit_picture
from busdesign.answers.simulate import ExpectationAnswer
from busdesign.findings import Severity
from busdesign.outputs import write_text
from busdesign.report.audit_periods import periods_section
from busdesign.report.audit_view import over_time_section
from busdesign.report.cautions import cautions_section
from busdesign.report.markup import code, counted, folded, marked, milliseconds, seconds, table, text
from busdesign.report.page import html_page
from busdesign.report.verdict import finding_list, status_of, verdict_line
from busdesign.units import format_bit_rate, format_duration, format_ratio

DOT = " \u00b7 "


def write_audit_report(path: str | os.PathLike[str], answer: AuditAnswer) -> Path:
    """Write the page to ``path``, whole or not at all. Raises OutputError."""
    write_text(path, render_audit_report(answer))
    return Path(path)


def render_audit_report(answer: AuditAnswer) -> str:
    """The page as HTML: the same for the same answer."""
    picture = audit_picture(answer)
    sections = [
        _title(answer),
        _verdict(answer, picture.start_ns),
        _expectations(answer, picture.start_ns),
        over_time_section(answer, picture),
        periods_section(answer, picture),
        _loads(answer),
        _functions(answer),
        _patch(answer),
        _not_seen(answer),
        cautions_section(answer.definition),
    ]
    return html_page(f"{text(Path(answer.capture).name)}: audit", [section for section in sections if section])


def _title(answer: AuditAnswer) -> str:
    facts = [
        f"against {text(answer.catalogue)}, revision {text(answer.definition.revision)}",
        *([text(answer.scenario)] if answer.scenario else []),
        text(format_bit_rate(answer.definition.bus.bit_rate_bit_s)),
        counted(answer.frames, "frame"),
        f"{answer.duration_s:g} s",
        f"mean load {format_ratio(answer.load_mean)}",
        *([f"{counted(answer.bad_lines, 'line')} could not be read"] if answer.bad_lines else []),
    ]
    zero = ""
    if answer.zero_ns:
        at = f"{answer.zero_ns / 1e9:.6f} s"
        zero = f'<p class="note">Times count from {at} of the recorder\u2019s clock, its first frame.</p>'
    notices = "".join(f"<p>{text(notice)}</p>" for notice in answer.notices)
    return (
        f"<header><h1>{text(Path(answer.capture).name)}</h1>\n"
        f'<p class="facts">{DOT.join(facts)}</p>\n{zero}{notices}</header>'
    )


def _verdict(answer: AuditAnswer, start_ns: int) -> str:
    return (
        f'<section id="verdict"><h2>Verdict</h2>\n{verdict_line(answer.holds, _sentence(answer))}'
        f"{_summary(answer.findings, start_ns)}{_in_full(answer.findings)}</section>"
    )


def _sentence(answer: AuditAnswer) -> str:
    broken = sum(found.severity is Severity.BROKEN for found in answer.findings)
    failed = sum(expected.holds is False for expected in answer.expectations)
    parts = [f"{counted(broken, 'promise')} of the catalogue {'is' if broken == 1 else 'are'} broken"] if broken else []
    parts += (
        [f"{counted(failed, 'expectation')} of the scenario {'is' if failed == 1 else 'are'} broken"] if failed else []
    )
    if parts:
        return f"It does not hold: {' and '.join(parts)} in this capture."
    return "It holds: this capture shows nothing that breaks a promise."


def _summary(findings: Sequence[AuditFinding], start_ns: int) -> str:
    if not findings:
        return ""
    words = {Severity.BROKEN: ("broken", "\u2717 broken"), Severity.ADVICE: ("open", "\u25cb advice")}
    rows = [
        (
            code(found.rule),
            f'<span class="{words[found.severity][0]}">{words[found.severity][1]}</span>',
            code(found.subject) if found.subject else "the bus",
            f"{found.count:,}".replace(",", "\u202f"),
            _when(found.first_at_s, start_ns),
            "" if found.first_frame is None else str(found.first_frame),
            code(found.frame) if found.frame else "",
        )
        for found in findings
    ]
    heads = ("rule", "severity", "about", "times", "first at", "frame number", "frame")
    return table("What was found", heads, rows, {3, 4, 5})


def _when(at_s: float | None, start_ns: int) -> str:
    """A button that shows that moment; the rows count their time from ``start_ns``."""
    if at_s is None:
        return ""
    at_ns = round(at_s * 1e9)
    return f'<button type="button" data-view="1" data-at="{max(at_ns - start_ns, 0)}">{seconds(at_ns)}</button>'


def _in_full(findings: Sequence[AuditFinding]) -> str:
    if not findings:
        return ""
    inner = f'<ul class="findings">\n{finding_list(found.finding for found in findings)}\n</ul>'
    return "<h3>In words</h3>\n" + inner if len(findings) <= 12 else folded("In words", inner)


def _expectations(answer: AuditAnswer, start_ns: int) -> str:
    if not answer.expectations:
        return ""
    seen = [expected for expected in answer.expectations if not _is_unseen(expected)]
    unseen = [expected for expected in answer.expectations if _is_unseen(expected)]
    rows = [
        (text(expected.name), _status(expected), _when(expected.at_s, start_ns), marked(expected.text))
        for expected in seen
    ]
    parts = [
        table(
            "Expectations that are on the wire", ("expectation", "outcome", "broken at", "in words"), rows, stacks=True
        )
    ]
    if not seen:
        parts = ["<p>None of the scenario\u2019s expectations speaks of the wire alone.</p>"]
    if unseen:
        items = "".join(
            f"<li>{text(expected.name)}: {marked(expected.text.partition(';')[0])}</li>" for expected in unseen
        )
        parts.append(folded(f"{counted(len(unseen), 'expectation')} that no capture shows", f"<ul>{items}</ul>"))
    return f'<section id="expectations"><h2>Expectations of the scenario</h2>\n{"".join(parts)}</section>'


def _is_unseen(expected: ExpectationAnswer) -> bool:
    return expected.holds is None and expected.text.startswith("not observable")


def _status(expected: ExpectationAnswer) -> str:
    sign, words = status_of(expected)
    kind = "open" if expected.holds is None else "holds" if expected.holds else "broken"
    return f'<span class="{kind}">{sign} {text(words)}</span>'


def _loads(answer: AuditAnswer) -> str:
    rows = [
        (
            text(format_duration(round(window.window_ms * 1e6))),
            format_ratio(window.load),
            f"{window.at_s:.3f} s",
            "none" if window.bound is None else format_ratio(window.bound),
            {True: "\u2713 yes", False: "\u2717 no", None: ""}[window.within_bound],
        )
        for window in answer.windows
    ]
    said = (
        f"The messages ask for {format_ratio(answer.load_nominal)} of the bus on average; this capture has "
        f"{format_ratio(answer.load_mean)}. Each window below is the fullest of its length, wherever it lies."
    )
    heads = ("window", "fullest", "which begins at", "at most", "in bound")
    return (
        f'<section id="load"><h2>Load</h2>\n<p>{said}</p>\n{table("Fullest windows", heads, rows, {1, 2, 3})}</section>'
    )


def _functions(answer: AuditAnswer) -> str:
    if not answer.functions:
        return ""
    said = (
        "From frame to frame: each node is taken to need its whole <code>processing</code>, and starts of frame stand "
        "in for releases, which no capture shows."
    )
    heads = ("function", "slowest, ms", "bound, ms", "promised, ms", "oldest, ms", "bound, ms", "moments", "in bound")
    rows = [_function(function) for function in answer.functions]
    inner = table("Functions", heads, rows, {1, 2, 3, 4, 5, 6})
    return f'<section id="functions"><h2>Promises from end to end</h2>\n<p>{said}</p>\n{inner}</section>'


def _function(function: FunctionSeen) -> tuple[str, ...]:
    return (
        code(function.name),
        milliseconds(function.reaction_ms),
        milliseconds(function.bound_ms),
        f"{function.within_ms:g}",
        milliseconds(function.age_ms),
        milliseconds(function.age_bound_ms),
        str(function.moments),
        {True: "\u2713 yes", False: "\u2717 no", None: ""}[function.within_bound],
    )


def _patch(answer: AuditAnswer) -> str:
    if not answer.patch:
        return ""
    lines = "<br>".join(text(line) for line in answer.patch.split("\n"))
    return (
        '<section id="patch"><h2>What the catalogue could say instead</h2>\n<p>An offer: a capture shows what '
        f"happened, not all that can.</p>\n<pre>{lines}</pre></section>"
    )


def _not_seen(answer: AuditAnswer) -> str:
    items = "".join(f"<li>{marked(line)}</li>" for line in answer.not_seen)
    return f'<section id="not-seen"><h2>What this capture cannot show</h2>\n<ul>{items}</ul></section>'
