"""Which words look alike: for hints, found quickly among thousands of names."""

from collections.abc import Iterable
from dataclasses import dataclass
from difflib import SequenceMatcher
from functools import lru_cache
from heapq import nlargest

_CUTOFF = 0.6  # of a ratio that is 1 for equal words: below it, a hint would be a guess
_LOOKED_AT = 50  # of the words that share most letters
_CLASSES = 128  # of letters, by their code points: ASCII kept apart


@dataclass(frozen=True, slots=True)
class Vocabulary:
    """Words in small letters (of two that differ in capitals alone the first); the letters of each as a set of bits.

    The n-th time that a letter comes is a bit of its own, so that ``&`` counts the letters that two words share.
    """

    words: tuple[str, ...]
    lowered: tuple[str, ...]
    letters: tuple[int, ...]

    def begun_with(self, start: str) -> list[str]:
        """The words that go on where ``start`` ends, in small letters; none if it is one of them."""
        begun = [at for at, word in enumerate(self.lowered) if word.startswith(start)] if start else []
        return [] if any(self.lowered[at] == start for at in begun) else [self.words[at] for at in begun]

    def nearest(self, wrong: str) -> str | None:
        """The word that looks most like ``wrong``, in small letters, or None if none is close."""
        likely = nlargest(_LOOKED_AT, self._bounds(wrong))
        matcher = SequenceMatcher(b=wrong)
        best, found = (_CUTOFF, ""), None
        for bound, at in likely:
            if bound < best[0]:
                break
            matcher.set_seq1(self.lowered[at])
            likeness = (matcher.ratio(), self.lowered[at])
            if likeness >= best:
                best, found = likeness, self.words[at]
        return found

    def _bounds(self, wrong: str) -> list[tuple[float, int]]:
        """How alike each word can be at most, and its index: letters that both have, in whatever order."""
        mine, length = letters_of(wrong), len(wrong)
        shared = [(mine & theirs).bit_count() for theirs in self.letters]
        bounds = [2 * both / (length + len(word) or 1) for both, word in zip(shared, self.lowered, strict=True)]
        return [(bound, at) for at, bound in enumerate(bounds) if bound >= _CUTOFF]


def vocabulary(words: Iterable[str]) -> Vocabulary:
    """The ``words``, made ready; the same ones are made ready once, however many slips are held against them."""
    return _vocabulary(tuple(words))


@lru_cache(maxsize=16)
def _vocabulary(words: tuple[str, ...]) -> Vocabulary:
    first: dict[str, str] = {}
    for word in words:
        first.setdefault(word.lower(), word)
    return Vocabulary(tuple(first.values()), tuple(first), tuple(letters_of(word) for word in first))


def letters_of(word: str) -> int:
    """The letters of ``word`` as a set of bits, as in Vocabulary."""
    seen: dict[int, int] = {}
    found = 0
    for sign in word:
        kind = ord(sign) % _CLASSES
        times = seen[kind] = seen.get(kind, -1) + 1
        found |= 1 << times * _CLASSES + kind
    return found
