"""Expectations over tracks: the verdict, its moment and its words."""

from typing import Literal

import numpy
import pytest
from hypothesis import given
from hypothesis import strategies as st

from busdesign.scenario.evaluate import Outcome, Track, evaluate
from busdesign.scenario.expression import And, Comparison, Condition, Constant, Name, Not, Operand, Or, Word
from busdesign.scenario.grammar import parse
from busdesign.scenario.model import Expectation

MS = 1_000_000
END = 12_000 * MS


def never(expression: str) -> Expectation:
    return Expectation("it", "never", parse(expression))


def always(expression: str) -> Expectation:
    return Expectation("it", "always", parse(expression))


def after(when: str, within_ns: int, then: str) -> Expectation:
    return Expectation("it", "after", parse(when), within_ns, parse(then))


def track(*changes: tuple[int, object]) -> Track:
    """From pairs of a time in milliseconds and a value."""
    return Track([time * MS for time, _ in changes], [value for _, value in changes])


DRIVE = track((0, "stopped"), (3412, "away_from_lock"), (4000, "stopped"))
SILENT = track((0, False), (1000, True), (2000, False), (5000, True), (5400, False))


def test_never_is_broken_at_the_first_moment_it_is_true() -> None:
    lock = track((0, "engaged"), (3500, "free"))
    outcome = evaluate(
        never("left.drive == away_from_lock and left.lock == engaged"), {"left.drive": DRIVE, "left.lock": lock}, END
    )
    assert outcome == Outcome("it", False, 3412 * MS, "at 3.412 s: left.drive = away_from_lock, left.lock = engaged")


def test_never_holds_and_says_over_how_much() -> None:
    outcome = evaluate(never("left.drive == jammed"), {"left.drive": DRIVE}, END)
    assert outcome == Outcome("it", True, None, "never true, judged at 3 moments up to 12 s")


def test_always_is_broken_at_the_first_moment_it_is_false() -> None:
    speed = track((20, 3.5), (40, 0.1 * 3))
    assert evaluate(always("m.speed >= 0.3"), {"m.speed": speed}, END) == Outcome(
        "it", True, None, "always true from 20 ms on, judged at 2 moments up to 12 s"
    )
    assert evaluate(always("m.speed > 0.3"), {"m.speed": speed}, END) == Outcome(
        "it", False, 40 * MS, "at 40 ms: m.speed = 0.3"
    )


def test_after_tells_the_slowest_reaction() -> None:
    lamp = track((0, "green"), (1212, "red"), (2100, "green"), (5050, "red"))
    outcome = evaluate(
        after("left.silent", 300 * MS, "panel.lamp == red"), {"left.silent": SILENT, "panel.lamp": lamp}, END
    )
    assert outcome == Outcome("it", True, None, "held 2 times; slowest 212 ms of 300 ms")


def test_after_held_once_tells_when() -> None:
    tracks = {"left.silent": track((0, True)), "panel.lamp": track((5, "red"))}
    outcome = evaluate(after("left.silent", 300 * MS, "panel.lamp == red"), tracks, END)
    assert outcome == Outcome("it", True, None, "held once, at 0 s; took 5 ms of 300 ms")


def test_after_is_broken_when_the_time_is_over() -> None:
    lamp = track((0, "green"), (1212, "red"), (2100, "green"), (5301, "red"))
    outcome = evaluate(
        after("left.silent", 300 * MS, "panel.lamp == red"), {"left.silent": SILENT, "panel.lamp": lamp}, END
    )
    assert outcome == Outcome(
        "it",
        False,
        5300 * MS,
        "at 5.3 s: panel.lamp = green; `left.silent` became true at 5 s, and not `panel.lamp == red` within 300 ms; "
        "the first of 1 such out of 2",
    )


def test_after_counts_both_ends_of_its_time() -> None:
    silent, lamp = track((0, False), (1000, True)), track((0, "green"), (1300, "red"), (1301, "green"))
    tracks = {"left.silent": silent, "panel.lamp": lamp}
    assert evaluate(after("left.silent", 300 * MS, "panel.lamp == red"), tracks, END).holds is True
    assert evaluate(after("left.silent", 300 * MS - 1, "panel.lamp == red"), tracks, END).at_ns == 1300 * MS - 1


