"""What is wrong with the terminations, and what a missing, a third or a wrong one does to the level.

Direct-current levels understate a fault of termination: its echoes are not modelled. The echo of a step at each end of
the trunk, (R - Z) / (R + Z), stands beside them.
"""

from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Literal, TypeAlias

from busdesign.wire.harness import Harness, Termination, require_possible
from busdesign.wire.levels import PairLevel, highest_level, lowest_level, lowest_levels
from busdesign.wire.physical_layer import (
    DOMINANT_ABOVE_V,
    TERMINATION,
    TERMINATION_OHM,
    TERMINATION_OHM_MAX,
    TERMINATION_OHM_MIN,
    Source,
)
from busdesign.wire.problems import Exact, Problem, spelt

ECHO = Source("reflection of a step at a resistance, line theory", "common practice, no source")
Kind: TypeAlias = Literal["as built", "missing", "third", "wrong"]
WRONG_OHM = (60, 240)  # own choice: twice the right resistors in parallel, and in series


@dataclass(frozen=True, slots=True)
class TerminationCase:
    """The bus with ``terminations``. ``change_v`` is of the lowest level, against the bus as built.

    ``echoes`` are fractions of a step, at the trunk's start and end: 1 is an open end. ``holds``: still dominant.
    """

    kind: Kind
    name: str
    terminations: tuple[Termination, ...]
    lowest: PairLevel
    change_v: Fraction
    highest_v: Fraction
    echoes: tuple[Fraction, Fraction]

    @property
    def holds(self) -> bool:
        return self.lowest.level_v >= DOMINANT_ABOVE_V


def unsuitable_terminations(harness: Harness) -> list[Problem]:
    """What can be but should not (`physical_layer.TERMINATION`): not two of them, a wrong value, nodes beyond them.

    Parts are ``terminations`` and ``terminations.INDEX.ohm`` or ``.at_m``. How much bare trunk an inner one may leave
    beyond it is the stub rule's to judge. Raises ValueError for an impossible harness.
    """
    require_possible(harness)
    placed = enumerate(harness.terminations)
    values = [problem for index, each in placed for problem in _wrong_value(f"terminations.{index}", each)]
    return [*_wrong_number(harness), *values, *_nodes_beyond(harness)]


def termination_cases(harness: Harness, wrong_ohm: tuple[Exact, ...] = WRONG_OHM) -> tuple[TerminationCase, ...]:
    """As built; without each termination; with one more of the nominal value, at the node where it does most harm; and
    each of the ``wrong_ohm`` instead of each. Raises ValueError for an impossible harness.
    """
    require_possible(harness)
    built = lowest_level(harness)
    varied = [*_without_each(harness), _one_more(harness), *_wrong_instead(harness, wrong_ohm)]
    cases = [("as built", "as built", harness.terminations, built), *varied]
    return tuple(_case(harness, built.level_v, *case) for case in cases)


def echoes(harness: Harness) -> tuple[Fraction, Fraction]:
    """`ECHO` at the start and at the end of the trunk: 1 for an open end, 0 for a perfect termination."""
    return _echo(harness, 0), _echo(harness, harness.trunk_m)


def _echo(harness: Harness, at_m: Exact) -> Fraction:
    siemens = sum((1 / Fraction(each.ohm) for each in harness.terminations if each.at_m == at_m), Fraction(0))
    return (1 - harness.cable.impedance_ohm * siemens) / (1 + harness.cable.impedance_ohm * siemens)


_Varied: TypeAlias = tuple[Kind, str, tuple[Termination, ...], PairLevel]


def _without_each(harness: Harness) -> list[_Varied]:
    found: list[_Varied] = []
    for index, gone in enumerate(harness.terminations):
        left = harness.terminations[:index] + harness.terminations[index + 1 :]
        found.append(("missing", f"without the one at {spelt(gone.at_m, 'm')}", left, _lowest_with(harness, left)))
    return found


def _one_more(harness: Harness) -> _Varied:
    places = sorted({Fraction(tap.at_m) for tap in harness.taps})
    more = [(*harness.terminations, Termination(at_m)) for at_m in places]
    index, lowest = lowest_levels([replace(harness, terminations=terminations) for terminations in more])
    return "third", f"one more of {TERMINATION_OHM} ohm at {spelt(places[index], 'm')}", more[index], lowest


