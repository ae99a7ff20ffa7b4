"""Chains added up by hand: messages of 50 ms and 20 ms whose responses are given, so that a head can do the sums."""

from collections.abc import Mapping
from dataclasses import replace
from fractions import Fraction
from math import ceil

import pytest

from busdesign.analysis.functions import FunctionBound, Stage, function_bounds
from busdesign.analysis.streams import WorstCase
from busdesign.catalogue.model import Acceptance, Catalogue, Function
from busdesign.wire.lengths import frame_bits
from tests.networks import MS, catalogue_of, message_of

RESPONSES_MS: Mapping[str, int | None] = {"order": 2, "report": 3, "alarm": 4, "endless": None}
PROCESSING_MS = {"panel": 20, "left": 10, "right": 15, "recorder": 0}
BIT_RATE = 250_000


def network(*paths: tuple[str, ...], tolerance: Fraction = Fraction(0), good_frames: int = 1) -> Catalogue:
    """A panel that orders, two legs that report, an alarm that comes when it must; a function for each of ``paths``."""
    messages = [
        replace(
            message_of("order", 1, "panel", 2, 50 * MS, jitter_ns=MS, accept=Acceptance((good_frames, good_frames))),
            receivers=("left", "right"),
        ),
        replace(message_of("report", 2, "left", 2, 20 * MS), receivers=("panel", "recorder")),
        replace(message_of("alarm", 3, "right", 1, 100 * MS, irregular=True), receivers=("panel",)),
        replace(message_of("endless", 4, "right", 1, 10 * MS), receivers=("panel",)),
        replace(message_of("unplaced", 5, "right", 1, 10 * MS), identifier=None, receivers=("panel",)),
    ]
    made = catalogue_of(messages, BIT_RATE, dict.fromkeys(PROCESSING_MS, tolerance))
    nodes = {name: replace(node, processing_ns=PROCESSING_MS[name] * MS) for name, node in made.nodes.items()}
    functions = tuple(Function(f"f{number}", path, 100 * MS) for number, path in enumerate(paths))
    return replace(made, nodes=nodes, functions=functions)


def bounds(catalogue: Catalogue) -> tuple[FunctionBound, ...]:
    cases = {}
    for name, response_ms in RESPONSES_MS.items():
        response_ns = None if response_ms is None else response_ms * MS
        why = "" if response_ms else "the queue may grow for ever"
        cases[name] = WorstCase(catalogue.message(name), 100, 0, 0, response_ns, True, why)
    return function_bounds(catalogue, cases)


def bound_of(*path: str, **more: object) -> FunctionBound:
    return bounds(network(path, **more))[0]  # type: ignore[arg-type]


ON_THE_WAY_MS = {  # path: processing + waiting + response + ... = reaction; the age where it differs
    ("panel.switch", "order", "left.drive"): (20 + 50 + 2 + 10, None),
    ("panel.switch", "order"): (20 + 50 + 2, None),
    ("order", "left.drive"): (2 + 10, 50 + 2 + 10),
    ("order",): (2, 50 + 2),
    ("panel.switch", "order", "left.drive", "report", "panel.lamp"): (20 + 50 + 2 + 10 + 20 + 3 + 20, None),
    ("panel.switch", "order", "report", "panel.lamp"): (20 + 50 + 2 + 10 + 20 + 3 + 20, None),
    ("order", "left.drive", "left.state", "report", "recorder.page"): (2 + 10 + 20 + 3 + 0, 50 + 2 + 10 + 20 + 3 + 0),
    ("panel.switch", "panel.horn"): (20, None),
    ("panel.switch",): (0, None),
}


@pytest.mark.parametrize("path", ON_THE_WAY_MS, ids=" ".join)
def test_a_way_is_the_sum_of_its_stages(path: tuple[str, ...]) -> None:
    found, (reaction_ms, age_ms) = bound_of(*path), ON_THE_WAY_MS[path]
    assert found.reaction_ns == reaction_ms * MS
    assert found.age_ns == (reaction_ms if age_ms is None else age_ms) * MS
    assert sum(stage.most_ns or 0 for stage in found.stages) == found.reaction_ns


def test_the_stage_that_costs_most_is_named() -> None:
    costliest = bound_of("panel.switch", "order", "left.drive").costliest
    assert costliest is not None
    assert costliest == Stage("wait", "order", Fraction(50 * MS))
    assert bound_of("panel.switch").costliest is None


