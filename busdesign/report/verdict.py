"""The head of the page: what was judged, the verdict in one sentence, and what is broken, where, and how to mend it."""

from collections.abc import Iterable, Sequence

from busdesign.answers.check import CheckAnswer
from busdesign.answers.simulate import ExpectationAnswer, SimulateAnswer
from busdesign.findings import Finding, Severity
from busdesign.report.markup import counted, marked, prose, table, text
from busdesign.units import format_bit_rate, format_ratio

BROKEN_SIGN, HOLDS_SIGN, OPEN_SIGN = "\u2717", "\u2713", "\u25cb"


def title_block(check: CheckAnswer, dated: str) -> str:
    """Catalogue, revision, bit rate."""
    definition = check.definition
    facts = [
        f"revision {text(check.revision)}",
        text(format_bit_rate(definition.bus.bit_rate_bit_s)),
        counted(len(definition.nodes), "node"),
        counted(len(definition.messages), "message"),
        *([text(dated)] if dated else []),
    ]
    comment = f"<p>{prose(definition.comment)}</p>" if definition.comment else ""
    return f'<header><h1>{text(check.catalogue)}</h1>\n<p class="facts">{" · ".join(facts)}</p>\n{comment}</header>'


def verdict_section(check: CheckAnswer, runs: Sequence[SimulateAnswer]) -> str:
    """One sentence, then everything that does not hold, then what is worth a look."""
    holds = check.holds and all(run.holds for run in runs)
    findings = [*check.findings, *(found for run in runs for found in run.findings)]
    broken = [found for found in dict.fromkeys(findings) if found.severity is not Severity.ADVICE]
    advice = [found for found in dict.fromkeys(findings) if found.severity is Severity.ADVICE]
    parts = [
        verdict_line(holds, sentence(check, runs)),
        _list("Broken promises", broken),
        _not_held(runs),
        _overview(runs),
        _list("Worth a look", advice),
    ]
    return f'<section id="verdict"><h2>Verdict</h2>\n{"".join(parts)}</section>'


def verdict_line(holds: bool, said: str) -> str:
    """A verdict that is told by sign, words and colour alike."""
    kind, sign = ("holds", HOLDS_SIGN) if holds else ("broken", BROKEN_SIGN)
    return f'<p class="verdict {kind}"><span aria-hidden="true">{sign}</span> {said}</p>\n'


def sentence(check: CheckAnswer, runs: Sequence[SimulateAnswer]) -> str:
    """The verdict in words."""
    failed = sum(not run.holds for run in runs)
    if check.holds and not failed:
        if not runs:
            return "It holds: the catalogue keeps all its promises in the worst case. No scenario was run."
        done = "the one scenario" if len(runs) == 1 else f"all {len(runs)} scenarios"
        return f"It holds: the catalogue keeps all its promises in the worst case, and {done} went as expected."
    count = sum(found.severity is not Severity.ADVICE for found in check.findings)
    about_catalogue = (
        "the catalogue keeps all its promises in the worst case"
        if check.holds
        else f"{counted(count, 'promise')} of the catalogue {'is' if count == 1 else 'are'} broken"
    )
    if not runs:
        return f"It does not hold: {about_catalogue}. No scenario was run."
    if not failed:
        return f"It does not hold: {about_catalogue}; {_of_all(len(runs), len(runs))} went as expected."
    join = "but" if check.holds else "and"
    return f"It does not hold: {about_catalogue}, {join} {_of_all(failed, len(runs))} did not go as expected."


def _of_all(some: int, all_of_them: int) -> str:
    if all_of_them == 1:
        return "the one scenario"
    return f"all {some} scenarios" if some == all_of_them else f"{some} of {all_of_them} scenarios"


def finding_list(findings: Iterable[Finding]) -> str:
    """Each finding: its place, what is wrong, the line it is about, what would mend it."""
    return "\n".join(f"<li>{_finding(found)}</li>" for found in findings)


def _list(heading: str, findings: Sequence[Finding]) -> str:
    if not findings:
        return ""
    return f'<h3>{heading}</h3>\n<ul class="findings">\n{finding_list(findings)}\n</ul>\n'


def _finding(found: Finding) -> str:
    where, quoted = "", ""
    if found.where:
        where = f'<span class="place">{text(found.where)}</span> '
        if found.where.quoted.strip():
            quoted = f"<pre>{text(found.where.quoted.strip())}</pre>"
    mend = f'<p class="mend">To mend it: {marked(found.fix)}</p>' if found.fix else ""
    return f'<p>{where}<span class="rule">{text(found.rule)}</span></p><p>{marked(found.text)}</p>{quoted}{mend}'


def status_of(expected: ExpectationAnswer) -> tuple[str, str]:
    """A sign and words for what became of an expectation; what could not be said is told as its text begins."""
    if expected.holds is None:
        return OPEN_SIGN, expected.text.partition(":")[0]
    return (HOLDS_SIGN, "holds") if expected.holds else (BROKEN_SIGN, "broken")


def _not_held(runs: Sequence[SimulateAnswer]) -> str:
    items = []
    for number, run in enumerate(runs, 1):
        missed = [expected for expected in run.expectations if not expected.holds]
        if missed:
            said = "".join(
                f"<p>{status_of(expected)[0]} {text(expected.name)}: {marked(expected.text)}</p>" for expected in missed
            )
            items.append(f'<li><p><a href="#run-{number}">{text(run.scenario)}</a></p>{said}</li>')
    if not items:
        return ""
    return f'<h3>Expectations that were not met</h3>\n<ul class="findings">\n{"".join(items)}\n</ul>\n'


def _overview(runs: Sequence[SimulateAnswer]) -> str:
    if not runs:
        return ""
    rows = []
    for number, run in enumerate(runs, 1):
        met = sum(bool(expected.holds) for expected in run.expectations)
        sign = f"{HOLDS_SIGN} holds" if run.holds else f"{BROKEN_SIGN} does not hold"
        share = f"{met} of {len(run.expectations)}" if run.expectations else "nothing was expected"
        rows.append(
            (
                f'<a href="#run-{number}">{text(run.scenario)}</a>',
                f'<span class="{"holds" if run.holds else "broken"}">{sign}</span>',
                share,
                f"{run.duration_s:g} s",
                counted(run.frames, "frame"),
                format_ratio(run.load_busiest_100ms),
            )
        )
    heads = ("scenario", "verdict", "expectations met", "simulated", "on the wire", "busiest 100 ms")
    return table("Scenarios that were run", heads, rows, {3, 4, 5})