def _wrong_instead(harness: Harness, wrong_ohm: tuple[Exact, ...]) -> list[_Varied]:
    found: list[_Varied] = []
    for index, each in enumerate(harness.terminations):
        for ohm in wrong_ohm:
            before, after = harness.terminations[:index], harness.terminations[index + 1 :]
            wrong = (*before, replace(each, ohm=ohm), *after)
            name = f"{spelt(ohm, 'ohm')} at {spelt(each.at_m, 'm')}"
            found.append(("wrong", name, wrong, _lowest_with(harness, wrong)))
    return found


def _case(
    harness: Harness, built_v: Fraction, kind: Kind, name: str, terminations: tuple[Termination, ...], lowest: PairLevel
) -> TerminationCase:
    varied = replace(harness, terminations=terminations)
    highest_v, change_v = highest_level(varied).level_v, lowest.level_v - built_v
    return TerminationCase(kind, name, terminations, lowest, change_v, highest_v, echoes(varied))


def _lowest_with(harness: Harness, terminations: tuple[Termination, ...]) -> PairLevel:
    return lowest_level(replace(harness, terminations=terminations))


def _wrong_number(harness: Harness) -> list[Problem]:
    placed = sorted(harness.terminations, key=lambda each: each.at_m)
    if len(placed) == 2:
        return []
    end_m = harness.trunk_m
    if not placed:
        found, mend = "no termination", f"add two of {TERMINATION_OHM} ohm, at 0 m and at {spelt(end_m, 'm')}"
    elif len(placed) == 1:
        bare_m = end_m if 2 * placed[0].at_m <= end_m else 0
        found = f"one termination only, at {spelt(placed[0].at_m, 'm')}"
        mend = f"add one of {TERMINATION_OHM} ohm at {spelt(bare_m, 'm')}"
    else:
        inner = " and ".join(spelt(each.at_m, "m") for each in placed[1:-1])
        found = f"{len(placed)} terminations"
        mend = f"keep the outermost two, take out the other, at {inner}"
    text = f"{found}: a bus has two of {TERMINATION_OHM} ohm, one at each end of the trunk"
    return [Problem("terminations", text, Fraction(2), "terminations", mend)]


def _wrong_value(part: str, termination: Termination) -> list[Problem]:
    """Judged with its tolerance."""
    if termination.ohm_min >= TERMINATION_OHM_MIN and termination.ohm_max <= TERMINATION_OHM_MAX:
        return []
    tolerance = f" +- {float(termination.tolerance) * 100:g} %" if termination.tolerance else ""
    allowed = f"{TERMINATION_OHM_MIN} .. {TERMINATION_OHM_MAX} ohm"
    text = f"{spelt(termination.ohm, 'ohm')}{tolerance} is not within {allowed} ({TERMINATION.text})"
    least = TERMINATION_OHM_MIN / (1 - Fraction(termination.tolerance))
    most = TERMINATION_OHM_MAX / (1 + Fraction(termination.tolerance))
    nearest = min(max(Fraction(termination.ohm), least), most) if least <= most else None
    return [Problem(f"{part}.ohm", text, nearest, "ohm")]


def _nodes_beyond(harness: Harness) -> list[Problem]:
    """Nodes further out than the outermost of several terminations."""
    placed = sorted(enumerate(harness.terminations), key=lambda each: each[1].at_m)
    if len(placed) < 2:
        return []
    (first, first_at), (last, last_at) = ((index, each.at_m) for index, each in (placed[0], placed[-1]))
    before = [tap.node for tap in harness.taps if tap.at_m < first_at]
    after = [tap.node for tap in harness.taps if tap.at_m > last_at]
    return [
        Problem(f"terminations.{index}.at_m", _beyond(nodes), Fraction(end_m), "m")
        for index, nodes, end_m in ((first, before, 0), (last, after, harness.trunk_m))
        if nodes
    ]


def _beyond(nodes: list[str]) -> str:
    lie = "lies" if len(nodes) == 1 else "lie"
    return f"this termination is the outermost, yet {', '.join(nodes)} {lie} further out"
