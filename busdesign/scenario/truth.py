"""When an expression is true, false or undefined, over the time of a run.

Three-valued logic after Kleene (S. C. Kleene, Introduction to Metamathematics, 1952, section 64): what does not depend
on an undefined value is decided all the same, so ``false and undefined`` is false.
"""

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from operator import itemgetter

from busdesign.scenario.expression import (
    And,
    Comparison,
    Condition,
    Expression,
    Name,
    Not,
    Operand,
    Or,
    Word,
)
from busdesign.scenario.tracks import Track, plain

Truth = bool | None  # None: undefined
_Test = Callable[[Sequence[object]], Truth]
_Get = Callable[[Sequence[object]], object]

# A physical value is raw * factor + offset in binary floating point: 3 * 0.1 is not 0.3. Differences this small,
# relative and absolute, come from that and not from the bits.
_RELATIVE, _ABSOLUTE = 1e-9, 1e-12


@dataclass(frozen=True, slots=True)
class Timeline:
    """From ``times_ns[i]`` until the next the truth is ``truths[i]``; the first time is 0. No two in a row are alike.

    ``decided`` counts the moments (0, and each at which a value arrived) at which the truth was not undefined.
    """

    times_ns: list[int]
    truths: list[Truth]
    decided: int

    def spans(self, wanted: Truth, end_ns: int) -> tuple[list[int], list[int]]:
        """First and last nanosecond of each span in which the truth is ``wanted``, up to ``end_ns`` inclusive."""
        ends = [*(time - 1 for time in self.times_ns[1:]), end_ns]
        spans = zip(self.times_ns, ends, self.truths, strict=True)
        found = [(start, end) for start, end, truth in spans if truth is wanted]
        return [start for start, _ in found], [end for _, end in found]


def timeline(expression: Expression, tracks: Mapping[str, Track], end_ns: int) -> Timeline:
    """The truth of ``expression`` from 0 to ``end_ns`` inclusive; a name without a track is undefined throughout.

    What a track says before 0 holds at 0. Takes time proportional to n log n in the changes of the tracks it names.
    """
    test = _test(expression.root, {name: index for index, name in enumerate(expression.names)})
    changes = _changes(expression.names, tracks, end_ns)
    values: list[object] = [None] * len(expression.names)
    times: list[int] = []
    truths: list[Truth] = []
    truth: Truth = None
    decided, now, position, count, is_news = 0, 0, 0, len(changes), True
    while True:
        while position < count and changes[position][0] <= now:
            _, index, value = changes[position]
            if values[index] is not value:
                values[index] = value
                is_news = True
            position += 1
        if is_news:  # most frames of a periodic message say what the last one said
            truth, is_news = test(values), False
        if truth is not None:
            decided += 1
        if not truths or truth is not truths[-1]:
            times.append(now)
            truths.append(truth)
        if position == count:
            return Timeline(times, truths, decided)
        now = changes[position][0]


def _changes(names: Sequence[str], tracks: Mapping[str, Track], end_ns: int) -> list[tuple[int, int, object]]:
    merged: list[tuple[int, int, object]] = []
    for index, name in enumerate(names):
        track = tracks.get(name)
        if track is not None:
            pairs = zip(plain(track.times_ns), plain(track.values), strict=True)
            merged += [(time_ns, index, value) for time_ns, value in pairs if time_ns <= end_ns]
    merged.sort(key=itemgetter(0))  # stable: of one track's values in one nanosecond the last stays last
    return merged


def _test(node: Condition, index: Mapping[str, int]) -> _Test:
    match node:
        case And(parts):
            return _any_of([_test(part, index) for part in parts], decides=False)
        case Or(parts):
            return _any_of([_test(part, index) for part in parts], decides=True)
        case Not(part):
            return _opposite(_test(part, index))
        case Comparison():
            return _comparison(node, index)
        case Name(text):
            return _truth_of(index[text])
    constant = node.value
    return lambda values: constant


def _any_of(tests: list[_Test], decides: bool) -> _Test:
    """``decides`` if any part is that, undefined if any part is undefined, else the other truth."""

    def test(values: Sequence[object]) -> Truth:
        result: Truth = not decides
        for part in tests:
            found = part(values)
            if found is decides:
                return decides
            if found is None:
                result = None
        return result

    return test


def _opposite(test: _Test) -> _Test:
    def opposite(values: Sequence[object]) -> Truth:
        found = test(values)
        return None if found is None else not found

    return opposite


def _truth_of(position: int) -> _Test:
    def test(values: Sequence[object]) -> Truth:
        value = values[position]
        return None if value is None else bool(value)

    return test


def _comparison(node: Comparison, index: Mapping[str, int]) -> _Test:
    compare = _COMPARE[node.operator]
    if isinstance(node.left, Name) and isinstance(node.right, Word) and node.operator in ("==", "!="):
        return _is_word(index[node.left.text], node.right.text, node.operator == "==")
    left, right = _get(node.left, index), _get(node.right, index)

    def test(values: Sequence[object]) -> Truth:
        one, other = left(values), right(values)
        return None if one is None or other is None else compare(one, other)

    return test


def _is_word(position: int, word: str, wanted: bool) -> _Test:
    def test(values: Sequence[object]) -> Truth:
        value = values[position]
        return None if value is None else (value == word) is wanted

    return test


def _get(operand: Operand, index: Mapping[str, int]) -> _Get:
    if isinstance(operand, Name):
        return itemgetter(index[operand.text])
    literal = operand.text if isinstance(operand, Word) else operand.value
    return lambda values: literal


def _same(one: object, other: object) -> bool:
    if isinstance(one, float) or isinstance(other, float):
        if isinstance(one, int | float) and isinstance(other, int | float):
            return math.isclose(one, other, rel_tol=_RELATIVE, abs_tol=_ABSOLUTE)
        return False
    return one == other


def _ordered(before: Callable[[float, float], bool], or_same: bool) -> Callable[[object, object], Truth]:
    def compare(one: object, other: object) -> Truth:
        if not isinstance(one, int | float) or not isinstance(other, int | float):
            return None  # a word in place of a number, such as not_available: the number is not known
        return or_same if _same(one, other) else before(one, other)

    return compare


_COMPARE: Mapping[str, Callable[[object, object], Truth]] = {
    "==": _same,
    "!=": lambda one, other: not _same(one, other),
    "<": _ordered(lambda one, other: one < other, or_same=False),
    "<=": _ordered(lambda one, other: one < other, or_same=True),
    ">": _ordered(lambda one, other: one > other, or_same=False),
    ">=": _ordered(lambda one, other: one > other, or_same=True),
}
