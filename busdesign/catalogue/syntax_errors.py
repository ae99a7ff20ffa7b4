"""What the YAML parser complains of, in plain words, with a hint, and at the place to look at."""

import re
from dataclasses import dataclass

import yaml

from busdesign.catalogue.text_file import lines_of, place_in
from busdesign.findings import Edit, Finding, Place, error, shown


@dataclass(frozen=True, slots=True)
class _Saying:
    """How to say the parser's ``problem``: {line} is where what it was reading began; ``at_start``: look there."""

    problem: str
    text: str
    fix: str
    at_start: bool = False
    rule: str = "yaml-syntax"


_QUOTES = "put quotes round a text that holds `: `, or begins with a sign such as `%`, `@`, `*` or `&`"
_OF_A_COLON = ("could not find expected ':'", "mapping values are not allowed")
_LOOK_UP = "look for a missing quote, bracket or colon here or in the line above"
_TAB = "YAML indents with spaces, never with tabs"
_SAYINGS = (
    _Saying("found a tab character", "a tab stands where this line is indented", _TAB),
    _Saying("found unexpected end of stream", "a quote opened here is never closed", "close the quote", True),
    _Saying("found unexpected document indicator", "a quote opened here is never closed", "close the quote", True),
    _Saying(
        "did not find expected ',' or '}'", "the mapping begun in line {line} wants a `,` or a `}}` here", _LOOK_UP
    ),
    _Saying("did not find expected ',' or ']'", "the list begun in line {line} wants a `,` or a `]` here", _LOOK_UP),
    _Saying("did not find expected key", "this does not line up with the mapping begun in line {line}", _LOOK_UP),
    _Saying(
        "did not find expected '-' indicator", "this does not line up with the list begun in line {line}", _LOOK_UP
    ),
    _Saying("could not find expected ':'", "a `:` is missing after this word", "write `key: value`", True),
    _Saying("mapping values are not allowed", "a second `: ` in what is one value already", _QUOTES),
    _Saying(
        "block sequence entries are not allowed", "a list begun with `-` cannot start here", "give it its own line"
    ),
    _Saying("cannot start any token", "a value cannot begin with this character", _QUOTES),
    _Saying("found undefined alias", "this alias refers to nothing before it", "put `&name` before what it stands for"),
    _Saying("found duplicate anchor", "this anchor is given twice", "give one of the two another name"),
    _Saying("but found another document", "a second YAML document begins here", "one file is one document"),
    _Saying("exceeded maximum nesting depth", "nested too deeply", "40 levels are read", rule="yaml-depth"),
    _Saying("found unknown escape character", "no such escape exists in double quotes", "use single quotes, or `\\\\`"),
)
_NO_SPACE = re.compile(r"(?:- +)*(?P<key>\w+):(?P<value>[^\s/].*)")


def syntax_finding(refused: yaml.YAMLError, text: str, file: str) -> Finding:
    """A finding of what the parser refused in ``text``."""
    lines = lines_of(text)
    problem = str(getattr(refused, "problem", None) or refused).splitlines()[0]
    context = getattr(refused, "context", None) or ""
    mark, start = getattr(refused, "problem_mark", None), getattr(refused, "context_mark", None)
    said = f"{context} {problem}".strip()
    saying = next((known for known in _SAYINGS if known.problem in said), None)
    if saying is None:
        return error("yaml-syntax", _place(mark or start, lines, file), f"not readable as YAML: {said}", _LOOK_UP)
    where = _place(start if saying.at_start and start else mark or start, lines, file)
    glued = _key_without_space(where, saying.at_start, lines)
    if saying.problem in _OF_A_COLON and glued:
        return glued
    fix = _TAB if _tab_stands_at(where) else saying.fix
    return error(saying.rule, where, saying.text.format(line=start.line + 1 if start else where.line), fix)


def _key_without_space(where: Place, is_here: bool, lines: tuple[str, ...]) -> Finding | None:
    """A finding of ``id:0x110``, which YAML takes for one word, at ``where`` or in the line above; None if not so."""
    number = where.line if is_here else where.line - 1
    line = lines[number - 1] if number else ""
    found = _NO_SPACE.fullmatch(line.split(" #")[0].strip())
    if not found:
        return None
    at = place_in(lines, number - 1, line.index(found["key"]), where.file)
    text = f"no space follows the `:` of `{found['key']}`, so YAML takes all of it for one text"
    fix = f"write {shown(found['key'] + ': ' + found['value'])}, a space after the `:`"
    spaced = Edit(at.file, at.line, at.column, f"{found['key']}:", f"{found['key']}: ")
    return error("yaml-syntax", at, text, fix, spaced)


def _tab_stands_at(where: Place) -> bool:
    indent = where.quoted[: len(where.quoted) - len(where.quoted.lstrip())]
    return "\t" in indent


def _place(mark: yaml.Mark | None, lines: tuple[str, ...], file: str) -> Place:
    return place_in(lines, mark.line if mark else 0, mark.column if mark else 0, file)
