"""How far the effects of one cause may be apart, of all functions at once.

Two functions that begin with the same steps hear the end of the same frame, that of their last common message. From
there on the one may be as quick as can be and the other as slow, so that their effects are apart by no more than

    max( most of the one - least of the other,  most of the other - least of the one )

with what either takes after that frame. Of the many that leave a function's way at one step only the slowest and the
quickest matter, and they are the same for all that go on by another step: so steps are looked at, not pairs.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import accumulate

from busdesign.catalogue.model import Function

Steps = tuple[str, ...]
_END = ""  # in place of the next step: the path ends


@dataclass(frozen=True, slots=True)
class Span:
    """The most and the least that something takes; ``most_ns`` is None where no bound exists."""

    most_ns: Fraction | None
    least_ns: Fraction

    def then(self, following: "Span") -> "Span":
        """The two one after the other."""
        unknown = self.most_ns is None or following.most_ns is None
        most_ns = None if unknown else (self.most_ns or 0) + (following.most_ns or 0)
        return Span(None if most_ns is None else Fraction(most_ns), self.least_ns + following.least_ns)


@dataclass(frozen=True, slots=True)
class Skew:
    """The most between the effect of one function and those of the functions ``apart_from``; None without a bound."""

    apart_from: tuple[str, ...]
    most_ns: Fraction | None


class _Fork:
    """The functions that have their first steps in common, by the step that each goes on with."""

    def __init__(self) -> None:
        self.tails: dict[str, list[Span]] = {}
        self.slowest: list[tuple[str, Fraction | None]] = []
        self.quickest: list[tuple[str, Fraction]] = []

    def add(self, onward: str, tail: Span) -> None:
        self.tails.setdefault(onward, []).append(tail)

    def close(self) -> None:
        """Keep of the steps onward the two slowest and the two quickest: one of each is another than one's own."""
        slowest = [(onward, max((tail.most_ns for tail in tails), key=_rank)) for onward, tails in self.tails.items()]
        quickest = [(onward, min(tail.least_ns for tail in tails)) for onward, tails in self.tails.items()]
        self.slowest = sorted(slowest, key=lambda pair: _rank(pair[1]), reverse=True)[:2]
        self.quickest = sorted(quickest, key=lambda pair: pair[1])[:2]
        self.tails = {}

    def others(self, onward: str) -> Span | None:
        """The most and the least of those that go on by another step; None if there are none."""
        slowest = [most for other, most in self.slowest if other != onward]
        quickest = [least for other, least in self.quickest if other != onward]
        return Span(slowest[0], quickest[0]) if slowest else None


def skews(functions: Sequence[Function], parts: Sequence[Sequence[Span]]) -> list[Skew]:
    """For each of ``functions``; ``parts``: what it takes up to the end of each of its messages, and after the last."""
    tails = [_tails(own) for own in parts]
    forks: dict[Steps, _Fork] = {}
    alike: dict[Steps, list[Function]] = {}
    for function, own in zip(functions, tails, strict=True):
        forked = _forks(function.path)
        for steps, messages, onward in forked:
            forks.setdefault(steps, _Fork()).add(onward, own[messages])
        if forked:
            alike.setdefault(forked[0][0], []).append(function)
    for fork in forks.values():
        fork.close()
    apart_from = {path: names for group in alike.values() for path, names in _beside(group).items()}
    return [
        Skew(apart_from.get(function.path, ()), _most(_forks(function.path), own, forks))
        for function, own in zip(functions, tails, strict=True)
    ]


def _most(forked: Sequence[tuple[Steps, int, str]], own: Sequence[Span], forks: dict[Steps, _Fork]) -> Fraction | None:
    longest = Fraction(0)
    for steps, messages, onward in forked:
        others, tail = forks[steps].others(onward), own[messages]
        if others is None:
            continue
        if others.most_ns is None or tail.most_ns is None:
            return None
        longest = max(longest, tail.most_ns - others.least_ns, others.most_ns - tail.least_ns)
    return longest


def _tails(parts: Sequence[Span]) -> list[Span]:
    """What is left after 0, 1, ... of the ``parts``."""
    return list(accumulate(reversed(parts), lambda tail, part: part.then(tail)))[::-1]


def _forks(path: Steps) -> list[tuple[Steps, int, str]]:
    """The beginnings of ``path`` with a message or more in them, how many there are, and the step that comes next."""
    messages, found = 0, []
    for length, step in enumerate(path, 1):
        messages += "." not in step
        if messages:
            found.append((path[:length], messages, path[length] if length < len(path) else _END))
    return found


def _beside(group: Sequence[Function]) -> dict[Steps, tuple[str, ...]]:
    """By its path, the names of those of ``group`` that have another."""
    return {
        path: tuple(function.name for function in group if function.path != path)
        for path in dict.fromkeys(function.path for function in group)
    }


def _rank(most_ns: Fraction | None) -> tuple[bool, Fraction]:
    return most_ns is None, most_ns or Fraction(0)
