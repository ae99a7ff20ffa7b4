"""The timing and the wires in the answer of ``check``: every figure beside its limit, its margin and its source."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TypeVar

from busdesign.answers.wires_judged import Judged, JudgedHarness
from busdesign.wire.bit_timing import Limits
from busdesign.wire.compatibility import Understanding
from busdesign.wire.delays import PropagationBudget, TrunkLimit
from busdesign.wire.levels import LevelRule
from busdesign.wire.oscillator import Assessment
from busdesign.wire.recommendations import LengthRecommendation
from busdesign.wire.stubs import StubVerdict

Shape = TypeVar("Shape", bound="SettingFigures")


@dataclass(frozen=True, slots=True)
class SettingFigures:
    """What every answer says of a setting. Ratios are fractions of 1; ``node`` is None where no catalogue is asked.

    ``margin`` is what is left of ``oscillator_tolerance`` after the clock's own and the rate's error.
    ``delay_slack_ns`` is what prop_seg has to spare one way; None where nothing says the delay.
    """

    node: str | None
    is_given: bool
    controller: str
    clock_hz: float
    prescaler: int
    prop_seg: int
    phase_seg1: int
    phase_seg2: int
    sjw: int
    sample_point: float
    bit_rate_bit_s: float
    rate_error: float
    oscillator_tolerance: float
    clock_tolerance: float
    margin: float
    weakest: str
    delay_slack_ns: float | None
    holds: bool


@dataclass(frozen=True, slots=True)
class TimingAnswer(SettingFigures):
    """One node's setting, given or chosen."""

    node: str


@dataclass(frozen=True, slots=True)
class PairAnswer:
    """The two boards that agree least, at the worst of both clocks; ``margin`` is of each clock, a fraction of 1."""

    sender: str
    receiver: str
    condition: str
    margin: float
    holds: bool


@dataclass(frozen=True, slots=True)
class PartAnswer:
    """One part of the propagation budget, out and back."""

    name: str
    delay_ns: float


@dataclass(frozen=True, slots=True)
class PropagationAnswer:
    """The slowest pair of nodes against the shortest propagation segment, that of ``segment_of``."""

    nodes: tuple[str, ...]
    wire_m: float
    parts: tuple[PartAnswer, ...]
    total_ns: float
    limit_ns: float
    margin_ns: float
    segment_of: str | None
    longest_trunk_m: float | None
    holds: bool
    source: str


@dataclass(frozen=True, slots=True)
class LevelAnswer:
    """One rule on levels: ``found`` against ``required``, in ``unit``. ``kind``: `rule` or `recommendation`."""

    kind: str
    name: str
    unit: str
    found: float
    required: float
    margin: float
    holds: bool
    source: str


@dataclass(frozen=True, slots=True)
class StubAnswer:
    """The stubs against one limit; ``kind`` is `rule` for the one they are judged by."""

    kind: str
    each_m: float
    all_m: float | None
    longest: str | None
    longest_m: float
    margin_each_m: float
    all_stubs_m: float
    margin_all_m: float | None
    holds: bool
    source: str


@dataclass(frozen=True, slots=True)
class RecommendedAnswer:
    """A trunk's length as printed elsewhere for this rate, or the next faster; it judges nothing."""

    bit_rate_bit_s: float
    trunk_m: float
    source: str
    note: str


@dataclass(frozen=True, slots=True)
class TerminationAnswer:
    """One resistor across the pair."""

    at_m: float
    ohm_min: float
    ohm_max: float


@dataclass(frozen=True, slots=True)
class HarnessAnswer:
    """The wires. ``echoes`` are of a step at the trunk's start and end: 1 is an open end, 0 a perfect termination.

    ``most_nodes`` is how many the levels allow on this trunk; None without two terminations.
    """

    trunk_m: float
    nodes: tuple[str, ...]
    assumed: tuple[str, ...]
    propagation: PropagationAnswer | None
    recommended: tuple[RecommendedAnswer, ...]
    lowest_level_v: float
    lowest_driver: str
    lowest_hearer: str
    highest_level_v: float
    levels: tuple[LevelAnswer, ...]
    stubs: tuple[StubAnswer, ...]
    terminations: tuple[TerminationAnswer, ...]
    echoes: tuple[float, ...]
    most_nodes: int | None
    holds: bool


def timing_answers(found: Judged) -> tuple[TimingAnswer, ...]:
    """Every node with a clock."""
    return tuple(
        with_figures(
            TimingAnswer,
            one.assessment,
            one.limits,
            node=one.node,
            is_given=one.is_given,
            has_delay=found.delay_ns is not None,
        )
        for one in found.settings.values()
    )


def pair_answer(apart: Understanding | None) -> PairAnswer | None:
    """The pair of boards that agree least; None for fewer than two."""
    if apart is None:
        return None
    tight = apart.tightest
    return PairAnswer(tight.sender, tight.receiver, tight.name, float(tight.margin), tight.holds)


