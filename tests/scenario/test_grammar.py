"""The grammar of expectations: what it reads, and what it says of everything else."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from busdesign.findings import Finding, Place
from busdesign.scenario.expression import And, Comparison, Constant, Expression, Name, Not, Number, Or, Word
from busdesign.scenario.grammar import MAX_CHARACTERS, MAX_DEPTH, ExpressionError, parse


def test_or_binds_weakest_then_and_then_not() -> None:
    a, b, c, d = Name("n.a", 0), Name("n.b", 7), Name("n.c", 19), Name("n.d", 27)
    assert parse("n.a or n.b and not n.c or n.d").root == Or((a, And((b, Not(c))), Name("n.d", 26)))
    assert parse("(n.a or n.b)and not(n.c or  n.d)").root == And(
        (Or((Name("n.a", 1), Name("n.b", 8))), Not(Or((Name("n.c", 20), Name("n.d", 28)))))
    )
    assert d.at == 27


@pytest.mark.parametrize(
    ("text", "left", "operator", "right"),
    [
        ("s.drive == up_locked", Name("s.drive", 0), "==", Word("up_locked", 11)),
        ("red != panel.lamp", Word("red", 0), "!=", Name("panel.lamp", 7)),
        ("m.speed<=-2.5", Name("m.speed", 0), "<=", Number(-2.5, 9)),
        ("m.raw >= 0x1F", Name("m.raw", 0), ">=", Number(31, 9)),
        ("m.raw < 1e3", Name("m.raw", 0), "<", Number(1000.0, 8)),
        ("12 > m.raw", Number(12, 0), ">", Name("m.raw", 5)),
        ("a.on == true", Name("a.on", 0), "==", Constant(True, 8)),
        ("a.x == b.y", Name("a.x", 0), "==", Name("b.y", 7)),
        ("a.x == 'stuck fast'", Name("a.x", 0), "==", Word("stuck fast", 7)),
        ('a.x == "and"', Name("a.x", 0), "==", Word("and", 7)),
    ],
)
def test_comparisons(text: str, left: object, operator: str, right: object) -> None:
    root = parse(text).root
    assert isinstance(root, Comparison)
    assert (root.left, root.operator, root.right) == (left, operator, right)


def test_names_come_once_each_in_the_order_of_mention() -> None:
    assert parse("b.y and a.x == b.z or not b.y").names == ("b.y", "a.x", "b.z")


def test_a_constant_may_stand_alone() -> None:
    assert parse(" true ").root == Constant(True, 1)


COMPLAINTS = [
    ("", 1, "the expression is empty", "write one such as"),
    ("   ", 1, "the expression is empty", "write one such as"),
    ("a.x = red", 5, "expected a comparison, `and`, `or` or the end, found `=`", "write `==`"),
    ("a.x == red and", 15, "expected a name such as `strut_left.drive`, a word or a number, found the end", "it reads"),
    ("a.x == 5 mm", 10, "expected `and`, `or` or the end, found `mm`", "a number stands without its unit"),
    ("a.x == stuck fast", 14, "expected `and`, `or` or the end, found `fast`", "in quotes: `'stuck fast'`"),
    ("red", 4, "expected a comparison after `red`, found the end", "it reads"),
    ("3 and a.x", 3, "expected a comparison after `3`, found `and`", "it reads"),
    ("red == green", 1, "`red == green` compares nothing that could change", "one side is a name"),
    ("1 < a.x < 3", 9, "comparisons do not chain", "write `1 < a.x and a.x < ...`"),
    ("(a.x or a.y", 12, "expected `)` for the `(` at character 1, found the end", "it reads"),
    ("a.x or a.y)", 11, "expected a comparison, `and`, `or` or the end, found `)`", "it reads"),
    ("(a.x) == true", 7, "expected `and`, `or` or the end, found `==`", "not what stands in brackets"),
    ("a.x AND a.y", 5, "expected a comparison, `and`, `or` or the end, found `AND`", "write `and`"),
    ("!a.x", 1, "expected a name such as `strut_left.drive`, a word or a number, found `!`", "write `not`"),
    ("a.x || a.y", 5, "expected a comparison, `and`, `or` or the end, found `||`", "write `or`"),
    ("a.x <> red", 5, "expected a comparison, `and`, `or` or the end, found `<>`", "write `!=`"),
    ("a.x => 3", 5, "expected a comparison, `and`, `or` or the end, found `=>`", "write `>=`"),
    ("a.b.c", 4, "expected a comparison, `and`, `or` or the end, found `.`", "a name has one dot"),
    ("a.x == 'red", 8, "found `'`", "the closing quote is missing"),
    ("a.x + 1 > 2", 5, "expected a comparison, `and`, `or` or the end, found `+`", ""),
    ("a.x == 1e999", 8, "`1e999` is too large a number", ""),
    ("a.x == " + "9" * 60, 8, "a number of 60 characters is not used here", ""),
    ("(" * (MAX_DEPTH + 1) + "a.x", MAX_DEPTH + 1, "nested more than 40 levels deep", ""),
    ("a.x or " * 300 + "a.x", 1, f"an expression of 2103 characters; at most {MAX_CHARACTERS} are allowed", ""),
]


@pytest.mark.parametrize(("text", "column", "said", "fix"), COMPLAINTS, ids=range(len(COMPLAINTS)))
def test_a_complaint_points_at_the_character_and_hints(text: str, column: int, said: str, fix: str) -> None:
    with pytest.raises(ExpressionError) as raised:
        parse(text, Place("s.yaml", 7, 21, " " * 20 + text))
    finding = raised.value.finding
    assert str(finding.where) == f"s.yaml:7:{column + 20}"
    assert said in finding.text
    assert fix in finding.fix


def test_the_column_counts_from_behind_the_quote() -> None:
    line = "  - never: 'a.x == 1 and b.y' # why"
    expression = parse("a.x == 1 and b.y", Place("s.yaml", 3, 12, line))
    assert str(expression.place_at(expression.text.index("b.y"))) == f"s.yaml:3:{line.index('b.y') + 1}"


def test_over_several_lines_the_place_is_where_it_begins() -> None:
    expression = parse("a.x and b.y", Place("s.yaml", 3, 10, "  never: a.x and"))
    assert str(expression.place_at(8)) == "s.yaml:3:10"


_PIECES = st.sampled_from(
    [
        "a.x",
        "b.y",
        "red",
        "true",
        "and",
        "or",
        "not",
        "(",
        ")",
        "==",
        "<",
        "=",
        "3",
        "-1.5",
        "'w v'",
        "'",
        ".",
        "é",
        " ",
    ]
)


@given(st.one_of(st.text(max_size=60), st.lists(_PIECES, max_size=14).map(" ".join)))
def test_any_text_is_read_or_complained_of(text: str) -> None:
    read = _read(text)
    if isinstance(read, Finding):
        assert read.where is not None
        assert 1 <= read.where.column <= len(text) + 1
        assert read.text
    else:
        assert all(text.count(name) for name in read.names)


def _read(text: str) -> Expression | Finding:
    try:
        return parse(text, Place("s.yaml", 1, 1, text))
    except ExpressionError as refused:
        return refused.finding