UNSAID = {
    "no silence": (
        after("left.silent and m.x > 5", 300 * MS, "panel.lamp == red"),
        ["never exercised: `left.silent and m.x > 5` was not true", "`{kind: silent, node: left}` makes it true"],
    ),
    "no cause": (
        after("panel.lamp == blue", 300 * MS, "left.silent"),
        ["never exercised: `panel.lamp == blue` was not true at any moment up to 12 s", "add a step or a fault that"],
    ),
    "run too short": (
        after("panel.lamp == red", 300 * MS, "panel.lamp == blue"),
        ["undecided: `panel.lamp == red` became true at 11.9 s, and the end at 12 s", "run for at least 12.2 s"],
    ),
    "effect without value": (
        after("left.silent", 300 * MS, "m.empty == 1"),
        ["undecided: `left.silent` became true at 1 s", "until 1.3 s `m.empty` had no value"],
    ),
    "never with no value": (never("m.empty == 1"), ["never exercised: `m.empty` had no value up to 12 s"]),
    "cause without value": (after("m.empty > 1", 0, "left.silent"), ["never exercised: `m.empty` had no value"]),
    "word in place of a number": (always("m.word > 5"), ["`m.word > 5` could not be decided", "or not numbers"]),
    "no track": (never("left.drive == x and left.silent"), ["not observable: nothing here records `left.drive`"]),
}


@pytest.mark.parametrize("case", UNSAID)
def test_what_cannot_be_said_is_not_guessed_and_says_why(case: str) -> None:
    expectation, parts = UNSAID[case]
    tracks = {
        "left.silent": SILENT,
        "panel.lamp": track((0, "green"), (11_900, "red")),
        "m.x": track((0, 5)),
        "m.empty": Track([], []),
        "m.word": track((0, "not_available")),
    }
    outcome = evaluate(expectation, tracks, END)
    assert (outcome.holds, outcome.at_ns) == (None, None)
    assert [part for part in parts if part not in outcome.text] == []


def test_what_is_broken_without_the_unseen_name_is_broken() -> None:
    tracks = {"left.silent": SILENT}
    assert evaluate(always("not left.silent and left.drive == x"), tracks, END) == Outcome(
        "it", False, 1000 * MS, "at 1 s: left.silent = true, left.drive = unknown"
    )
    assert evaluate(never("not left.silent and left.drive == x"), tracks, END).holds is None


def test_a_broken_edge_outweighs_an_undecided_one() -> None:
    tracks = {"a.x": track((0, False), (100, True), (200, False), (11_950, True)), "b.y": track((0, False))}
    assert evaluate(after("a.x", 100 * MS, "b.y"), tracks, END).at_ns == 200 * MS


def test_a_state_that_lasts_no_time_is_none() -> None:
    tracks = {"a.x": Track([0, 70, 70], [False, True, False])}
    assert evaluate(never("a.x"), tracks, 100).holds is True
    assert evaluate(after("a.x", 10, "a.x"), tracks, 100).holds is None


def test_what_happens_before_the_start_and_after_the_end() -> None:
    tracks = {"a.x": Track([-20, 101], [True, False])}
    assert evaluate(always("a.x"), tracks, 100).holds is True
    assert evaluate(always("a.x"), tracks, 101).at_ns == 101


def test_arrays_serve_as_tracks() -> None:
    tracks = {
        "m.speed": Track(numpy.array([0, 50, 90]), numpy.array([1.0, 2.0, 9.5])),
        "a.on": Track(numpy.array([0, 60]), numpy.array([False, True])),
        "m.word": Track(numpy.array([0]), numpy.array(["red"])),
    }
    outcome = evaluate(never("a.on and m.speed >= 9 and m.word == red"), tracks, 100)
    assert outcome == Outcome("it", False, 90, "at 90 ns: a.on = true, m.speed = 9.5, m.word = red")
    assert evaluate(after("a.on", 30, "m.speed == 9.5"), tracks, 100).text == "held once, at 60 ns; took 30 ns of 30 ns"


def test_times_and_values_must_match() -> None:
    with pytest.raises(ValueError, match="2 times for 1 values"):
        Track([0, 1], [True])


