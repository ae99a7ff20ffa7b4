"""The three answers that a new project is made from, and what is wrong with one: all of it at once, with a hint."""

import re
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction

from busdesign.export.dbc_refusals import is_name
from busdesign.findings import Finding, Refused, Severity, counted, shown
from busdesign.units import UnitError, format_bit_rate, positive

DEFAULT_BIT_RATE = "250 kbit/s"
DEFAULT_NODES = ("panel", "left", "right")

MOST_BIT_S = 10**6  # ISO 11898-2: up to 1 Mbit/s, flexible data rate aside
LEAST_BIT_S = 10**4  # the slowest rate in the usual tables for this bus (common practice, no source)
MOST_NODES = 30  # ours: enough to start from; a catalogue takes more
MOST_LETTERS = 31  # of an external name are all that every C compiler tells apart: ISO/IEC 9899, 5.2.4.1 (from memory)

DEMAND, REPORT = "demand", "report_"  # the messages of the new project; the second goes on with the sender's name

# ISO/IEC 9899:2024, 6.4.1 (from memory).
_OF_C = """
    alignas alignof auto bool break case char const constexpr continue default do double else enum extern false float
    for goto if inline int long nullptr register restrict return short signed sizeof static static_assert struct switch
    thread_local true typedef typeof typeof_unqual union unsigned void volatile while
    _Alignas _Alignof _Atomic _BitInt _Bool _Complex _Decimal128 _Decimal32 _Decimal64 _Generic _Imaginary _Noreturn
    _Static_assert _Thread_local
"""
C_KEYWORDS = frozenset(_OF_C.split())
_NO_TEXT_IN_YAML = frozenset(("null", "true", "false"))  # in any case of letters: YAML 1.2, 10.3.2
_OF_EXPECTATIONS = frozenset(("and", "or", "not", "never", "always"))
_NAME = re.compile(r"[A-Za-z_][A-Za-z0-9_]*\Z")
_APART = re.compile(r"[,\s]+")


@dataclass(frozen=True, slots=True)
class Choices:
    """What a new project is made from. The first of ``nodes`` gives the orders; there is at least one more."""

    name: str
    bit_rate: str  # as the catalogue writes it, with its unit
    bit_rate_bit_s: Fraction
    nodes: tuple[str, ...]


def default_name(folder: str) -> str:
    """A project's name made from its folder's: of letters that C can spell, and no word of C."""
    spelt = _spelt(folder)[:MOST_LETTERS] or "project"
    return spelt if not _unspeakable(spelt) else f"{spelt[: MOST_LETTERS - 1]}_"


def nodes_written(written: str) -> tuple[str, ...]:
    """Names that somebody has written in one line, with commas or blanks between."""
    return tuple(name for name in _APART.split(written) if name)


def bit_rate_spelt(written: str) -> str:
    """A readable bit rate as a catalogue has it: ``250kbit/s`` → ``250 kbit/s``; one that this would round stays."""
    rate = positive(written, "bit rate")
    spelt = format_bit_rate(rate)
    return spelt if positive(spelt, "bit rate") == rate else written.strip()


def name_findings(name: str) -> list[Finding]:
    """What is wrong with the name of a project."""
    return list(_name_refused(name, "project", MOST_LETTERS))


def bit_rate_findings(written: str) -> list[Finding]:
    """What is wrong with a bit rate."""
    try:
        rate = positive(written, "bit rate")
    except Refused as refused:
        return [_error("wrong-unit" if isinstance(refused, UnitError) else "wrong-value", refused.text, refused.fix)]
    if rate > MOST_BIT_S:
        fix = f"`{format_bit_rate(MOST_BIT_S)}` is the most of classical CAN"
        return [_error("wrong-value", f"{shown(written)} is too fast", fix)]
    if rate < LEAST_BIT_S:
        fix = f"`{format_bit_rate(LEAST_BIT_S)}` is the slowest to start from"
        return [_error("wrong-value", f"{shown(written)} is too slow", fix)]
    return []


def nodes_findings(names: Sequence[str]) -> list[Finding]:
    """What is wrong with the names of the nodes, in their order."""
    findings: list[Finding] = []
    first: dict[str, str] = {}
    for name in names:
        refused = list(_name_refused(name, "node", MOST_LETTERS - len(REPORT))) or list(_clash(name))
        same = first.setdefault(name.lower(), name)
        if same == name and list(names).count(name) > 1:
            findings.append(
                _error("name-taken", f"the node {shown(name)} is there twice", "every node has its own name")
            )
        elif same != name and not refused:
            text = f"the nodes {shown(same)} and {shown(name)} differ in nothing but capitals"
            findings.append(_error("name-taken", text, f"constants in C are all capitals; write `{name}_2`"))
        findings += refused
    if len(names) < 2:
        fix = f"such as `{', '.join(DEFAULT_NODES)}`"
        text = f"found {counted(len(names), 'node')}; one must give the orders, and another hear them and report"
        findings.append(_error("wrong-value", text, fix))
    if len(names) > MOST_NODES:
        text = f"{len(names)} nodes are too many to start from: {MOST_NODES} are the most"
        findings.append(_error("wrong-value", text, "add the others to the catalogue later"))
    return list(dict.fromkeys(findings))


def _name_refused(name: str, what: str, most_letters: int) -> Iterator[Finding]:
    if not _NAME.match(name):
        text = f"the {what} {shown(name)} needs a name of letters, digits and `_`, with no digit first"
        yield _error("unusable-name", text, f"write `{_spelt(name)[:most_letters]}`" if _spelt(name) else "")
    elif len(name) > most_letters:
        text = f"the {what} {shown(name)} has {len(name)} letters: {most_letters} are the most"
        yield _error("unusable-name", text, "C compilers need not tell longer names apart")
    else:
        why = _unspeakable(name)
        if why:
            yield _error("unusable-name", f"{shown(name)} is {why}, so no {what} can bear it", f"write `{name}_`")


def _unspeakable(name: str) -> str:
    """What a well-formed ``name`` means already, or ""."""
    meanings: Sequence[tuple[str, Callable[[str], bool]]] = (
        ("a word of C", C_KEYWORDS.__contains__),
        ("no text in YAML", lambda word: word.lower() in _NO_TEXT_IN_YAML),
        ("a word of expectations", _OF_EXPECTATIONS.__contains__),
        ("a word of DBC", lambda word: not is_name(word)),
    )
    return next((meaning for meaning, has_it in meanings if has_it(name)), "")


def _clash(name: str) -> Iterator[Finding]:
    if name == DEMAND or name.startswith(REPORT):
        text = f"{shown(name)} is the name of a message in the new project, so no node can bear it"
        yield _error("name-taken", text, f"write `{name.removeprefix(REPORT)}_node`" if name != REPORT else "")


def _spelt(name: str) -> str:
    letters = re.sub(r"[^A-Za-z0-9_]", "_", name)
    return letters if not letters or _NAME.match(letters) else f"_{letters}"


def _error(rule: str, text: str, fix: str) -> Finding:
    return Finding(rule, Severity.ERROR, None, text, fix)
