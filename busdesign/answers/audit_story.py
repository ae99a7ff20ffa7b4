"""A scenario held against a capture: where its zero lies, whom it keeps silent, what became of its expectations."""

import os
from dataclasses import dataclass
from typing import TYPE_CHECKING

from busdesign.answers.moments import read_moment
from busdesign.answers.names import vocabulary_with
from busdesign.answers.simulate import ExpectationAnswer
from busdesign.catalogue.model import Catalogue
from busdesign.catalogue.reader import read_catalogue
from busdesign.errors import ScenarioError
from busdesign.findings import shown
from busdesign.scenario.evaluate import evaluate
from busdesign.scenario.model import Scenario
from busdesign.scenario.reader import read_scenario
from busdesign.scenario.vocabulary import check_names
from busdesign.units import QuantityError
from busdesign.virtual.models import load_models

if TYPE_CHECKING:
    from busdesign.bench.audit import Audit

DAY_NS = 86_400 * 10**9
SOON_NS = 10**9
FOR_EVER_NS = 1 << 62
SILENCING = frozenset(  # faults that keep their node from sending
    {"silent", "reset", "brown_out", "stuck_recessive", "alone", "ground_lost", "dead_unit"}
)


def catalogue_and_story(
    catalogue: Catalogue | str | os.PathLike[str] | None, scenario: Scenario | str | os.PathLike[str] | None
) -> tuple[Catalogue, Scenario | None]:
    """What a capture is held against. Raises CatalogueError, ScenarioError, and ValueError where both are None."""
    if catalogue is None:
        if scenario is None:
            raise ValueError("a capture is held against a catalogue or a scenario: give one of them")
        story = scenario if isinstance(scenario, Scenario) else read_scenario(scenario)
        return story.catalogue, story
    definition = catalogue if isinstance(catalogue, Catalogue) else read_catalogue(catalogue)
    if scenario is None or isinstance(scenario, Scenario):
        return definition, scenario
    return definition, read_scenario(scenario, lambda _: definition)


def require_names(story: Scenario) -> None:
    """As before a run: a typing slip in a name is an error, not an expectation that cannot be observed."""
    wrong = check_names(story, vocabulary_with(story.catalogue, load_models(story)))
    if wrong:
        raise ScenarioError(wrong)


@dataclass(frozen=True, slots=True)
class ZeroAt:
    """Where times begin to count: ``time_ns`` on the recorder's clock, or after the first frame, below 0 before it."""

    time_ns: int
    from_first: bool = False


def read_zero_at(written: str) -> ZeroAt:
    """``12.5 s`` on the recorder's clock, or with a sign, ``+2 s`` or ``-300 ms``, from the first frame.

    Raises QuantityError.
    """
    text = written.strip()
    from_first = text[:1] in ("+", "-")
    if text[1:2] in ("+", "-"):
        raise QuantityError(f"{shown(written)} has two signs", "such as `12.5 s`, or `+2 s`")
    return ZeroAt(read_moment(text.removeprefix("+")), from_first)


def zero_ns(first_ns: int, story: Scenario | None, told: ZeroAt | None) -> int:
    """Where times begin to count, on the recorder's clock; the first frame ends at ``first_ns``.

    Where nobody told, from the recorder's zero if the capture begins soon after it, else from its first frame. Soon:
    within the scenario's run, or within a day without one. Absolute times never do.
    """
    if told is not None:
        return first_ns + told.time_ns if told.from_first else told.time_ns
    soon_ns = DAY_NS if story is None else story.run_for_ns
    return 0 if first_ns <= soon_ns else first_ns


def origin_ns(first_ns: int, zero_ns: int) -> int:
    """Where pictures begin: at zero, unless frames come before it, or nothing happens for long after it."""
    return zero_ns if 0 <= first_ns - zero_ns <= SOON_NS else first_ns


def names(story: Scenario | None) -> set[str]:
    """What its expectations speak of."""
    return set() if story is None else {name for expected in story.expectations for name in expected.names}


def silences(story: Scenario | None, zero_ns: int) -> dict[str, list[tuple[int, int]]]:
    """Of each node the spans in which the scenario keeps it from sending, on the recorder's clock."""
    found: dict[str, list[tuple[int, int]]] = {}
    for fault in () if story is None else story.faults:
        if fault.kind in SILENCING:
            until_ns = FOR_EVER_NS if fault.until_ns is None else zero_ns + fault.until_ns + fault.restart_ns
            found.setdefault(fault.node, []).append((zero_ns + fault.at_ns, until_ns))
    return found


def expectations(
    story: Scenario | None, seen: "Audit", zero_ns: int, told: ZeroAt | None
) -> tuple[ExpectationAnswer, ...]:
    """Judged from zero to the last frame: nobody knows how long the recorder listened after it.

    Where somebody told at which moment the scenario begins, no longer than it runs.
    """
    if story is None or not story.expectations:
        return ()
    end_ns = max(seen.last_ns - zero_ns, 0)
    if told is not None:
        end_ns = min(end_ns, story.run_for_ns)
    tracks = seen.followed.tracks(zero_ns, zero_ns + end_ns)
    outcomes = [evaluate(expected, tracks, end_ns) for expected in story.expectations]
    return tuple(
        ExpectationAnswer(found.name, found.holds, None if found.at_ns is None else found.at_ns / 1e9, found.text)
        for found in outcomes
    )
