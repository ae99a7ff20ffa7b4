"""Made where a finding is made: the edit that mends it, if it is certain what was meant, and else none.

A word is certain if one slip of a finger makes it of one word that is allowed here, and no other allowed word is near.
Digits are never touched: ``strut_1`` is no slip for ``strut_2``, nor ``0110`` one for ``0x110``.
"""

import re
from collections import Counter
from collections.abc import Iterable, Iterator
from functools import lru_cache
from itertools import islice

from busdesign.findings import Edit, Place
from busdesign.words import letters_of

_SHORT, _LONG = 4, 5  # letters: near a shorter word lie too many; a changed letter is a slip in a longer one
_ANCHOR = re.compile(r"&[^\s,\[\]{}]+[ \t]+")
_PART_OF_WORD = re.compile(r"\w")


def word_meant(word: object, allowed: Iterable[str], hint: str, *, closed: bool = False) -> str:
    """The one of ``allowed`` for which ``word`` is a slip and which the ``hint`` names, else "".

    A letter too few or too many, two neighbours swapped, another case, ``-`` for ``_``; among ``closed`` words, which
    this program knows and nobody else can add to, also one other letter.
    """
    if not isinstance(word, str) or not hint.startswith("did you mean `"):
        return ""
    folded, most = _folded(word), 1 if len(word) < _SHORT else 2
    near = list(islice(_near(folded, tuple(allowed), most), 2))
    if len(near) != 1 or hint != f"did you mean `{near[0]}`?":
        return ""
    return near[0] if _is_slip(folded, _folded(near[0]), closed) else ""


def _near(folded: str, allowed: tuple[str, ...], most: int) -> Iterator[str]:
    """Those of ``allowed`` that are at most so far from a word; those that share most letters are looked at first."""
    mine, length = letters_of(folded), len(folded)
    shared = [(mine & theirs).bit_count() - max(length, len(other)) for _, other, theirs in _made_ready(allowed)]
    likely = sorted((missing, at) for at, common in enumerate(shared) if (missing := -common) <= most)
    for _, at in likely:
        known, other, _ = _made_ready(allowed)[at]
        if _distance(folded, other, most) <= most:
            yield known


@lru_cache(maxsize=16)  # once for all slips that are held against the same words
def _made_ready(allowed: tuple[str, ...]) -> tuple[tuple[str, str, int], ...]:
    folded = [(known, _folded(known)) for known in allowed]
    return tuple((known, other, letters_of(other)) for known, other in folded)


def uses_of(named: Iterable[tuple[str, Place]]) -> Counter[str]:
    """At how many places each name is used."""
    return Counter(name for name, _ in set(named))


def name_meant(name: str, names: Iterable[str], hint: str, uses: Counter[str]) -> str:
    """The one of ``names``, given in the file itself, for which ``name`` is a slip, else "".

    A name that is used nowhere as it is given, or seldom, may itself be the one that is misspelt.
    """
    meant = word_meant(name, names, hint)
    return meant if uses[meant] >= max(uses[name], 1) else ""


def other_word(where: Place, written: str, meant: str) -> Edit | None:
    """``meant`` in place of the word ``written`` at ``where``, inside its quotes if it has some."""
    for quote in ("", "'", '"'):
        edit = _replaced(where, f"{quote}{written}{quote}", f"{quote}{meant}{quote}") if meant else None
        if edit:
            return edit
    return None


def other_value(where: Place, written: str, meant: str) -> Edit | None:
    """``meant`` in place of the scalar ``written`` at ``where``, and of its quotes if it has some."""
    for quote in ("", "'", '"'):
        edit = _replaced(where, f"{quote}{written}{quote}", meant) if meant else None
        if edit:
            return edit
    return None


def scalar_at(where: Place) -> str:
    """The number or single word that stands at ``where``, or ""."""
    found = re.compile(r"[-+.\w]+").match(where.quoted, _start(where))
    return found.group() if found else ""


def _replaced(where: Place, old: str, new: str) -> Edit | None:
    start = _start(where)
    end = start + len(old)
    goes_on = _PART_OF_WORD.match(where.quoted, end) and _PART_OF_WORD.match(old[-1:])
    if not where.quoted.startswith(old, start) or goes_on:
        return None  # written otherwise: in several lines, with escapes, or by way of a `{word}`
    return Edit(where.file, where.line, start + 1, old, new)


def _start(where: Place) -> int:
    anchor = _ANCHOR.match(where.quoted, where.column - 1)
    return anchor.end() if anchor else where.column - 1


def _folded(word: str) -> str:
    return word.lower().replace("-", "_").replace(" ", "_")


def _is_slip(word: str, meant: str, closed: bool) -> bool:
    if word == meant:
        return True
    same = next((at for at, (one, other) in enumerate(zip(word, meant, strict=False)) if one != other), None)
    start = min(len(word), len(meant)) if same is None else same
    one, other = word[start:], meant[start:]
    is_other_letter = one[1:] == other[1:] and closed and len(word) >= _LONG
    if one[1:] == other:
        touched = one[:1]
    elif one == other[1:]:
        touched = other[:1]
    elif one[:2] == other[1::-1] and one[2:] == other[2:]:
        touched = one[:2]
    elif is_other_letter:
        touched = one[:1] + other[:1]
    else:
        return False
    return not any(letter.isdigit() for letter in touched)


@lru_cache(maxsize=4096)  # a slip comes as often as a text was copied
def _distance(one: str, other: str, most: int) -> int:
    """Letters added, dropped, changed and neighbours swapped between the two words; any number above ``most`` is far.

    Optimal string alignment, row by row.
    """
    if abs(len(one) - len(other)) > most:
        return most + 1
    before: list[int] = []
    row = list(range(len(other) + 1))
    for at, letter in enumerate(one, 1):
        last, before, row = before, row, [at]
        for to, wanted in enumerate(other, 1):
            cost = min(before[to] + 1, row[to - 1] + 1, before[to - 1] + (letter != wanted))
            if at > 1 and to > 1 and letter == other[to - 2] and one[at - 2] == wanted:
                cost = min(cost, last[to - 2] + 1)
            row.append(cost)
    return row[-1]
