"""The small closed grammar of expectations, read by hand: nothing of an expression is ever run as code.

What stands in braces may be repeated or left out:

    either      = both {"or" both}
    both        = opposite {"and" opposite}
    opposite    = "not" opposite | "(" either ")" | statement
    statement   = name | "true" | "false" | operand operator operand
    operator    = "==" | "!=" | "<" | "<=" | ">" | ">="
    operand     = name | word | number | "true" | "false"
    name        = letters "." letters        such as strut_left.drive or leg_report.position
    word        = letters | 'any text'       such as up_locked: the name of a code
    number      = 12 | -3.5 | 1e3 | 0x1f     without a unit
"""

import math
import re
from dataclasses import dataclass
from typing import NoReturn

from busdesign.findings import Finding, Place, Severity, printable
from busdesign.scenario.expression import (
    And,
    Comparison,
    Condition,
    Constant,
    Expression,
    Name,
    Not,
    Number,
    Operand,
    Or,
    Word,
)

MAX_CHARACTERS = 2000
MAX_DEPTH = 40
MAX_DIGITS = 40

_TOKEN = re.compile(
    r"""\s*(?:
        (?P<name>[A-Za-z_][A-Za-z0-9_]*\.[A-Za-z_][A-Za-z0-9_]*)
      | (?P<word>[A-Za-z_][A-Za-z0-9_]*)
      | (?P<number>[+-]?0x[0-9A-Fa-f]+|[+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]+)?)
      | (?P<quoted>'[^'\n]*'|"[^"\n]*")
      | (?P<operator>==|!=|<=|>=|<(?![=>])|>(?![=<]))
      | (?P<bracket>[()])
      | (?P<other>=[><]|<>|&&|\|\||.)
    )""",
    re.VERBOSE | re.DOTALL,
)
_KEYWORDS = {"and", "or", "not", "true", "false"}
_OTHER_SPELLINGS = {
    "=": "==", "<>": "!=", "≠": "!=", "=<": "<=", "≤": "<=", "=>": ">=", "≥": ">=",
    "&&": "and", "&": "and", "||": "or", "|": "or", "!": "not", "~": "not",
}  # fmt: skip
_EXAMPLE = "`strut_left.drive == away_from_lock and not panel.ready`"


class ExpressionError(ValueError):
    """A text that is not an expression; ``finding`` says where and what belongs there."""

    def __init__(self, finding: Finding) -> None:
        super().__init__(finding.text)
        self.finding = finding


def parse(text: str, scalar: Place | None = None) -> Expression:
    """The expression in ``text``; ``scalar`` is where the YAML value that holds it begins. Raises ExpressionError."""
    start, one_line = _first_character(text, scalar)
    try:
        parser = _Parser(_tokens(text))
        root = parser.whole()
    except _Stumble as stumble:
        where, said = start, stumble.text
        if start is not None and one_line:
            where = Place(start.file, start.line, start.column + stumble.at, start.quoted)
        elif stumble.at:
            said += f" (character {stumble.at + 1} of the expression)"
        raise ExpressionError(
            Finding("expression", Severity.ERROR, where, printable(said), printable(stumble.fix))
        ) from None
    return Expression(text, root, tuple(parser.names), start, one_line)


def _first_character(text: str, scalar: Place | None) -> tuple[Place | None, bool]:
    """Where ``text`` begins behind a quote, and whether it stands in that line letter by letter."""
    if scalar is None:
        return None, True
    written = scalar.quoted[scalar.column - 1 :]
    shift = 1 if written[:1] in ('"', "'") and written[1:].startswith(text) else 0
    if not written[shift:].startswith(text):
        return scalar, False
    return Place(scalar.file, scalar.line, scalar.column + shift, scalar.quoted), True


@dataclass(frozen=True, slots=True)
class _Token:
    kind: str  # name, word, number, operator, bracket, keyword, other, end
    text: str
    at: int

    def __str__(self) -> str:
        return "the end" if self.kind == "end" else f"`{self.text}`"


class _Stumble(Exception):
    def __init__(self, at: int, text: str, fix: str = "") -> None:
        super().__init__(text)
        self.at, self.text, self.fix = at, text, fix


def _tokens(text: str) -> list[_Token]:
    if len(text) > MAX_CHARACTERS:
        raise _Stumble(0, f"an expression of {len(text)} characters; at most {MAX_CHARACTERS} are allowed")
    tokens, position, end = [], 0, len(text.rstrip())
    while position < end:
        match = _TOKEN.match(text, position)
        assert match is not None
        assert match.lastgroup is not None
        kind, found, at = match.lastgroup, match[match.lastgroup], match.start(match.lastgroup)
        if kind == "word" and found in _KEYWORDS:
            kind = "keyword"
        if kind == "quoted":
            kind, found = "word", found[1:-1]
        tokens.append(_Token(kind, found, at))
        position = match.end()
    return [*tokens, _Token("end", "", end)]