# The same meaning, computed another way: every nanosecond by itself, truth as 0, 1/2 and 1.

NAMES = ("a.p", "a.q", "b.w", "b.v")
LAST = 9
_boolean = st.sampled_from(
    ["a.p", "a.q", "true", "b.w == red", "b.w != blue", "b.w == b.v", "a.p == a.q", "green == b.v"]
)
_expressions = st.recursive(
    _boolean,
    lambda inner: st.one_of(
        st.tuples(inner, st.sampled_from(["and", "or"]), inner).map(" ".join).map("({})".format),
        inner.map("not {}".format),
    ),
    max_leaves=5,
)
_times = st.lists(st.integers(0, LAST + 2), max_size=5).map(sorted)


def _tracks(values: tuple[object, ...]) -> st.SearchStrategy[Track]:
    return _times.flatmap(
        lambda times: st.lists(st.sampled_from(values), min_size=len(times), max_size=len(times)).map(
            lambda chosen: Track(times, chosen)
        )
    )


_all_tracks = st.fixed_dictionaries(
    {name: _tracks((True, False) if name[0] == "a" else ("red", "blue", "green")) for name in NAMES}
)


def _naive_value(tracks: dict[str, Track], operand: Operand, now: int) -> object:
    if not isinstance(operand, Name):
        return operand.text if isinstance(operand, Word) else operand.value
    value = None
    for time, told in zip(tracks[operand.text].times_ns, tracks[operand.text].values, strict=True):
        value = told if time <= now else value
    return value


def _naive_truth(tracks: dict[str, Track], node: Condition, now: int) -> float:
    if isinstance(node, And):
        return min(_naive_truth(tracks, part, now) for part in node.parts)
    if isinstance(node, Or):
        return max(_naive_truth(tracks, part, now) for part in node.parts)
    if isinstance(node, Not):
        return 1 - _naive_truth(tracks, node.part, now)
    if isinstance(node, Comparison):
        left, right = (_naive_value(tracks, side, now) for side in (node.left, node.right))
        same = 0.5 if left is None or right is None else float(left == right)
        return same if node.operator == "==" else 1 - same
    if isinstance(node, Constant):
        return float(node.value)
    value = _naive_value(tracks, node, now)
    return 0.5 if value is None else float(bool(value))


@given(st.sampled_from(["never", "always"]), _expressions, _all_tracks)
def test_never_and_always_agree_with_every_nanosecond_by_itself(
    kind: Literal["never", "always"], text: str, tracks: dict[str, Track]
) -> None:
    expectation = Expectation("it", kind, parse(text))
    truths = [_naive_truth(tracks, expectation.when.root, now) for now in range(LAST + 1)]
    bad = truths.index(kind == "never") if (kind == "never") in truths else None
    holds = False if bad is not None else None if set(truths) == {0.5} else True
    outcome = evaluate(expectation, tracks, LAST)
    assert (outcome.holds, outcome.at_ns) == (holds, bad)
    assert outcome.text


@given(_expressions, st.integers(0, 4), _expressions, _all_tracks)
def test_after_agrees_with_every_nanosecond_by_itself(
    when: str, within: int, then: str, tracks: dict[str, Track]
) -> None:
    expectation = after(when, within, then)
    assert expectation.then is not None
    causes = [_naive_truth(tracks, expectation.when.root, now) for now in range(LAST + 1)]
    effects = [_naive_truth(tracks, expectation.then.root, now) for now in range(LAST + 1)]
    decided = [[truth for truth in causes[:now] if truth != 0.5] for now in range(LAST + 1)]
    edges = [now for now in range(LAST + 1) if causes[now] == 1 and decided[now][-1:] != [1]]
    windows = [effects[edge : edge + within + 1] for edge in edges]
    broken = [edge for edge, seen in zip(edges, windows, strict=True) if len(seen) > within and max(seen) == 0]
    met = all(1 in seen for seen in windows)
    outcome = evaluate(expectation, tracks, LAST)
    assert outcome.holds is (False if broken else True if edges and met else None)
    assert outcome.at_ns == (broken[0] + within if broken else None)
    assert outcome.text
