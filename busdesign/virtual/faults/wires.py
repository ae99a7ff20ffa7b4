"""Players of the faults of wires: what still carries by the harness's levels, and what does not.

Whether anything gets across is decided by direct-current levels alone (`wire.levels`); an error rate that they cannot
tell is the entry's own assumption.
"""

from dataclasses import replace
from fractions import Fraction

from busdesign.catalogue.wires import harness_of
from busdesign.scenario.model import Fault
from busdesign.virtual.disturbances import Level, Parted, Stuck
from busdesign.virtual.faults.bits import at_random
from busdesign.virtual.faults.nodes import reset
from busdesign.virtual.faults.stage import Stage
from busdesign.wire.harness import Harness, Tap, Termination
from busdesign.wire.levels import PairLevel, lowest_level
from busdesign.wire.physical_layer import DOMINANT_ABOVE_V

COMMON_MODE_MOST_V = 7  # ISO 11898-2, common-mode range of receivers, from memory
_HARD_SHORT_OHM = 1  # below, no level is worth working out


def wires_open(fault: Fault, stage: Stage) -> None:
    harness = _harness(stage)
    sides = _sides(fault, harness)
    groups: list[frozenset[str]] = []
    for side in sides:
        names = frozenset(tap.node for tap in side.taps)
        if len(names) < 2:
            groups.append(names)
            continue
        lowest = _lowest(side)
        told = " and ".join(sorted(names)) if len(names) == 2 else f"{len(names)} nodes"
        if lowest is None or lowest.level_v < DOMINANT_ABOVE_V:
            stage.note(fault, f"the side of {told} keeps no level: nobody there hears anybody")
            groups += [frozenset({name}) for name in sorted(names)]
        else:
            carries = f"the side of {told} keeps {_volts(lowest)} at the least, and goes on"
            stage.note(fault, f"{carries}; {_assumed_rate(fault)}")
            groups.append(names)
    on_wires = {tap.node for tap in harness.taps}
    groups += [frozenset({name}) for name in stage.catalogue.nodes if name not in on_wires]
    stage.parted.append(Parted(tuple(groups), fault.at_ns, fault.until_ns))
    _disturb(fault, stage)


def one_wire_open(fault: Fault, stage: Stage) -> None:
    wires_open(fault, stage)


def pair_shorted(fault: Fault, stage: Stage) -> None:
    if not fault.ohm or fault.ohm < _HARD_SHORT_OHM:
        stage.note(fault, "no difference is left between the wires: nothing gets through")
        _nothing_passes(fault, stage)
        return
    harness = _harness(stage)
    at_m = Fraction(harness.trunk_m) / 2 if fault.position_m is None else fault.position_m
    _judge(fault, stage, _with(harness, at_m, fault.ohm), f"with {float(fault.ohm):g} ohm between the wires")


def wire_to_ground(fault: Fault, stage: Stage) -> None:
    if fault.wire == "high":
        stage.note(fault, "the high wire cannot rise above the low one: nothing gets through")
        _nothing_passes(fault, stage)
    else:
        stage.note(fault, f"the bus goes on with less room for disturbance; {_assumed_rate(fault)}")
        _disturb(fault, stage)


def wire_to_supply(fault: Fault, stage: Stage) -> None:
    supply_v, most_v = stage.catalogue.bus.supply_v, _common_mode_most_v(stage)
    if fault.wire == "low":
        stage.note(fault, "the low wire cannot fall below the high one: nothing gets through")
        _nothing_passes(fault, stage)
    elif supply_v is None or supply_v > most_v:
        supply = "a supply of unknown voltage" if supply_v is None else f"{float(supply_v):g} V"
        stage.note(fault, f"{supply} is beyond a common-mode range up to {float(most_v):g} V: nothing gets through")
        _nothing_passes(fault, stage)
    else:
        stage.note(fault, f"{float(supply_v):g} V is within all common-mode ranges; {_assumed_rate(fault)}")
        _disturb(fault, stage)


def ground_lost(fault: Fault, stage: Stage) -> None:
    reset(fault, stage)
    if fault.ohm is not None:
        _load(fault, stage)


def dead_unit(fault: Fault, stage: Stage) -> None:
    reset(fault, stage)
    _load(fault, stage)


