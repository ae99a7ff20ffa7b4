"""Two roads to one answer: bit by bit and frame by frame, the same winner, start and end of every frame."""

from dataclasses import replace
from fractions import Fraction

from hypothesis import given, settings
from hypothesis import strategies as st

from busdesign.catalogue.model import Catalogue
from busdesign.scenario.model import PayloadChoice
from tests.networks import MS, catalogue_of, catalogues, message_of, run_of
from tests.refereed_runs import refereed_rows, simulated_rows


@given(
    catalogue=catalogues(),
    jitter=st.sampled_from(["none", "worst"]),
    payload=st.sampled_from([PayloadChoice("zero", {}), PayloadChoice("random", {})]),
    seed=st.integers(0, 2**32),
)
@settings(max_examples=150)
def test_referee_and_simulator_agree_on_every_frame(
    catalogue: Catalogue, jitter: str, payload: PayloadChoice, seed: int
) -> None:
    simulated = run_of(catalogue, 40 * MS, jitter=jitter, seed=seed, payload=payload)
    assert refereed_rows(simulated, jitter) == simulated_rows(simulated)


def nudged(catalogue: Catalogue, by_ns: list[int]) -> Catalogue:
    """Every message released a little after the start of the run, so that who joins is a matter of nanoseconds."""
    messages = [
        replace(message, offset_ns=late_ns, jitter_ns=0)
        for message, late_ns in zip(catalogue.messages, by_ns, strict=False)
    ]
    return replace(catalogue, messages=tuple(messages))


@given(catalogue=catalogues(), by_ns=st.lists(st.integers(0, 12_000), min_size=12, max_size=12))
@settings(max_examples=100)
def test_within_one_bit_they_agree_on_who_joins(catalogue: Catalogue, by_ns: list[int]) -> None:
    simulated = run_of(nudged(catalogue, by_ns), 20 * MS)
    assert refereed_rows(simulated, "none") == simulated_rows(simulated)


def test_the_comparison_can_fail() -> None:
    """A referee that is told another jitter than the run had sees other starts."""
    messages = [message_of(f"m{rank}", 0x100 + rank, f"node{rank}", 4, 5 * MS, jitter_ns=MS) for rank in range(2)]
    catalogue = catalogue_of(messages, 250_000, {"node0": Fraction(0), "node1": Fraction(0)})
    simulated = run_of(catalogue, 20 * MS, jitter="worst")
    assert len(simulated.traffic)
    assert refereed_rows(simulated, "none") != simulated_rows(simulated)
