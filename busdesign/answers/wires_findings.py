"""What ``check`` has to say of clocks, wires and supply: promises of the physical layer that break, and advice."""

from collections.abc import Iterator
from fractions import Fraction
from math import ceil, floor

from busdesign.answers.wires_judged import Judged, JudgedHarness
from busdesign.catalogue.advice.told import advice, broken, listed
from busdesign.catalogue.model import Catalogue
from busdesign.catalogue.wires import NodeSetting
from busdesign.catalogue.wires_places import HARNESS, Keys, place_above, place_of, told
from busdesign.findings import Finding, Place
from busdesign.units import format_bit_rate, percent
from busdesign.wire.bit_rates import nearest_common_rate_bit_s
from busdesign.wire.levels import LevelRule
from busdesign.wire.physical_layer import LEAST_LOAD_OHM
from busdesign.wire.problems import Exact, spelt
from busdesign.wire.stubs import stub_lengths_m

_FASTEST_BIT_S = 10**6


def wires_findings(definition: Catalogue, found: Judged) -> list[Finding]:
    """Everything that does not hold, and what is worth a look."""
    findings = [*_timing(definition, found), *_incomplete(definition, found), *_supply(definition, found)]
    if found.harness is None:
        return findings
    wires = found.harness
    return [
        *findings,
        *_propagation(definition, found, wires),
        *_stubs(definition, wires),
        *_terminations(definition, wires),
        *_levels(definition, wires),
    ]


def _timing(definition: Catalogue, found: Judged) -> Iterator[Finding]:
    inexact = [setting for setting in found.settings.values() if setting.assessment.rate_error]
    for setting in found.settings.values():
        if setting.assessment.margin < 0:
            yield _beyond_tolerance(definition, setting)
    if inexact:
        yield _inexact(definition, found, inexact)
    is_each_well = all(setting.assessment.margin >= 0 for setting in found.settings.values())
    # What no single clock breaks, two of them may: each setting has its own jump width and sample point.
    fits = found.harness is None or found.harness.propagation is None or found.harness.propagation.holds
    if found.apart is not None and not found.apart.holds and is_each_well and fits:
        tight = found.apart.tightest
        text = (
            f"`{tight.sender}` and `{tight.receiver}` do not understand each other at the worst of their clocks: "
            f"{tight.name}, by {percent(-tight.margin)} of each"
        )
        fix = f"a better clock for one of them, or a larger `sjw` for `{tight.receiver}`"
        yield broken("clocks-apart", _at(definition, "nodes", tight.receiver, "timing"), text, fix)


def _beyond_tolerance(definition: Catalogue, setting: NodeSetting) -> Finding:
    assessment = setting.assessment
    off = f" and its rate is off by {percent(abs(assessment.rate_error))}" if assessment.rate_error else ""
    by, bears = percent(Fraction(assessment.clock_tolerance)), percent(assessment.oscillator_tolerance)
    text = (
        f"the clock of `{setting.node}` may be off by {by}{off}, its setting bears {bears} "
        f"({assessment.weakest.name}: {assessment.weakest.text})"
    )
    most = assessment.oscillator_tolerance - abs(assessment.rate_error)
    better = f"a clock within {percent(most)} would do" if most > 0 else "a clock that makes the rate exactly"
    fix = f"{better}; so may another `timing`" if setting.is_given else better
    return broken("clock-tolerance", _at(definition, "nodes", setting.node, "tolerance"), text, fix)


def _inexact(definition: Catalogue, found: Judged, inexact: list[NodeSetting]) -> Finding:
    first = inexact[0]
    text = (
        f"{listed([setting.node for setting in inexact])} cannot make {format_bit_rate(definition.bus.bit_rate_bit_s)} "
        f"exactly, but {format_bit_rate(first.setting.bit_rate_bit_s)}, {percent(first.assessment.rate_error)} off, "
        "which its tolerance has to pay"
    )
    boards = [(setting.setting.clock_hz, setting.limits) for setting in found.settings.values()]
    rate = nearest_common_rate_bit_s(boards, definition.bus.bit_rate_bit_s, _FASTEST_BIT_S)
    common = "no rate suits all clocks exactly" if rate is None else f"all clocks make {format_bit_rate(rate)} exactly"
    return advice("rate-inexact", _at(definition, "nodes", first.node, "clock"), text, common)


