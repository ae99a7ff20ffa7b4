"""A checked catalogue at other bit rates: the load, and how long its messages wait at the worst.

Everything else stays as it is, jitter and deadlines too; with errors declared, they count.
"""

from dataclasses import dataclass, replace
from fractions import Fraction

from busdesign.analysis.errors import cases_with_errors
from busdesign.analysis.frame_lengths import longest_frames
from busdesign.analysis.streams import WorstCase, worst_cases
from busdesign.answers.check import CheckAnswer
from busdesign.answers.figures import MS
from busdesign.catalogue.model import Catalogue

USUAL_RATES_BIT_S = (125_000, 250_000, 500_000, 1_000_000)  # CiA 102's from the one that reaches furthest, from memory


@dataclass(frozen=True, slots=True)
class WaitAnswer:
    """One message at one rate; None without a bound."""

    name: str
    response_worst_ms: float | None
    margin: float | None  # the part of the deadline that is left, a fraction of 1; below 0 if missed


@dataclass(frozen=True, slots=True)
class RateAnswer:
    """The catalogue at one rate; loads are fractions of 1, and may exceed it."""

    bit_rate_bit_s: float
    is_declared: bool
    load_nominal: float
    load_worst: float
    messages: tuple[WaitAnswer, ...]  # those that have an identifier
    late: int  # how many of them miss their deadlines, or have no bound

    @property
    def longest(self) -> WaitAnswer | None:
        """The one that takes longest; None if one has no bound."""
        return (
            None
            if any(each.response_worst_ms is None for each in self.messages)
            else max(self.messages, key=lambda each: each.response_worst_ms or 0, default=None)
        )

    @property
    def tightest(self) -> WaitAnswer | None:
        """The one with the least margin; None if one has no bound."""
        return (
            None
            if any(each.margin is None for each in self.messages)
            else min(self.messages, key=lambda each: each.margin or 0, default=None)
        )


def at_rates(checked: CheckAnswer) -> tuple[RateAnswer, ...]:
    """The catalogue at the usual rates and its own, the slowest first."""
    definition = checked.definition
    declared = definition.bus.bit_rate_bit_s
    frame_bits = longest_frames(definition, checked.lengths)
    rates = sorted({*map(Fraction, USUAL_RATES_BIT_S), declared})
    return tuple(
        _at(checked, replace(definition, bus=replace(definition.bus, bit_rate_bit_s=rate)), frame_bits)
        for rate in rates
    )


def _at(checked: CheckAnswer, other: Catalogue, frame_bits: dict[str, int]) -> RateAnswer:
    declared, rate = checked.definition.bus.bit_rate_bit_s, other.bus.bit_rate_bit_s
    worst = worst_cases(other, frame_bits)
    cases = dict(worst.cases)
    if other.bus.errors is not None and other.bus.errors.rate_per_s is None:
        with_errors = cases_with_errors(other, frame_bits, other.bus.errors)
        cases = {name: told.case for name, told in with_errors.items() if told.case is not None}
    return RateAnswer(
        bit_rate_bit_s=float(rate),
        is_declared=rate == declared,
        load_nominal=checked.bus.load_nominal * float(declared / rate),
        load_worst=float(worst.load),
        messages=tuple(_wait(case) for case in cases.values()),
        late=sum(case.meets_deadline is not True for case in cases.values()),
    )


def _wait(case: WorstCase) -> WaitAnswer:
    if case.response_ns is None:
        return WaitAnswer(case.message.name, None, None)
    return WaitAnswer(case.message.name, case.response_ns / MS, 1 - case.response_ns / case.message.deadline_ns)
