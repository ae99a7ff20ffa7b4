"""The edits that findings carry, carried out on the text of a catalogue: all that hold good, and no other.

Each pass makes the edits that are there, reads the text again, and keeps those after which their findings are gone and
no other finding has come; the others are dropped. One exception: a mistake for which a part of the text (a message,
or all of it) could not be read hides what else is wrong there. What comes to light in other lines once it is mended is
no fault of that edit, and has its turn in the next pass.
"""

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from busdesign.catalogue.reader import parse_catalogue_at
from busdesign.catalogue.text_file import line_starts
from busdesign.errors import CatalogueError
from busdesign.findings import Edit, Finding

MOST_PASSES = 20  # of a text that YAML cannot read, each pass shows one mistake
_HIDING = frozenset(("yaml-syntax", "unknown-key", "wrong-value", "wrong-unit", "for-each"))


@dataclass(frozen=True, slots=True)
class Mend:
    """A finding and the edit that mends it; ``why_not`` says why the edit was not made, and is "" if it was."""

    finding: Finding
    edit: Edit
    why_not: str = ""


@dataclass(frozen=True, slots=True)
class Mended:
    """A text after ``made`` (each speaks of the text as those before it left it); ``dropped`` were not made."""

    text: str
    made: tuple[Mend, ...]
    dropped: tuple[Mend, ...]


def mended(text: str, file: str) -> Mended:
    """``text``, a catalogue in YAML without a byte order mark, after every edit that holds good."""
    state = _State(text, _findings(text, file))
    made: list[Mend] = []
    dropped: list[Mend] = []
    for _ in range(MOST_PASSES):
        refused = {mend.edit for mend in dropped}
        mends = [mend for mend in _mends(state.findings) if mend.edit.file == file and mend.edit not in refused]
        if not mends:
            break
        # First those that hide others: what comes to light then must not be held against any edit of another kind.
        hiding = [mend for mend in mends if mend.finding.rule in _HIDING]
        state, held, failed = _kept(state, _apart(hiding or mends), file)
        made += held
        dropped += failed
    elsewhere = [mend for mend in _mends(state.findings) if mend.edit.file != file]
    why_not = f"`{file}` includes that file, which is mended when it is named itself"
    return Mended(state.text, tuple(made), (*dropped, *(replace(mend, why_not=why_not) for mend in elsewhere)))


@dataclass(frozen=True, slots=True)
class _State:
    text: str
    findings: tuple[Finding, ...]


def _findings(text: str, file: str) -> tuple[Finding, ...]:
    try:
        parse_catalogue_at(file, text)
    except CatalogueError as refused:
        return refused.findings
    return ()


def _mends(findings: Iterable[Finding]) -> list[Mend]:
    """By place, each edit once: the members of a family bear the same one."""
    first: dict[Edit, Mend] = {}
    for found in findings:
        if found.edit is not None:
            first.setdefault(found.edit, Mend(found, found.edit))
    return [first[edit] for edit in sorted(first)]


def _apart(mends: Iterable[Mend]) -> list[Mend]:
    """Of edits that overlap, the first; the others have their turn in the next pass, if they are still wanted."""
    chosen: list[Mend] = []
    for mend in mends:
        last = chosen[-1].edit if chosen else None
        if last is None or last.line != mend.edit.line or last.column + len(last.old) <= mend.edit.column:
            chosen.append(mend)
    return chosen


def _kept(before: _State, mends: Sequence[Mend], file: str) -> tuple[_State, list[Mend], list[Mend]]:
    """The text after those of ``mends`` that hold good; these, and the others.

    Tried together first, and in halves if that fails: most edits hold good, and reading takes long.
    """
    held: list[Mend] = []
    failed: list[Mend] = []
    best, along = before, list[Mend]()

    def take(group: Sequence[Mend]) -> None:
        nonlocal best, along
        state, more = _carried_through(before, [*held, *group], file)
        why_not = _why_not(before, state, [*held, *group])
        if not why_not:
            held.extend(group)
            best, along = state, more
        elif len(group) == 1:
            failed.append(replace(group[0], why_not=why_not))
        else:
            take(group[: len(group) // 2])
            take(group[len(group) // 2 :])

    take(mends)
    return best, [*_one_after_another(held), *along], failed


def _carried_through(before: _State, mends: Sequence[Mend], file: str) -> tuple[_State, list[Mend]]:
    """The text after ``mends`` and after those of what they brought to light in their own lines; the latter."""
    known, lines = _counts(before.findings), {(mend.edit.file, mend.edit.line) for mend in mends}
    text = _text_after(before.text, mends)
    state = _State(text, _findings(text, file))
    along: list[Mend] = []
    for _ in range(MOST_PASSES):
        further = [mend for mend in _mends(_new(state.findings, known)) if (mend.edit.file, mend.edit.line) in lines]
        if not further:
            break
        text = _text_after(state.text, _apart(further))
        state = _State(text, _findings(text, file))
        along += _one_after_another(_apart(further))
    return state, along


def _why_not(before: _State, after: _State, mends: Sequence[Mend]) -> str:
    """What speaks against ``mends``, which made ``after`` of ``before``; "" if nothing does."""
    known, left = _counts(before.findings), _counts(after.findings)
    for key, gone in _counts(mend.finding for mend in mends).items():
        if left[key] > known[key] - gone:
            return "the mistake would still be there"
    lines = {(mend.edit.file, mend.edit.line) for mend in mends}
    hid = all(mend.finding.rule in _HIDING for mend in mends)
    for found in _new(after.findings, known):
        if not hid or _key(found)[1:3] in lines:
            where = f" (line {found.where.line})" if found.where else ""
            return f"then {found.text}{where}"
    return ""


_Key = tuple[str, str, int, str]


def _key(found: Finding) -> _Key:
    """By which a finding is known again: no edit moves a line, but what stands behind it in its own."""
    where = found.where
    return found.rule, where.file if where else "", where.line if where else 0, found.text


def _counts(findings: Iterable[Finding]) -> Counter[_Key]:
    return Counter(map(_key, findings))


def _new(findings: Iterable[Finding], known: Counter[_Key]) -> list[Finding]:
    left = known.copy()
    left.subtract(map(_key, findings))
    return [found for found in findings if left[_key(found)] < 0]


def _text_after(text: str, mends: Sequence[Mend]) -> str:
    """``text`` with every edit made; one whose old text does not stand at its place changes nothing."""
    starts = line_starts(text)
    for edit in sorted((mend.edit for mend in mends), reverse=True):
        at = starts[edit.line - 1] + edit.column - 1
        if text.startswith(edit.old, at):
            text = text[:at] + edit.new + text[at + len(edit.old) :]
    return text


def _one_after_another(mends: Iterable[Mend]) -> list[Mend]:
    """``mends`` in order, each with the column that its edit has once those before it are made."""
    moved: list[Mend] = []
    shifts: Counter[int] = Counter()
    for mend in sorted(mends, key=lambda mend: mend.edit):
        edit = mend.edit
        moved.append(replace(mend, edit=replace(edit, column=edit.column + shifts[edit.line])))
        shifts[edit.line] += len(edit.new) - len(edit.old)
    return moved