class _Parser:
    def __init__(self, tokens: list[_Token]) -> None:
        self._tokens, self._next, self._depth = tokens, 0, 0
        self.names: dict[str, None] = {}

    def whole(self) -> Condition:
        if self._here.kind == "end":
            raise _Stumble(0, "the expression is empty", f"write one such as {_EXAMPLE}")
        found = self._either()
        if self._here.kind != "end":
            self._expected("`and`, `or` or the end" if self._after_whole() else "a comparison, `and`, `or` or the end")
        return found

    @property
    def _here(self) -> _Token:
        return self._tokens[self._next]

    def _take(self, kind: str, text: str) -> bool:
        if (self._here.kind, self._here.text) != (kind, text):
            return False
        self._next += 1
        return True

    def _either(self) -> Condition:
        parts = [self._both()]
        while self._take("keyword", "or"):
            parts.append(self._both())
        return parts[0] if len(parts) == 1 else Or(tuple(parts))

    def _both(self) -> Condition:
        parts = [self._opposite()]
        while self._take("keyword", "and"):
            parts.append(self._opposite())
        return parts[0] if len(parts) == 1 else And(tuple(parts))

    def _opposite(self) -> Condition:
        opening = self._here
        if opening.text not in ("not", "(") or opening.kind not in ("keyword", "bracket"):
            return self._statement()
        self._depth += 1
        if self._depth > MAX_DEPTH:
            raise _Stumble(opening.at, f"nested more than {MAX_DEPTH} levels deep")
        self._next += 1
        found: Condition
        if opening.text == "not":
            found = Not(self._opposite())
        else:
            found = self._either()
            if not self._take("bracket", ")"):
                self._expected(f"`)` for the `(` at character {opening.at + 1}")
        self._depth -= 1
        return found

    def _statement(self) -> Condition:
        left = self._operand()
        operator = self._here
        if operator.kind != "operator":
            if isinstance(left, Name | Constant):
                return left
            self._expected(f"a comparison after `{_spelt(left)}`")
        self._next += 1
        right = self._operand()
        if not isinstance(left, Name) and not isinstance(right, Name):
            text = f"`{_spelt(left)} {operator.text} {_spelt(right)}` compares nothing that could change"
            raise _Stumble(left.at, text, "one side is a name such as `strut_left.drive`")
        if self._here.kind == "operator":
            fix = f"write `{_spelt(left)} {operator.text} {_spelt(right)} and {_spelt(right)} {self._here.text} ...`"
            raise _Stumble(self._here.at, "comparisons do not chain", fix)
        return Comparison(left, operator.text, right, operator.at)

    def _operand(self) -> Operand:
        token = self._here
        found: Operand
        if token.kind == "name":
            self.names.setdefault(token.text)
            found = Name(token.text, token.at)
        elif token.kind == "word":
            found = Word(token.text, token.at)
        elif token.kind == "number":
            found = Number(_number(token), token.at)
        elif token.kind == "keyword" and token.text in ("true", "false"):
            found = Constant(token.text == "true", token.at)
        else:
            self._expected("a name such as `strut_left.drive`, a word or a number")
        self._next += 1
        return found

    def _after_whole(self) -> bool:
        """Whether what was just read cannot be compared any more."""
        before = self._tokens[self._next - 1]
        second = self._tokens[self._next - 2] if self._next > 1 else before
        return before.text == ")" or second.kind == "operator"

    def _expected(self, what: str) -> NoReturn:
        raise _Stumble(self._here.at, f"expected {what}, found {self._here}", self._hint())

    def _hint(self) -> str:
        here = self._here
        before = self._tokens[self._next - 1] if self._next else None
        if here.kind == "other" and here.text in _OTHER_SPELLINGS:
            return f"write `{_OTHER_SPELLINGS[here.text]}`"
        if here.text.lower() in _KEYWORDS and here.kind == "word":
            return f"write `{here.text.lower()}`"
        if here.kind == "word" and before is not None and before.kind == "number":
            return "a number stands without its unit"
        if here.kind == "word" and before is not None and before.kind == "word":
            return f"a word of several parts stands in quotes: `'{before.text} {here.text}'`"
        if here.kind == "operator" and before is not None and before.text == ")":
            return "names, words and numbers are compared, not what stands in brackets"
        if here.text in "'\"" and here.kind == "other":
            return "the closing quote is missing"
        if here.text == ".":
            return "a name has one dot: `node.name` or `message.signal`"
        return "" if here.kind == "other" else f"it reads like {_EXAMPLE}"


def _number(token: _Token) -> int | float:
    if len(token.text) > MAX_DIGITS:
        raise _Stumble(token.at, f"a number of {len(token.text)} characters is not used here")
    if "x" in token.text:
        return int(token.text, 16)
    if token.text.lstrip("+-").isdigit():
        return int(token.text)
    value = float(token.text)
    if not math.isfinite(value):
        raise _Stumble(token.at, f"`{token.text}` is too large a number")
    return value


def _spelt(operand: Operand) -> str:
    if isinstance(operand, Constant):
        return "true" if operand.value else "false"
    return f"{operand.value:g}" if isinstance(operand, Number) else operand.text
