"""Chains added up by hand: messages of 50 ms and 20 ms whose responses are given, so that a head can do the sums."""

from collections.abc import Mapping
from dataclasses import replace
from fractions import Fraction
from math import ceil

import pytest
from hypothesis import given
from hypothesis import strategies as st

from busdesign.analysis.functions import FunctionBound, function_bounds
from busdesign.analysis.stages import Stage
from busdesign.analysis.streams import WorstCase
from busdesign.catalogue.model import Acceptance, Catalogue, Function
from busdesign.catalogue.model_controllers import Receive
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


def reading(catalogue: Catalogue, *names: str, every_ms: int = 7, depth: int = 40) -> Catalogue:
    """The nodes ``names`` read their receive FIFO every ``every_ms``."""
    receive = Receive(depth, every_ms * MS)
    nodes = {name: replace(node, receive=receive) if name in names else node for name, node in catalogue.nodes.items()}
    return replace(catalogue, nodes=nodes)


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


READ_MS = {  # path: how many reads are waited for if `panel` and `left` read every so often
    ("panel.switch", "order", "left.drive"): 1,
    ("panel.switch", "order", "right.drive"): 0,
    ("panel.switch", "order"): 0,  # ends on the bus, before anybody reads
    ("order", "left.drive"): 1,
    ("panel.switch", "order", "left.drive", "report", "panel.lamp"): 2,
    ("panel.switch", "order", "report", "panel.lamp"): 2,
    ("right.fault", "alarm", "panel.horn"): 1,
    ("panel.switch", "panel.horn"): 0,
}


@pytest.mark.parametrize("path", READ_MS, ids=" ".join)
@pytest.mark.parametrize("good_frames", [1, 3])
def test_a_node_that_reads_every_so_often_adds_one_read_wherever_it_goes_on(
    path: tuple[str, ...], good_frames: int
) -> None:
    plain = network(path, good_frames=good_frames)
    (before,), (after,) = bounds(plain), bounds(reading(plain, "panel", "left"))
    assert before.reaction_ns is not None
    assert after.reaction_ns == before.reaction_ns + READ_MS[path] * 7 * MS
    if before.age_ns is not None:
        assert after.age_ns == before.age_ns + READ_MS[path] * 7 * MS
    assert [stage.of for stage in after.stages if stage.what == "reading"] == ["left", "panel"][: READ_MS[path]] or (
        path[1] == "alarm" and after.stages[-2] == Stage("reading", "panel", Fraction(7 * MS))
    )


def test_a_slow_clock_reads_less_often() -> None:
    tolerance = Fraction(3, 1000)
    plain = network(("order", "left.drive"), tolerance=tolerance)
    (before,), (after,) = bounds(plain), bounds(reading(plain, "left"))
    assert before.reaction_ns is not None
    assert after.reaction_ns == before.reaction_ns + ceil(7 * MS / (1 - tolerance))


def test_a_receive_fifo_that_may_overrun_leaves_nothing_to_promise() -> None:
    catalogue = network(("panel.switch", "order", "left.drive"), ("panel.switch", "order", "right.drive"))
    lossy, other = bounds(reading(catalogue, "left", every_ms=110, depth=2))
    assert (lossy.reaction_ns, lossy.age_ns, lossy.skew_ns, other.skew_ns) == (None,) * 4
    assert lossy.why_not == (
        "up to 3 frames may come between two reads of `left`, and its receive FIFO loses what comes after 2"
    )
    assert other.reaction_ns is not None
    (deep, _) = bounds(reading(catalogue, "left", every_ms=110, depth=3))
    assert deep.reaction_ns == (20 + 50 + 2 + 110 + 10) * MS


def test_effects_are_apart_by_a_read_if_one_of_them_waits_for_it() -> None:
    catalogue = network(("panel.switch", "order", "left.drive"), ("panel.switch", "order", "right.drive"))
    assert [found.skew_ns for found in bounds(reading(catalogue, "left"))] == [17 * MS, 17 * MS]


def pair_by_pair(catalogue: Catalogue) -> list[tuple[tuple[str, ...], int]]:
    """The definition of the skew, of each pair of functions."""
    found = bounds(catalogue)
    answers = []
    for own in found:
        names, skew = [], Fraction(0)
        for other in found:
            shared = [step for step, also in zip(own.function.path, other.function.path, strict=False) if step == also]
            while own.function.path[: len(shared)] != other.function.path[: len(shared)]:
                shared.pop()
            messages = [step for step in shared if "." not in step]
            if messages and own.function.path != other.function.path:
                names.append(other.function.name)
                ends = [_after(each, messages[-1]) for each in (own, other)]
                skew = max(skew, ends[0][0] - ends[1][1], ends[1][0] - ends[0][1])
        answers.append((tuple(names), ceil(skew)))
    return answers


def _after(bound: FunctionBound, message: str) -> tuple[Fraction, Fraction]:
    last = max(at for at, stage in enumerate(bound.stages) if (stage.what, stage.of) == ("response", message))
    rest = bound.stages[last + 1 :]
    return (
        sum((stage.most_ns or Fraction(0) for stage in rest), Fraction(0)),
        sum((stage.least_ns for stage in rest), Fraction(0)),
    )


STEPS = ("order", "left.drive", "right.drive", "report", "panel.lamp", "recorder.page")


@given(st.lists(st.lists(st.sampled_from(STEPS), min_size=1, max_size=5, unique=True), min_size=1, max_size=9))
def test_looked_at_by_steps_the_skew_is_the_most_of_all_pairs(tails: list[list[str]]) -> None:
    leads_on = {"order": {"left.drive", "right.drive", "report"}, "left.drive": {"report"}}
    leads_on["report"] = {"panel.lamp", "recorder.page"}
    paths = [["panel.switch", "order"] for _ in tails]
    for path, tail in zip(paths, tails, strict=True):
        for step in tail:
            if step in leads_on.get(path[-1], ()):
                path.append(step)
    catalogue = reading(network(*map(tuple, paths)), "panel")
    found = [(bound.apart_from, bound.skew_ns) for bound in bounds(catalogue)]
    assert found == pair_by_pair(catalogue)
