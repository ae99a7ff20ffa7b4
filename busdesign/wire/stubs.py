"""Are the stubs short enough, each and all together? What hangs off the trunk unterminated sends echoes back.

A stretch of trunk beyond the outermost termination is such a stub too, and counts as one.
"""

from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

from busdesign.wire.harness import Harness, require_possible
from busdesign.wire.physical_layer import Source
from busdesign.wire.problems import Exact, outside, refuse
from busdesign.wire.recommendations import recommended_stubs

CIA_STUBS = Source(
    "CiA 303-1: each stub at most a fiftieth of the propagation segment as wire, all together a tenth",
    "from memory; cross-checked with all six rows of the confirmed CANopen table",
)
CIA_PARTS = (50, 10)  # CIA_STUBS
CRITICAL_STUB = Source("TI SLLA270: a third of the length that an edge passes up and down as it rises", "from memory")
CRITICAL_PART = Fraction(1, 3)  # CRITICAL_STUB
TRANSITION_NS = 50  # CRITICAL_STUB: a driver's usual edge


@dataclass(frozen=True, slots=True)
class StubLimit:
    """``kind`` is "rule" for the one that is judged by, else "recommendation": of others, shown beside it."""

    kind: Literal["rule", "recommendation"]
    each_m: Fraction
    all_m: Fraction | None
    source: Source


@dataclass(frozen=True, slots=True)
class StubVerdict:
    """The stubs against one limit; margins are what is left of it, negative where it is broken."""

    limit: StubLimit
    longest: str | None
    longest_m: Fraction
    margin_each_m: Fraction
    all_stubs_m: Fraction
    margin_all_m: Fraction | None
    too_long: tuple[str, ...]

    @property
    def holds(self) -> bool:
        return self.margin_each_m >= 0 and (self.margin_all_m is None or self.margin_all_m >= 0)


def stub_lengths_m(harness: Harness) -> dict[str, Fraction]:
    """Every stub by its node, and the trunk's ends beyond the terminations; what has no length is left out.

    With fewer than two terminations the ends are no stubs: that one is missing is another finding.
    """
    lengths = {tap.node: Fraction(tap.stub_m) for tap in harness.taps}
    if len(harness.terminations) > 1:
        places = [termination.at_m for termination in harness.terminations]
        lengths["trunk before its first termination"] = Fraction(min(places))
        lengths["trunk after its last termination"] = Fraction(harness.trunk_m - max(places))
    return {name: length_m for name, length_m in lengths.items() if length_m}


def stub_limits(
    bit_rate_bit_s: Exact, prop_seg_ns: Exact, delay_ns_per_m: Exact, transition_ns: Exact = TRANSITION_NS
) -> tuple[StubLimit, ...]:
    """The rule for this propagation segment and cable, then what others recommend. Raises ValueError unless positive.

    ``transition_ns`` is how long an edge of the driver takes.
    """
    for name, value in (
        ("bit_rate_bit_s", bit_rate_bit_s),
        ("prop_seg_ns", prop_seg_ns),
        ("delay_ns_per_m", delay_ns_per_m),
        ("transition_ns", transition_ns),
    ):
        refuse(outside(name, value, Fraction(1, 1000), 10**9, name.partition("_")[2]))
    each, together = (Fraction(prop_seg_ns) / (part * delay_ns_per_m) for part in CIA_PARTS)
    critical_m = CRITICAL_PART * transition_ns / (2 * delay_ns_per_m)
    return (
        StubLimit("rule", each, together, CIA_STUBS),
        StubLimit("recommendation", critical_m, None, CRITICAL_STUB),
        *(
            StubLimit("recommendation", row.stub_m, row.all_stubs_m, row.source)
            for row in recommended_stubs(bit_rate_bit_s)
        ),
    )


def judge_stubs(
    harness: Harness, bit_rate_bit_s: Exact, prop_seg_ns: Exact, transition_ns: Exact = TRANSITION_NS
) -> tuple[StubVerdict, ...]:
    """The stubs against every limit of `stub_limits`, in its order. Raises ValueError as that, and as the harness."""
    require_possible(harness)
    limits = stub_limits(bit_rate_bit_s, prop_seg_ns, harness.cable.delay_ns_per_m, transition_ns)
    lengths = stub_lengths_m(harness)
    return tuple(_judged(lengths, limit) for limit in limits)


def _judged(lengths: dict[str, Fraction], limit: StubLimit) -> StubVerdict:
    longest = max(lengths, key=lengths.__getitem__, default=None)
    longest_m = Fraction(0) if longest is None else lengths[longest]
    together_m = sum(lengths.values(), Fraction(0))
    return StubVerdict(
        limit=limit,
        longest=longest,
        longest_m=longest_m,
        margin_each_m=limit.each_m - longest_m,
        all_stubs_m=together_m,
        margin_all_m=None if limit.all_m is None else limit.all_m - together_m,
        too_long=tuple(name for name, length_m in lengths.items() if length_m > limit.each_m),
    )
