"""Runs with errors within a declared model against the bounds with errors: never above, but above what is told less.

The sources below strike where the model allows the next error, so they look at what they did before; those of the
program never do.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from itertools import pairwise
from random import Random
from typing import Any

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from busdesign.analysis.errors import cases_with_errors
from busdesign.analysis.frame_lengths import longest_frames
from busdesign.analysis.streams import worst_cases
from busdesign.catalogue.model import Catalogue
from busdesign.catalogue.model_errors import ErrorModel
from busdesign.virtual.bus import simulate_bus
from busdesign.virtual.disturbances import Attempt, Conditions, Hit, SeenBy, Who
from busdesign.virtual.run import Run
from busdesign.wire.frame import Frame
from busdesign.wire.longest import longest_frame
from busdesign.wire.payload_sets import any_payload
from tests.networks import MS, catalogue_of, catalogues, fixed, message_of, scenario_of

RUN_NS = 100 * MS
LATEST_FLAG_BITS = 8  # from a bit that is read wrong by all, or by the transmitter, to the flag that answers it
WAYS = st.fixed_dictionaries(
    {
        "phases": st.sampled_from(["declared", "random", "aligned"]),
        "jitter": st.sampled_from(["none", "random", "worst"]),
        "drift": st.sampled_from(["none", "random", "worst"]),
        "seed": st.integers(0, 2**32),
    }
)


@dataclass
class Striking:
    """Strikes frames as soon as the model allows, in their last bit or anywhere; errors count where they are signalled.

    ``most``: strikes of one node, which would go error passive with more than 15: the analysis does not model that.
    """

    apart_ns: int
    rng: Random
    anywhere: bool = False
    seen_by: SeenBy = Who.TRANSMITTER
    most: int = 14
    flagged_ns: int = -(10**12)
    strikes: dict[str, int] = field(default_factory=dict)

    def first(self, attempt: Attempt, from_bit: int) -> Hit | None:
        if from_bit or self.strikes.get(attempt.node, 0) >= self.most:
            return None
        last = attempt.end_bit - 1
        bit = self.rng.randint(0, last) if self.anywhere else last
        if self.anywhere and self.rng.random() < 0.3:
            return None
        per_ns = attempt.ticks_per_ns
        earliest = (attempt.start + (bit + 1) * attempt.bit) // per_ns
        latest = -(-(attempt.start + (bit + LATEST_FLAG_BITS) * attempt.bit) // per_ns)
        if earliest < self.flagged_ns + self.apart_ns:
            return None
        self.flagged_ns = latest if self.anywhere else earliest + 1
        self.strikes[attempt.node] = self.strikes.get(attempt.node, 0) + 1
        return Hit(bit, self.seen_by)


def run_with(catalogue: Catalogue, source: Any, way: Mapping[str, Any]) -> Run:
    return simulate_bus(scenario_of(catalogue, RUN_NS, **way), {}, None, Conditions(sources=(source,)))


def longest_of(run: Run) -> dict[str, int]:
    found: dict[str, int] = {}
    for index, response in zip(run.message_index.tolist(), run.response_ns.tolist(), strict=True):
        name = run.catalogue.messages[index].name
        found[name] = max(found.get(name, 0), response)
    return found


def bounds_of(catalogue: Catalogue, lengths: Mapping[str, int], apart_ns: int) -> dict[str, int | None]:
    cases = cases_with_errors(catalogue, lengths, ErrorModel(at_least_apart_ns=apart_ns))
    return {name: case.case.response_ns if case.case else None for name, case in cases.items()}


@given(
    catalogue=catalogues(),
    way=WAYS,
    apart_ms=st.integers(3, 40),
    anywhere=st.booleans(),
    seen_by=st.sampled_from([Who.ALL, Who.TRANSMITTER]),
    seed=st.integers(0, 2**32),
)
@settings(max_examples=90, deadline=None, suppress_health_check=[HealthCheck.too_slow])
def test_no_run_with_errors_is_longer_than_its_bound(
    catalogue: Catalogue, way: Mapping[str, Any], apart_ms: int, anywhere: bool, seen_by: Who, seed: int
) -> None:
    run = run_with(catalogue, Striking(apart_ms * MS, Random(seed), anywhere, seen_by), way)
    assert all(state.state == "error active" for node in run.errors.values() for state in node)
    flags = sorted(error.flag_ns for error in run.error_frames)
    assert all(later - one >= apart_ms * MS - 1 for one, later in pairwise(flags))
    bounds = bounds_of(catalogue, longest_frames(catalogue), apart_ms * MS)
    for name, response in longest_of(run).items():
        bound = bounds[name]
        assert bound is None or response <= bound, name


def random_set(rng: Random) -> Catalogue:
    """Messages whose frames are as long as they can be, and load the bus by half or so."""
    count = rng.randint(3, 9)
    messages = [
        message_of(
            f"m{rank}",
            0x100 + 16 * rank + rng.randint(0, 15),
            f"node{rng.randint(0, 2)}",
            rng.randint(1, 8),
            rng.choice([5, 10, 20]) * MS,
            offset_ns=rng.choice([0, 0, 150_000]),
        )
        for rank in range(count)
    ]
    return catalogue_of(messages, rng.choice([125_000, 250_000]), {f"node{node}": Fraction(0) for node in range(3)})


def test_errors_matter_and_a_bound_for_rarer_ones_is_not_enough() -> None:
    """So that the property above can fail: many runs exceed the bound without errors, some that for rarer ones."""
    rng = Random(3)
    compared, beyond_none, beyond_rarer, tightest = 0, 0, 0, 0.0
    for _ in range(80):
        catalogue = random_set(rng)
        worst: dict[str, Frame] = {
            message.name: longest_frame(message.identifier or 0, any_payload(message.length_bytes))
            for message in catalogue.messages
        }
        lengths = longest_frames(catalogue)
        apart_ns = rng.choice([4, 6, 10]) * MS
        payload = fixed({name: frame.data for name, frame in worst.items()})
        seen_by = rng.choice([Who.ALL, Who.TRANSMITTER])
        source = Striking(apart_ns, rng, rng.random() < 0.3, seen_by)
        run = run_with(catalogue, source, {"payload": payload, "phases": rng.choice(["declared", "aligned"])})
        bounds, rarer = bounds_of(catalogue, lengths, apart_ns), bounds_of(catalogue, lengths, 4 * apart_ns)
        without = worst_cases(catalogue, lengths).cases
        for name, response in longest_of(run).items():
            bound, least, told = bounds[name], without[name].response_ns, rarer[name]
            if bound is None:
                continue
            compared += 1
            assert response <= bound
            tightest = max(tightest, response / bound)
            beyond_none += least is not None and response > least
            beyond_rarer += told is not None and response > told
    assert compared > 200
    assert beyond_none > 30
    assert beyond_rarer > 3
    assert tightest > 0.9
