"""Functions in simulated runs: boards that hand a number on are never later than the bound, and can be as late.

The boards' own labels tell how long it really took; the measuring by frames stands between that and the bound.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from fractions import Fraction
from math import ceil
from typing import Any

from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st

from busdesign.analysis.frame_lengths import longest_frames
from busdesign.analysis.functions import FunctionBound, function_bounds
from busdesign.analysis.streams import worst_cases
from busdesign.answers.functions_run import FunctionRun, beyond_bounds, function_runs
from busdesign.catalogue.model import Acceptance, Catalogue, Function, Message, Signal
from busdesign.catalogue.model_controllers import Receive
from busdesign.scenario.model import Step
from busdesign.virtual.node import Arrival, Node, Number
from busdesign.virtual.run import Run
from busdesign.wire.lengths import frame_bits
from tests.networks import MS, catalogue_of, fixed, message_of, run_of

QUICKLY = settings(max_examples=80, deadline=None, suppress_health_check=[HealthCheck.too_slow])
VALUE = (Signal("value", 0, 16),)
CAUSES = 6
BIT_NS = 4_000
WAYS = st.fixed_dictionaries(
    {
        "phases": st.sampled_from(["declared", "random", "aligned"]),
        "jitter": st.sampled_from(["none", "random", "worst"]),
        "drift": st.sampled_from(["none", "random", "worst"]),
        "seed": st.integers(0, 2**32),
    }
)


class Relay(Node):
    """Takes over the number that it heard in the latest ``good_frames`` frames, and hands it on at its next look, or at
    once if it needs no look; the first board is told its number.
    """

    value = Number(settable=True)

    def __init__(self, hears: str = "", says: str = "", look_ms: int = 0, good_frames: int = 1, is_event: bool = False):
        self.hears, self.says, self.look_ms = hears, says, look_ms
        self.good_frames, self.is_event = good_frames, is_event
        self.recent: list[float] = []
        self.told = self.known = 0.0

    def begin(self) -> None:
        if self.look_ms:
            self.each(f"{self.look_ms} ms", self.look)

    def heard(self, message: Arrival) -> None:
        if message.name != self.hears:
            return
        self.recent = [*self.recent, float(message["value"])][-self.good_frames :]
        if len(self.recent) == self.good_frames and len(set(self.recent)) == 1:
            self.known = self.recent[0]
        if not self.look_ms:
            self.look()

    def look(self) -> None:
        self.value = self.known if self.hears else self.value
        if self.says and self.is_event and self.value != self.told:
            self.say(self.says, value=self.value)
        elif self.says and not self.is_event:
            self.publish(self.says, value=self.value)
        self.told = self.value


@dataclass(frozen=True)
class Chain:
    """A catalogue with one function from ``node0.value`` to the last node's, and boards that carry it."""

    catalogue: Catalogue
    looks_ms: tuple[int, ...]

    def models(self) -> dict[str, Node]:
        hops = [self.catalogue.message(f"hop{number}") for number in range(len(self.looks_ms) - 1)]
        models: dict[str, Node] = {}
        for number, look_ms in enumerate(self.looks_ms):
            heard = hops[number - 1] if number else None
            said = hops[number] if number < len(hops) else None
            frames = heard.accept.good_frames[0] if heard and heard.accept else 1
            model = Relay(
                heard.name if heard else "", said.name if said else "", look_ms, frames, bool(said and said.irregular)
            )
            model.name = f"node{number}"
            models[model.name] = model
        return models

    def bound(self) -> FunctionBound:
        return function_bounds(self.catalogue, worst_cases(self.catalogue, longest_frames(self.catalogue)).cases)[0]