def _incomplete(definition: Catalogue, found: Judged) -> Iterator[Finding]:
    """Wires of which too little is said, so that no promise seems kept."""
    harness = definition.bus.harness
    said = (harness.longest_stub_m, harness.termination_ohm, harness.cable, harness.stubs, harness.terminations)
    if harness.trunk_m is None and any(part is not None for part in said):
        text = "`harness` has no `trunk`, so that its wires cannot be judged"
        yield advice("harness-incomplete", _at(definition, *HARNESS), text, "add `trunk: 9 m`")
    if found.harness is not None:
        loose = [name for name in definition.nodes if name not in {tap.node for tap in found.harness.harness.taps}]
        if loose:
            text = f"no stub leads to {listed(loose)}: the wires are judged as if without"
            yield advice("harness-incomplete", _at(definition, *HARNESS, "stubs"), text, _as_stub(loose[0]))


def _as_stub(node: str) -> str:
    return f"add `{{at: 1 m, length: 0.2 m, node: {node}}}`"


def _propagation(definition: Catalogue, found: Judged, wires: JudgedHarness) -> Iterator[Finding]:
    budget, trunk = wires.propagation, wires.trunk
    if budget is None or trunk is None or budget.holds:
        return
    one, other = budget.nodes
    whose = f"the propagation segment of `{wires.shortest}`" if wires.shortest else "the propagation segment"
    text = (
        f"an edge from `{one}` to `{other}` and back takes {spelt(budget.total_ns, 'ns')}, {whose} lasts "
        f"{spelt(budget.limit_ns, 'ns')}: {spelt(-budget.margin_ns, 'ns')} too little"
    )
    fix = "a lower bit rate, an earlier or later sample point, or faster transceivers"
    if trunk.longest_trunk_m:
        fix = f"with these nodes the longest possible trunk is {spelt(_down(trunk.longest_trunk_m), 'm')}"
    given = wires.shortest is not None and found.settings[wires.shortest].is_given
    where = _at(definition, "nodes", wires.shortest, "timing") if given and wires.shortest else None
    fix = f"{fix}; so may a longer `prop_seg`" if given else fix
    yield broken("propagation", where or _at(definition, *HARNESS, "trunk"), text, fix)


def _stubs(definition: Catalogue, wires: JudgedHarness) -> Iterator[Finding]:
    harness, lengths_m = definition.bus.harness, stub_lengths_m(wires.harness)
    for verdict in wires.stubs:
        if verdict.limit.kind != "rule" or verdict.holds:
            continue
        limit, is_short = verdict.limit, harness.stubs is None
        for name in verdict.too_long[:1] if is_short else verdict.too_long:
            end = "terminations" if name not in definition.nodes else f"taps.{name}.stub_m"
            owner = f"the stub of `{name}`" if name in definition.nodes else f"the {name}"
            allowed = spelt(_down(limit.each_m), "m")
            text = f"{owner} is {spelt(lengths_m[name], 'm')} long, the rule allows {allowed} ({limit.source.text})"
            fix = f"the nearest possible value is {allowed}"
            yield broken("stub-too-long", _of_part(definition, end), text, fix)
        if verdict.margin_all_m is not None and verdict.margin_all_m < 0 and limit.all_m is not None:
            text = (
                f"all stubs together are {spelt(verdict.all_stubs_m, 'm')} long, the rule allows "
                f"{spelt(_down(limit.all_m), 'm')} ({limit.source.text})"
            )
            fix = f"shorten them by {spelt(-verdict.margin_all_m, 'm')} in all, or lower the bit rate"
            where = _at(definition, *HARNESS, "longest_stub" if is_short else "stubs")
            if is_short:  # where each stub is assumed to be the longest
                yield advice("stubs-together", where, text, fix)
            else:
                yield broken("stubs-together", where, text, fix)


