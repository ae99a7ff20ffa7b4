"""Everything that ``wire`` has to say of a catalogue's clocks, wires and supply, computed once."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import combinations

from busdesign.catalogue.model import Bus, Catalogue
from busdesign.catalogue.wires import Assumed, NodeSetting, harness_of, setting_of, units_of
from busdesign.wire.bit_timing import Setting
from busdesign.wire.compatibility import Board, Understanding, understanding
from busdesign.wire.delays import PropagationBudget, TrunkLimit, longest_trunk, propagation_budget, propagation_room_ns
from busdesign.wire.harness import Harness
from busdesign.wire.levels import Levels, levels
from busdesign.wire.node_count import NodeCount, TwoEnds, node_count
from busdesign.wire.physical_layer import COMMON_MODE_V_MAX, COMMON_MODE_V_MIN
from busdesign.wire.problems import Problem
from busdesign.wire.stubs import StubVerdict, judge_stubs
from busdesign.wire.supply import GroundShift, SupplyDrop, Unit, ground_shifts, supply_drops
from busdesign.wire.terminations import echoes, unsuitable_terminations

_QUANTA = (16, *range(8, 26))  # tried in this order where no clock says how many quanta a bit has


@dataclass(frozen=True, slots=True)
class JudgedHarness:
    """The harness with its limits. ``shortest`` is the node whose setting leaves least for propagation, if any."""

    harness: Harness
    assumed: Assumed
    shortest: str | None
    propagation: PropagationBudget | None
    trunk: TrunkLimit | None
    stubs: tuple[StubVerdict, ...]
    levels: Levels
    unsuitable: tuple[Problem, ...]
    echoes: tuple[Fraction, Fraction]
    most_nodes: NodeCount | None


@dataclass(frozen=True, slots=True)
class Judged:
    """All of it. ``settings`` has the nodes with a clock; ``apart`` is the pair of boards that agree least."""

    settings: Mapping[str, NodeSetting]
    apart: Understanding | None
    delay_ns: Fraction | None  # the longest way one way, line and nodes
    harness: JudgedHarness | None
    drops: tuple[SupplyDrop, ...]
    shifts: tuple[GroundShift, ...]  # for each node that hears, the worst


def judged(definition: Catalogue) -> Judged:
    """What holds of ``definition``. Raises Refused, a ValueError, for wires that cannot be, which no file describes."""
    wired = harness_of(definition)
    budget = None if wired is None else propagation_budget(wired[0], 1)
    delay_ns = None if budget is None else budget.total_ns / 2
    settings = {
        name: found
        for name, node in definition.nodes.items()
        if (found := setting_of(node, definition.bus, delay_ns or 0)) is not None
    }
    units = units_of(definition)
    return Judged(
        settings=settings,
        apart=_least_agreeing(settings, delay_ns or Fraction(0)),
        delay_ns=delay_ns,
        harness=None if wired is None or budget is None else _judged_harness(*wired, budget, settings, definition.bus),
        drops=supply_drops(units) if units else (),
        shifts=_worst_shifts(units, definition) if len(units) > 1 else (),
    )


def _judged_harness(
    harness: Harness, assumed: Assumed, budget: PropagationBudget, settings: Mapping[str, NodeSetting], bus: Bus
) -> JudgedHarness:
    shortest = min(settings.values(), key=lambda one: one.setting.longest_delay_ns, default=None)
    room_ns: Fraction | None
    if shortest is not None:
        room_ns = 2 * shortest.setting.longest_delay_ns
    else:
        room_ns, quanta = _room_by_rate(bus)
        of_room = f"a propagation segment as of a bit of {quanta} quanta, as no node has a clock"
        assumed = (*assumed, of_room) if room_ns is not None else assumed
    return JudgedHarness(
        harness=harness,
        assumed=assumed,
        shortest=None if shortest is None else shortest.node,
        propagation=None if room_ns is None else replace(budget, limit_ns=room_ns, margin_ns=room_ns - budget.total_ns),
        trunk=None if room_ns is None else longest_trunk(harness, bus.bit_rate_bit_s, room_ns),
        stubs=() if room_ns is None else judge_stubs(harness, bus.bit_rate_bit_s, room_ns),
        levels=levels(harness),
        unsuitable=tuple(unsuitable_terminations(harness)),
        echoes=echoes(harness),
        most_nodes=_most_nodes(harness),
    )


def _room_by_rate(bus: Bus) -> tuple[Fraction | None, int]:
    for quanta in _QUANTA:
        try:
            return propagation_room_ns(bus.bit_rate_bit_s, bus.sample_point, quanta), quanta
        except ValueError:  # the sample point is not between two of so many quanta
            continue
    return None, 0


def _most_nodes(harness: Harness) -> NodeCount | None:
    """As if all were tied to the trunk like the one with the weakest driver, and drew like the thirstiest."""
    if len(harness.terminations) != 2:
        return None
    weakest = min(harness.taps, key=lambda tap: (tap.transceiver.driven_v_min, tap.transceiver.input_ohm))
    near, far = harness.terminations
    return node_count(TwoEnds(harness.trunk_m, harness.cable, near, far, weakest.transceiver))


def _least_agreeing(settings: Mapping[str, NodeSetting], delay_ns: Fraction) -> Understanding | None:
    """Of all pairs of boards, each taken at the longest delay.

    Every margin falls with either tolerance, so of the boards with one setting the two worst clocks are enough.
    """
    alike: dict[Setting, list[Board]] = {}
    for name, found in settings.items():
        board = Board(name, found.setting, found.assessment.clock_tolerance)
        alike.setdefault(found.setting, []).append(board)
    boards = [
        board
        for group in alike.values()
        for board in sorted(group, key=lambda board: board.clock_tolerance, reverse=True)[:2]
    ]
    agreed = [understanding(one, other, delay_ns=delay_ns) for one, other in combinations(boards, 2)]
    return min(agreed, key=lambda each: each.margin) if agreed else None


def _worst_shifts(units: tuple[Unit, ...], definition: Catalogue) -> tuple[GroundShift, ...]:
    """For each hearer the worst driver: one of the two that lift their ground most at their peak, or least idling."""
    lifted = sorted(units, key=lambda unit: unit.peak_a * unit.ground.ohm, reverse=True)[:2]
    low = sorted(units, key=lambda unit: unit.idle_a * unit.ground.ohm)[:2]
    worst = []
    for hearer in units:
        drivers = {unit.name: unit for unit in (*lifted, *low, hearer)}
        range_v = definition.nodes[hearer.name].common_mode_v or _COMMON_MODE_V
        shifts = ground_shifts(tuple(drivers.values()), range_v)  # the worst first
        worst.append(next(shift for shift in shifts if shift.hearer == hearer.name))
    return tuple(sorted(worst, key=lambda shift: shift.margin_v))


_COMMON_MODE_V = (Fraction(COMMON_MODE_V_MIN), Fraction(COMMON_MODE_V_MAX))