def chain_of(
    hops: list[Message],
    others: list[Message],
    looks_ms: list[int],
    tolerances: list[Fraction],
    reads_ms: Mapping[str, int] | None = None,
) -> Chain:
    """The messages ``hops`` carry the number from node to node; ``others`` are in their way.

    ``reads_ms``: nodes that read their receive FIFO only every so often.
    """
    names = [f"node{number}" for number in range(len(hops) + 1)]
    carried = [
        replace(hop, receivers=(names[number + 1],), signals=VALUE, length_bytes=max(hop.length_bytes, 2))
        for number, hop in enumerate(hops)
    ]
    made = catalogue_of([*carried, *others], 250_000, dict(zip(names, tolerances, strict=True)))
    nodes = {
        name: replace(made.nodes[name], processing_ns=ceil(look_ms * MS / (1 - tolerance)))
        for name, look_ms, tolerance in zip(names, looks_ms, tolerances, strict=True)
    }
    for name, read_ms in (reads_ms or {}).items():
        nodes[name] = replace(nodes[name], receive=Receive(50, read_ms * MS))
    path = (f"{names[0]}.value", *(hop.name for hop in carried), f"{names[-1]}.value")
    return Chain(replace(made, nodes=nodes, functions=(Function("f", path, 10**9),)), tuple(looks_ms))