def _terminations(definition: Catalogue, wires: JudgedHarness) -> Iterator[Finding]:
    for problem in wires.unsuitable:
        text = told(problem.part, definition.bus.harness, problem.text)
        yield broken("termination", _of_part(definition, problem.part), text, problem.fix)


def _levels(definition: Catalogue, wires: JudgedHarness) -> Iterator[Finding]:
    enough, reserve, load = wires.levels.rules
    lowest = wires.levels.lowest
    nearest = enough.required if lowest.level_v < enough.required else reserve.required
    heard = (
        f"`{lowest.hearer}` sees {_figure(lowest.level_v, nearest, 'V')} while `{lowest.driver}` drives a dominant bit"
    )
    where = _at(definition, *HARNESS)
    fix = "shorter or thicker wires, fewer nodes, or stronger drivers"
    if not enough.holds:
        text = f"{heard}; receivers need {_needed(enough)}"
        yield broken("level-too-low", where, text, fix)
    elif not reserve.holds:
        text = f"{heard}; with a reserve it would be {_needed(reserve)}"
        yield advice("level-reserve", where, text, fix)
    if not load.holds and len(wires.harness.terminations) <= 2:  # more of them have a finding of their own
        loaded = wires.levels.least_load
        text = (
            f"`{loaded.driver}` drives a load of {_figure(loaded.load_ohm, load.required, 'ohm')}; "
            f"drivers are made for at least {_needed(load)}"
        )
        fix = f"terminations and inputs that together come to {LEAST_LOAD_OHM} ohm or more"
        yield advice("driver-load", where, text, fix)


def _supply(definition: Catalogue, found: Judged) -> Iterator[Finding]:
    for drop in found.drops:
        if drop.holds:
            continue
        text = (
            f"`{drop.unit}` is left {_figure(drop.unit_v, drop.minimum_v, 'V')} at its peak of "
            f"{spelt(drop.peak_a, 'A')}, it needs {spelt(drop.minimum_v, 'V')}: its wires drop "
            f"{float(drop.power_drop_v + drop.ground_drop_v):.4g} V"
        )
        needed = drop.power_mm2_needed
        fix = "no cross-section would do" if needed is None else f"`cross_section: {_up(needed)} mm2` would do"
        yield broken("supply-drop", _at(definition, "nodes", drop.unit, "supply", "cross_section"), text, fix)
    for shift in found.shifts:
        if shift.holds:
            continue
        lies, limit = shift.common_mode_v, shift.limit_v
        # Whose ground wire is the cause: that of the one that draws its peak.
        cause = shift.driver if shift.shift_v > 0 else shift.hearer
        text = (
            f"the ground of `{shift.driver}` can lie {spelt(shift.shift_v, 'V')} against that of `{shift.hearer}`, so "
            f"that the wires lie at {spelt(lies[0])} to {spelt(lies[1], 'V')}; `{shift.hearer}` hears from "
            f"{spelt(limit[0])} to {spelt(limit[1], 'V')}"
        )
        fix = f"a thicker ground wire to `{cause}`, or receivers of a wider `common_mode`"
        yield broken("common-mode", _at(definition, "nodes", cause, "supply"), text, fix)


def _figure(found: Fraction, needed: Exact, unit: str) -> str:
    """``found`` in four digits, or in as many as tell it from what is ``needed``."""
    short = f"{float(found):.4g}"
    return spelt(found, unit) if float(short) == needed else f"{short} {unit}"


def _needed(rule: LevelRule) -> str:
    return f"{spelt(rule.required, rule.unit)} ({rule.source})"


def _at(definition: Catalogue, *keys: str) -> Place | None:
    """Where ``keys`` are written, else the nearest place above; None in a catalogue that no file holds."""
    return place_above(tuple(keys), definition.places)


def _of_part(definition: Catalogue, part: str) -> Place | None:
    places: dict[Keys, Place] = dict(definition.places)
    return place_of(part, definition.bus.harness, places)


def _down(length_m: Fraction) -> Fraction:
    """To whole centimetres, so that what is proposed would do."""
    return Fraction(floor(length_m * 100), 100)


def _up(cross_section_mm2: Fraction) -> str:
    return f"{ceil(cross_section_mm2 * 100) / 100:g}"
