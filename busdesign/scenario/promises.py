"""Reading ``expect``: what must hold."""

from typing import Literal

from busdesign.catalogue.source import Trail
from busdesign.scenario.draft import ExpectationWritten
from busdesign.scenario.expression import Expression
from busdesign.scenario.grammar import ExpressionError, parse
from busdesign.scenario.model import Expectation
from busdesign.scenario.sections import Sections

_KINDS: tuple[Literal["never", "always", "after"], ...] = ("never", "always", "after")


def read_expectations(sections: Sections) -> tuple[Expectation, ...]:
    """The expectations in the order written."""
    first_line: dict[str, int] = {}
    expectations = []
    for trail, written in sections.entries("expect", ExpectationWritten):
        where = sections.source.of_value((*trail, "name"))
        if written.name in first_line:
            text = f"`{written.name}` names a second expectation (first in line {first_line[written.name]})"
            sections.complain("duplicate-name", where, text, "each verdict is known by its name; give another")
        first_line.setdefault(written.name, where.line)
        expectation = _expectation(trail, written, sections)
        if expectation is not None:
            expectations.append(expectation)
    return tuple(expectations)


def _expectation(trail: Trail, written: ExpectationWritten, sections: Sections) -> Expectation | None:
    texts = {key: text for key in (*_KINDS, "then") if (text := getattr(written, key)) is not None}
    parsed = {key: _parsed(text, (*trail, key), sections) for key, text in texts.items()}
    kinds = [kind for kind in _KINDS if kind in texts]
    if not kinds:
        text = "an expectation needs one of `never`, `always` and `after`"
        sections.complain("expectation", sections.source.of_value(trail), text, 'such as `never: "panel.alarm"`')
    for extra in kinds[1:]:
        where = sections.source.of_key((*trail, extra))
        sections.complain("expectation", where, f"`{extra}` beside `{kinds[0]}`", "make two expectations of it")
    if len(kinds) != 1:
        return None
    kind = kinds[0]
    complete = _check_after(trail, written, kind == "after", sections)
    when, judged = parsed[kind], parsed.get("then" if kind == "after" else kind)
    if when is None or judged is None or not complete:
        return None
    if not judged.names:
        text = "this speaks of nothing that could change"
        sections.complain("expectation", judged.place_at(0) or sections.source.of_value(trail), text, "name something")
    return Expectation(written.name, kind, when, written.within, parsed.get("then"), sections.source.of_value(trail))


def _parsed(text: str, trail: Trail, sections: Sections) -> Expression | None:
    try:
        return parse(text, sections.source.of_value(trail))
    except ExpressionError as refused:
        sections.findings.append(refused.finding)
        return None


def _check_after(trail: Trail, written: ExpectationWritten, is_after: bool, sections: Sections) -> bool:
    """Whether ``within`` and ``then`` are there exactly where they belong."""
    source, complete = sections.source, True
    for key, example in (("within", "300 ms"), ("then", '"panel.lamp == red"')):
        present = getattr(written, key) is not None
        if is_after and not present:
            text = f"`after` needs `{key}`"
            sections.complain("missing-key", source.of_key((*trail, "after")), text, f"add `{key}: {example}`")
            complete = False
        if present and not is_after:
            text = f"`{key}` goes with `after` only"
            sections.complain("expectation", source.of_key((*trail, key)), text, "leave it out, or write `after`")
            complete = False
    sections.check_in_run(written.within, (*trail, "within"), end_included=True)
    return complete