def termination_missing(fault: Fault, stage: Stage) -> None:
    harness = _harness(stage)
    left = [each for each in harness.terminations if Fraction(each.at_m) != fault.position_m]
    _judge(fault, stage, replace(harness, terminations=tuple(left)), "without that termination")


def _load(fault: Fault, stage: Stage) -> None:
    """The dead unit's transceiver lies across the pair, where its stub leaves the trunk."""
    assert fault.ohm is not None
    harness = _harness(stage)
    place = next((Fraction(tap.at_m) for tap in harness.taps if tap.node == fault.node), Fraction(0))
    others = tuple(tap for tap in harness.taps if tap.node != fault.node)
    told = f"with {float(fault.ohm):g} ohm across the pair at `{fault.node}`"
    if len(others) >= 2:
        _judge(fault, stage, _with(replace(harness, taps=others), place, fault.ohm), told)


def _judge(fault: Fault, stage: Stage, harness: Harness, told: str) -> None:
    lowest = _lowest(harness)
    if lowest is None or lowest.level_v < DOMINANT_ABOVE_V:
        level = "no level" if lowest is None else _volts(lowest)
        stage.note(fault, f"{told} the pair keeps {level}, below {float(DOMINANT_ABOVE_V):g} V: nothing gets through")
        _nothing_passes(fault, stage)
    else:
        stage.note(fault, f"{told} the pair keeps {_volts(lowest)} at the least, so it carries; {_assumed_rate(fault)}")
        _disturb(fault, stage)


def _lowest(harness: Harness) -> PairLevel | None:
    """The lowest level; None where no termination is left: nothing then brings the pair back to recessive."""
    return lowest_level(harness) if harness.terminations else None


def _volts(level: PairLevel) -> str:
    return f"{float(level.level_v):.2f} V"


def _assumed_rate(fault: Fault) -> str:
    if not fault.error_rate:
        return "no further errors are assumed (`error_rate` says how many)"
    return f"{float(fault.error_rate) * 1e6:g} ppm of wrong bits are assumed"


def _disturb(fault: Fault, stage: Stage) -> None:
    if fault.error_rate:
        stage.sources.append(at_random(fault, stage, float(fault.error_rate)))


def _nothing_passes(fault: Fault, stage: Stage) -> None:
    stage.sources.append(Stuck(Level.RECESSIVE, fault.at_ns, fault.until_ns))


def _common_mode_most_v(stage: Stage) -> Fraction:
    ranges = [node.common_mode_v for node in stage.catalogue.nodes.values()]
    return min(Fraction(COMMON_MODE_MOST_V) if one is None else one[1] for one in ranges)


def _harness(stage: Stage) -> Harness:
    found = harness_of(stage.catalogue)
    if found is None:
        raise ValueError("a fault of the wires needs a harness, which the reader asks for")
    return found[0]


def _with(harness: Harness, at_m: Fraction | int, ohm: Fraction) -> Harness:
    return replace(harness, terminations=(*harness.terminations, Termination(Fraction(at_m), ohm)))


def _sides(fault: Fault, harness: Harness) -> list[Harness]:
    """What is left on either side of the break; of a broken stub its node is one side."""
    if fault.node:
        own = [tap for tap in harness.taps if tap.node == fault.node]
        others = [tap for tap in harness.taps if tap.node != fault.node]
        return [_part(harness, own, ()), _part(harness, others, harness.terminations)]
    at_m = _place(fault, harness)
    left = [tap for tap in harness.taps if tap.at_m < at_m]
    right = [tap for tap in harness.taps if tap.at_m >= at_m]
    ended = tuple(each for each in harness.terminations if each.at_m < at_m)
    going_on = tuple(each for each in harness.terminations if each.at_m >= at_m)
    return [side for side in (_part(harness, left, ended), _part(harness, right, going_on)) if side.taps]


def _place(fault: Fault, harness: Harness) -> Fraction:
    if fault.between:
        one, other = (next(Fraction(tap.at_m) for tap in harness.taps if tap.node == name) for name in fault.between)
        return (one + other) / 2
    assert fault.position_m is not None
    return fault.position_m


def _part(harness: Harness, taps: list[Tap], terminations: tuple[Termination, ...]) -> Harness:
    return replace(harness, taps=tuple(taps), terminations=terminations)