def test_a_slow_clock_makes_the_wait_longer_and_the_sum_is_rounded_once() -> None:
    found = bound_of("panel.switch", "order", "left.drive", "report", "panel.lamp", tolerance=Fraction(3, 1000))
    waits = (50 + 20) * MS / Fraction(997, 1000)
    assert found.reaction_ns == ceil((20 + 2 + 10 + 3 + 20) * MS + waits)


def test_frames_that_have_to_agree_cost_a_period_each() -> None:
    assert bound_of("panel.switch", "order", good_frames=3).reaction_ns == (20 + 3 * 50 + 2) * MS
    from_release = bound_of("order", "left.drive", good_frames=3)
    assert (from_release.reaction_ns, from_release.age_ns) == ((2 * 50 + 2 + 10) * MS, (3 * 50 + 2 + 10) * MS)


def test_an_irregular_message_is_not_waited_for_and_what_it_said_may_be_of_any_age() -> None:
    found = bound_of("right.fault", "alarm", "panel.horn")
    assert found.reaction_ns == (15 + 4 + 20) * MS
    assert (found.age_ns, found.why_no_age) == (None, "`alarm` is irregular: nothing renews what it said")


def test_nodes_that_declare_no_processing_are_named() -> None:
    assert bound_of("left.state", "report", "recorder.page").uncounted == ("recorder",)
    assert bound_of("left.state", "report", "panel.lamp").uncounted == ()


@pytest.mark.parametrize(
    ("path", "why"),
    [
        (("right.a", "endless", "panel.b"), "`endless` has no bound: the queue may grow for ever"),
        (("right.a", "unplaced", "panel.b"), "`unplaced` has no identifier, so no response time"),
        (("panel.switch", "order", "recorder.page"), "its path does not lead from `order` to `recorder.page`"),
        (("panel.switch", "left.drive"), "its path does not lead from `panel.switch` to `left.drive`"),
    ],
)
def test_a_way_without_a_bound_says_why(path: tuple[str, ...], why: str) -> None:
    found = bound_of(*path)
    assert (found.reaction_ns, found.age_ns, found.skew_ns, found.costliest, found.why_not) == (None,) * 4 + (why,)


def test_an_irregular_message_that_has_to_agree_with_itself_is_never_believed() -> None:
    catalogue = network(("right.fault", "alarm", "panel.horn"))
    twice = tuple(
        replace(message, accept=Acceptance((2, 3))) if message.name == "alarm" else message
        for message in catalogue.messages
    )
    (found,) = bounds(replace(catalogue, messages=twice))
    assert found.reaction_ns is None
    assert found.why_not == "`alarm` is irregular, and believed only once 2 good frames have come"


def test_effects_of_one_frame_are_apart_by_what_follows_it() -> None:
    left, right, lamp, other = bounds(
        network(
            ("panel.switch", "order", "left.drive"),
            ("panel.switch", "order", "right.drive"),
            ("panel.switch", "order", "report", "panel.lamp"),
            ("panel.selector", "order", "right.drive"),
        )
    )
    assert left.apart_from == ("f1", "f2")
    assert right.apart_from == ("f0", "f2")
    assert other.apart_from == ()
    assert other.skew_ns == 0
    lamp_most = (10 + 20 + 3 + 20) * MS
    assert (left.skew_ns, right.skew_ns, lamp.skew_ns) == (lamp_most, lamp_most, lamp_most)
    pair = bounds(network(("panel.switch", "order", "left.drive"), ("panel.switch", "order", "right.drive")))
    assert [found.skew_ns for found in pair] == [15 * MS, 15 * MS]


def test_the_skew_knows_that_the_quicker_one_has_to_send_its_frame_first() -> None:
    """A slow leg beside one that reports: the report cannot be there before its shortest frame is through."""
    catalogue = network(("order", "right.drive"), ("order", "report"))
    nodes = {**catalogue.nodes, "right": replace(catalogue.nodes["right"], processing_ns=100 * MS)}
    slow, quick = bounds(replace(catalogue, nodes=nodes))
    shortest = min(frame_bits(2, value.to_bytes(2, "little")) for value in range(1 << 16))
    assert slow.skew_ns == quick.skew_ns == 100 * MS - (shortest - 3) * 4_000