def harness_answer(found: JudgedHarness | None) -> HarnessAnswer | None:
    """The wires; None where the catalogue says no trunk."""
    if found is None:
        return None
    harness, lowest = found.harness, found.levels.lowest
    propagation = None
    if found.propagation is not None and found.trunk is not None:
        propagation = propagation_answer(found.propagation, found.trunk, found.shortest)
    return HarnessAnswer(
        trunk_m=float(harness.trunk_m),
        nodes=tuple(tap.node for tap in harness.taps),
        assumed=found.assumed,
        propagation=propagation,
        recommended=() if found.trunk is None else recommended_answers(found.trunk.recommended),
        lowest_level_v=float(lowest.level_v),
        lowest_driver=lowest.driver,
        lowest_hearer=lowest.hearer,
        highest_level_v=float(found.levels.highest.level_v),
        levels=tuple(_level(rule) for rule in found.levels.rules),
        stubs=tuple(_stub(verdict) for verdict in found.stubs),
        terminations=tuple(
            TerminationAnswer(float(each.at_m), float(each.ohm_min), float(each.ohm_max))
            for each in harness.terminations
        ),
        echoes=tuple(float(echo) for echo in found.echoes),
        most_nodes=None if found.most_nodes is None else found.most_nodes.most_nodes,
        holds=_holds(found),
    )


def with_figures(
    shape: Callable[..., Shape],
    assessment: Assessment,
    limits: Limits,
    *,
    node: str | None,
    is_given: bool,
    has_delay: bool,
    **more: object,
) -> Shape:
    """An answer of ``shape`` with the `SettingFigures` of one assessed setting, and whatever ``more`` it has."""
    setting = assessment.setting
    return shape(
        node=node,
        is_given=is_given,
        controller=limits.name,
        clock_hz=float(setting.clock_hz),
        prescaler=setting.prescaler,
        prop_seg=setting.prop_seg,
        phase_seg1=setting.phase_seg1,
        phase_seg2=setting.phase_seg2,
        sjw=setting.sjw,
        sample_point=float(setting.sample_point),
        bit_rate_bit_s=float(setting.bit_rate_bit_s),
        rate_error=float(assessment.rate_error),
        oscillator_tolerance=float(assessment.oscillator_tolerance),
        clock_tolerance=float(assessment.clock_tolerance),
        margin=float(assessment.margin),
        weakest=assessment.weakest.name,
        delay_slack_ns=float(assessment.delay_slack_ns) if has_delay else None,
        holds=assessment.holds,
        **more,
    )


def propagation_answer(budget: PropagationBudget, trunk: TrunkLimit, segment_of: str | None) -> PropagationAnswer:
    """A budget and the trunk that it allows; ``segment_of`` is the node whose segment it is held against."""
    longest_m = trunk.longest_trunk_m
    return PropagationAnswer(
        nodes=budget.nodes,
        wire_m=float(budget.wire_m),
        parts=tuple(PartAnswer(part.name, float(part.delay_ns)) for part in budget.parts),
        total_ns=float(budget.total_ns),
        limit_ns=float(budget.limit_ns),
        margin_ns=float(budget.margin_ns),
        segment_of=segment_of,
        longest_trunk_m=None if longest_m is None else float(longest_m),
        holds=budget.holds,
        source=str(budget.source),
    )


def recommended_answers(rows: Sequence[LengthRecommendation]) -> tuple[RecommendedAnswer, ...]:
    """Lengths of a trunk as printed elsewhere."""
    return tuple(
        RecommendedAnswer(float(row.bit_rate_bit_s), float(row.trunk_m), str(row.source), row.note) for row in rows
    )


def _level(rule: LevelRule) -> LevelAnswer:
    figures = (float(rule.found), float(rule.required), float(rule.margin))
    return LevelAnswer(rule.kind, rule.name, rule.unit, *figures, rule.holds, str(rule.source))


def _stub(verdict: StubVerdict) -> StubAnswer:
    limit = verdict.limit
    return StubAnswer(
        kind=limit.kind,
        each_m=float(limit.each_m),
        all_m=None if limit.all_m is None else float(limit.all_m),
        longest=verdict.longest,
        longest_m=float(verdict.longest_m),
        margin_each_m=float(verdict.margin_each_m),
        all_stubs_m=float(verdict.all_stubs_m),
        margin_all_m=None if verdict.margin_all_m is None else float(verdict.margin_all_m),
        holds=verdict.holds,
        source=str(limit.source),
    )


def _holds(found: JudgedHarness) -> bool:
    """By the rules; what is only recommended does not count."""
    fits = found.propagation is None or found.propagation.holds
    stubs_fit = all(verdict.holds for verdict in found.stubs if verdict.limit.kind == "rule")
    return fits and stubs_fit and found.levels.holds and not found.unsuitable
