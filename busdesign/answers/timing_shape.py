"""What the answer of ``timing`` holds: settings with their margins, why the best is best, what was assumed."""

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Any

from busdesign.answers.plain import without_facts
from busdesign.answers.wires_check import (
    PairAnswer,
    PropagationAnswer,
    RecommendedAnswer,
    SettingFigures,
    with_figures,
)
from busdesign.findings import Finding, Refused
from busdesign.wire.bit_timing import Limits
from busdesign.wire.bit_timing_registers import two_registers
from busdesign.wire.delays import TrunkLimit
from busdesign.wire.oscillator import Assessment

_PRE_DIVIDERS = (1, 2)


@dataclass(frozen=True, slots=True)
class ConditionAnswer:
    """One published condition on the clocks, and how far it lets them be off, a fraction of 1."""

    name: str
    tolerance: float
    text: str


@dataclass(frozen=True, slots=True)
class RegistersAnswer:
    """The classical pair of registers, of a controller that divides its clock by ``pre_divider`` first."""

    pre_divider: int
    btr0: int
    btr1: int
    word: int  # both as one, BTR1 in the upper byte


@dataclass(frozen=True, slots=True)
class SettingAnswer(SettingFigures):
    """One setting and what it leaves, in every form that firmware may need.

    ``longest_trunk_m``: with the same nodes at both its ends; None where they alone take too long, or where a catalogue
    has the wires. ``registers`` are the ones that can hold the setting.
    """

    quanta: int
    time_segment1: int  # prop_seg and phase_seg1 together, as most controllers keep them
    quantum_ns: float
    conditions: tuple[ConditionAnswer, ...]  # the weakest first
    longest_trunk_m: float | None
    registers: tuple[RegistersAnswer, ...]


@dataclass(frozen=True, slots=True)
class TrunkAnswer:
    """The longest trunk by our own reckoning, and the delays that it counts: both nodes with isolators and stubs.

    ``longest_trunk_m`` is None where the nodes alone take longer than the propagation segment.
    """

    longest_trunk_m: float | None
    nodes_delay_ns: float
    cable_delay_ns_per_m: float


@dataclass(frozen=True, slots=True)
class RejectedAnswer:
    """A setting that leaves more margin and is not taken, and why."""

    setting: SettingAnswer
    why: str


@dataclass(frozen=True, slots=True)
class BitTimingAnswer:
    """Settings, best first; of a catalogue one for each node with a clock, in its order.

    ``found`` is how many settings there are in all. ``propagation`` is None where no delay is asked for.
    ``recommended`` are lengths printed elsewhere, which assume other delays and judge nothing.
    """

    settings: tuple[SettingAnswer, ...]
    catalogue: str | None
    bit_rate_bit_s: float
    sample_point: float
    found: int
    why: tuple[str, ...]
    rejected: tuple[RejectedAnswer, ...]
    clocks_apart: PairAnswer | None
    propagation: PropagationAnswer | None
    trunk: TrunkAnswer | None
    recommended: tuple[RecommendedAnswer, ...]
    assumed: tuple[str, ...]
    findings: tuple[Finding, ...]
    holds: bool


def setting_answer(
    assessment: Assessment,
    limits: Limits,
    *,
    node: str | None = None,
    is_given: bool = False,
    has_delay: bool = True,
    longest_trunk_m: Fraction | None = None,
) -> SettingAnswer:
    """One assessed setting as an answer has it."""
    setting = assessment.setting
    return with_figures(
        SettingAnswer,
        assessment,
        limits,
        node=node,
        is_given=is_given,
        has_delay=has_delay,
        quanta=setting.quanta,
        time_segment1=setting.prop_seg + setting.phase_seg1,
        quantum_ns=float(setting.quantum_ns),
        conditions=tuple(
            ConditionAnswer(condition.name, float(condition.tolerance), condition.text)
            for condition in assessment.conditions
        ),
        longest_trunk_m=None if longest_trunk_m is None else float(longest_trunk_m),
        registers=tuple(_registers(assessment)),
    )


def trunk_answer(trunk: TrunkLimit) -> TrunkAnswer:
    """The longest trunk of the best setting, or of the catalogue's shortest segment."""
    longest_m = trunk.longest_trunk_m
    stubs_ns = 2 * trunk.delay_ns_per_m * trunk.stubs_m
    return TrunkAnswer(
        None if longest_m is None else float(longest_m),
        float(sum(trunk.loop_delays_ns) + trunk.isolators_ns + stubs_ns),
        float(trunk.delay_ns_per_m),
    )


def refused(findings: Sequence[Finding]) -> dict[str, Any]:
    """The shape of ``timing --json`` where no setting can be given."""
    return without_facts(BitTimingAnswer, findings)


def _registers(one: Assessment) -> list[RegistersAnswer]:
    found = []
    for pre_divider in _PRE_DIVIDERS:
        try:
            pair = two_registers(one.setting, pre_divider=pre_divider)
        except Refused:
            continue
        found.append(RegistersAnswer(pre_divider, pair.btr0, pair.btr1, pair.word))
    return found