@st.composite
def chains(draw: st.DrawFn) -> Chain:
    """One to three hops over two to four nodes, and up to five messages in their way."""
    count = draw(st.integers(1, 3))
    periods = st.sampled_from([5, 7, 10, 20, 33])
    numbers = draw(st.lists(st.integers(0, 0x7FF), min_size=count + 5, max_size=count + 5, unique=True))
    tolerance = st.sampled_from([Fraction(0), Fraction(3, 1000), Fraction(15, 1000)])

    def message(name: str, sender: int, **more: Any) -> Message:
        period_ns = draw(periods) * MS
        jitter_ns = draw(st.sampled_from([0, 300_000, MS, 3 * period_ns // 2])) if not more.get("irregular") else 0
        offset_ns = draw(st.integers(0, period_ns)) if not more.get("irregular") else 0
        length = draw(st.integers(2, 8))
        more = {"jitter_ns": jitter_ns, "offset_ns": offset_ns, **more}
        return message_of(name, numbers.pop(), f"node{sender}", length, period_ns, **more)

    hops = []
    for number in range(count):
        is_event = draw(st.integers(0, 3)) == 0
        frames = 1 if is_event else draw(st.sampled_from([1, 1, 2]))
        hops.append(message(f"hop{number}", number, irregular=is_event, accept=Acceptance((frames, frames))))
    others = [message(f"other{number}", draw(st.integers(0, count))) for number in range(draw(st.integers(0, 5)))]
    looks_ms = [draw(st.integers(1, 9)), *(draw(st.sampled_from([0, 0, 2, 7])) for _ in range(count))]
    reads_ms = {f"node{number}": draw(st.sampled_from([0, 0, 1, 4, 13])) for number in range(count + 1)}
    reads_ms = {name: read_ms for name, read_ms in reads_ms.items() if read_ms}
    return chain_of(hops, others, looks_ms, [draw(tolerance) for _ in range(count + 1)], reads_ms)


def run_with_causes(chain: Chain, apart_ns: int, gaps: list[int], way: Mapping[str, Any]) -> tuple[Run, list[int]]:
    """A run in which node0's number changes now and then, at least ``apart_ns`` apart; the times of the changes."""
    causes, at_ns = [], 300 * MS  # after the power-up
    for gap in gaps:
        at_ns += apart_ns + gap
        causes.append(at_ns)
    steps = tuple(Step(at, {"node0.value": float(number)}) for number, at in enumerate(causes, 1))
    return run_of(chain.catalogue, at_ns + apart_ns + MS, chain.models(), steps=steps, **way), causes


def taken(run: Run, chain: Chain, causes: list[int]) -> list[int]:
    """How long after each cause the last board showed its number."""
    shown = run.traces[f"node{len(chain.looks_ms) - 1}.value"]
    first = {value: at for at, value in reversed(list(zip(shown.times_ns, shown.values, strict=True)))}
    return [first[float(number)] - at for number, at in enumerate(causes, 1)]


@given(chain=chains(), gaps=st.lists(st.integers(0, 40 * MS), min_size=CAUSES, max_size=CAUSES), way=WAYS)
@QUICKLY
def test_no_number_arrives_later_than_the_bound(chain: Chain, gaps: list[int], way: Mapping[str, Any]) -> None:
    bound = chain.bound()
    assume(bound.reaction_ns is not None)
    assert bound.reaction_ns is not None
    run, causes = run_with_causes(chain, max(bound.reaction_ns, 40 * MS), gaps, way)
    really = max(taken(run, chain, causes))
    (measured,) = function_runs([bound], run, ())
    assert really <= bound.reaction_ns
    assert measured.within_bound
    assert (measured.causes, measured.effects) == (CAUSES, CAUSES)  # each was seen, and in its own time
    assert measured.effect_ms == really / MS


PERIOD_NS = 20 * MS
FRAME_BITS = frame_bits(1, bytes(2))


def just_missed() -> Chain:
    """Two hops; the second frame has just left each time the first one arrives."""
    first_arrives_ns = (FRAME_BITS - 3) * BIT_NS
    hops = [
        message_of("hop0", 1, "node0", 2, PERIOD_NS),
        message_of("hop1", 2, "node1", 2, PERIOD_NS, offset_ns=first_arrives_ns - 1),
    ]
    return chain_of(hops, [], [1, 0, 0], [Fraction(0)] * 3)


def slowest(chain: Chain, bound: FunctionBound) -> FunctionRun:
    run = run_of(chain.catalogue, 500 * MS, payload=fixed({"hop0": bytes(2), "hop1": bytes(2)}))
    (found,) = function_runs([bound], run, ())
    return found


def test_at_its_worst_a_run_comes_as_close_to_the_bound_as_its_frames_do_to_theirs() -> None:
    """No period is left over: what is, are the frames that might have been in the way or longer, the three bits of
    intermission for which the last receiver need not wait, and the nanosecond by which the first release is missed.
    """
    chain = just_missed()
    bound = chain.bound()
    found = slowest(chain, bound)
    assert bound.reaction_ns is not None
    assert found.reaction_ms is not None
    responses_ns = sum(stage.most_ns for stage in bound.stages if stage.what == "response" and stage.most_ns)
    left_ns = bound.reaction_ns - round(found.reaction_ms * MS)
    assert left_ns == responses_ns - 2 * FRAME_BITS * BIT_NS + 3 * BIT_NS + 1
    assert 0 < left_ns < MS < PERIOD_NS


def test_a_bound_told_too_short_a_period_is_exceeded_and_that_is_said() -> None:
    """The property can fail: a run is not held under its bound by construction."""
    chain = just_missed()
    hasty = tuple(replace(message, period_ns=10 * MS) for message in chain.catalogue.messages)
    bound = replace(chain, catalogue=replace(chain.catalogue, messages=hasty)).bound()
    found = slowest(chain, bound)
    assert found.reaction_ms is not None
    assert found.bound_ms is not None
    assert found.reaction_ms > found.bound_ms
    assert found.within_bound is False
    (said,) = beyond_bounds([bound], [found], "why")
    assert (said.rule, said.fix) == ("bound-exceeded", "why")


def test_a_bound_told_too_little_processing_sees_no_effects() -> None:
    """A board slower than it says: its effects come too late to be told from those of other causes: not counted."""
    chain = chain_of([message_of("hop0", 1, "node0", 2, PERIOD_NS)], [], [1, 7], [Fraction(0)] * 2)
    run, causes = run_with_causes(chain, 60 * MS, [0, 1, 2, 3, 4, 5], {})
    nodes = {
        name: replace(node, processing_ns=min(node.processing_ns, MS)) for name, node in chain.catalogue.nodes.items()
    }
    claimed = replace(chain, catalogue=replace(chain.catalogue, nodes=nodes)).bound()
    honest = function_runs([chain.bound()], run, ())[0]
    hasty = function_runs([claimed], replace(run, catalogue=replace(chain.catalogue, nodes=nodes)), ())[0]
    assert (honest.causes, honest.effects) == (len(causes), len(causes))
    assert hasty.effects < hasty.causes == len(causes)


def read_late() -> Chain:
    """The second board reads each frame a whole period after it came, but for a nanosecond."""
    ends_at_ns = PERIOD_NS + 1
    offset_ns = ends_at_ns - (FRAME_BITS - 3) * BIT_NS
    hop = message_of("hop0", 1, "node0", 2, PERIOD_NS, offset_ns=offset_ns)
    return chain_of([hop], [], [1, 0], [Fraction(0)] * 2, {"node1": 20})


def test_a_board_that_reads_late_is_beyond_a_bound_that_does_not_count_its_reads() -> None:
    chain = read_late()
    bound = chain.bound()
    nodes = {name: replace(node, receive=None) for name, node in chain.catalogue.nodes.items()}
    hasty = replace(chain, catalogue=replace(chain.catalogue, nodes=nodes)).bound()
    assert bound.reaction_ns is not None
    assert hasty.reaction_ns is not None
    # A change just after a look, published just after a release: each wait is as long as it can be.
    run, causes = run_with_causes(chain, 3 * PERIOD_NS, [19 * MS + 1, *[0] * (CAUSES - 1)], {})
    really = max(taken(run, chain, causes))
    frames_ns = sum(stage.most_ns or 0 for stage in bound.stages if stage.what == "response")
    assert hasty.reaction_ns < bound.reaction_ns - frames_ns <= really + 1 <= bound.reaction_ns
    (measured,) = function_runs([bound], run, ())
    assert measured.within_bound
    assert measured.effects == len(causes)


def two_ways() -> Catalogue:
    """One frame heard by two boards, one of which takes its time."""
    chain = chain_of([message_of("hop0", 1, "node0", 2, PERIOD_NS)], [], [1, 0], [Fraction(0)] * 2)
    catalogue = chain.catalogue
    nodes = {**catalogue.nodes, "node2": replace(catalogue.nodes["node1"], name="node2", processing_ns=9 * MS)}
    hop = replace(catalogue.messages[0], receivers=("node1", "node2"))
    functions = tuple(
        Function(f"f{number}", ("node0.value", "hop0", f"node{end}.value"), 10**9) for number, end in enumerate("121")
    )
    return replace(catalogue, nodes=nodes, messages=(hop,), functions=functions)


def test_effects_of_one_cause_are_apart_as_the_run_shows_and_no_further_than_the_bound() -> None:
    catalogue = two_ways()
    models: dict[str, Node] = {"node0": Relay("", "hop0", 1), "node1": Relay("hop0"), "node2": Relay("hop0", "", 9)}
    for name, model in models.items():
        model.name = name
    steps = tuple(Step((300 + 97 * number) * MS, {"node0.value": float(number)}) for number in range(1, 7))
    run = run_of(catalogue, 1_000 * MS, models, steps=steps)
    bounds = function_bounds(catalogue, worst_cases(catalogue, longest_frames(catalogue)).cases)
    found = function_runs(bounds, run, ())
    shown = [
        dict(zip(run.traces[f"node{n}.value"].values, run.traces[f"node{n}.value"].times_ns, strict=True))
        for n in (1, 2)
    ]
    really = max(abs(shown[0][number] - shown[1][number]) for number in range(1, 7))
    assert [each.skew_ms for each in found] == [really / MS] * 3
    assert [bound.skew_ns for bound in bounds] == [9 * MS] * 3
    assert 0 < really <= 9 * MS
