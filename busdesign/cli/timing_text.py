"""The answer of ``timing`` for people: the bit to scale, the settings, the reasons, what firmware needs, the delays."""

import sys
from collections.abc import Sequence
from typing import TYPE_CHECKING

from busdesign.cli.text import findings_text, printable, table, verdict, wrapped
from busdesign.units import format_bit_rate, percent

if TYPE_CHECKING:
    from busdesign.answers.timing_shape import BitTimingAnswer, SettingAnswer

WIDTH = 110
COLUMNS = 72  # of the drawn bit, at most
PER_QUANTUM = 6  # columns, at most


def timing_text(found: "BitTimingAnswer") -> str:
    """The whole answer, the verdict last."""
    parts = [_head(found)]
    if found.settings:
        shown = found.settings if found.catalogue is not None else found.settings[:1]
        parts += [*_drawings(shown), settings_table(found.settings)]
        if found.why:
            reasons = [*found.why, *(f"not taken: {_short(other.setting)}, as {other.why}" for other in found.rejected)]
            parts.append(_listed("what it means:" if found.settings[0].is_given else "why the first one:", reasons))
        parts.append(_listed("for the firmware:", _firmware(shown)))
    parts += [*_apart(found), *_wires(found)]
    if found.assumed:
        parts.append(_listed("assumed:", found.assumed))
    if found.findings:
        parts.append(findings_text(found.findings, sys.stdout))
    return "\n\n".join([*parts, verdict(found.holds, _summary(found), sys.stdout)])


def bit_drawing(setting: "SettingAnswer") -> str:
    """One bit to scale in plain characters, each segment from its bar to the next, and below it the sample point."""
    names = (("=", "sync", 1), ("p", "prop_seg", setting.prop_seg), ("1", "phase_seg1", setting.phase_seg1))
    segments = (*names, ("2", "phase_seg2", setting.phase_seg2))
    columns = setting.quanta * min(PER_QUANTUM, max(1, COLUMNS // setting.quanta))
    columns = min(columns, COLUMNS) if setting.quanta > COLUMNS else columns
    drawn, start, sample_column = "", 0, 0
    for letter, name, quanta in segments:
        end = start + quanta
        first, last = start * columns // setting.quanta, end * columns // setting.quanta
        if name == "phase_seg2":
            sample_column = first
        drawn += ("|" + letter * (last - first - 1))[: last - first]
        start = end
    key = "   ".join(f"{3 * letter} {name}: {quanta}" for letter, name, quanta in segments)
    at_ns = (setting.quanta - setting.phase_seg2) * setting.quantum_ns
    bit_ns = setting.quanta * setting.quantum_ns
    sample = f"sample point {percent(setting.sample_point)}: {at_ns:.6g} of {bit_ns:.6g} ns"
    caret = f"{' ' * sample_column}^ {sample}"
    if len(caret) > WIDTH and sample_column > len(sample):
        caret = f"{sample:>{sample_column - 1}} ^"
    return "\n".join([f"{drawn}|", caret, f"{key}   quanta of {setting.quantum_ns:.6g} ns, sjw {setting.sjw}"])


def settings_table(settings: "Sequence[SettingAnswer]") -> str:
    """The settings in the order in which a person decides: the margin first, the numbers of registers last."""
    of_nodes, has_delay = settings[0].node is not None, settings[0].delay_slack_ns is not None
    heads = [*(["node", "setting"] if of_nodes else []), "margin", *(["spare one way ns"] if has_delay else [])]
    heads += ["weakest condition", "sample point", "rate error", "quanta"]
    heads += ["prescaler", "prop", "phase1", "phase2", "sjw"]
    rows = []
    for one in settings:
        names = [printable(one.node or ""), "given" if one.is_given else "best"] if of_nodes else []
        spare = [f"{one.delay_slack_ns:.6g}"] if has_delay and one.delay_slack_ns is not None else []
        judged = [percent(one.margin), *spare, f"{one.weakest} {percent(one.oscillator_tolerance)}"]
        made = [percent(one.sample_point), "none" if not one.rate_error else percent(one.rate_error)]
        numbers = (one.quanta, one.prescaler, one.prop_seg, one.phase_seg1, one.phase_seg2, one.sjw)
        rows.append([*names, *judged, *made, *map(str, numbers)])
    return table(heads, rows, left=(0, 1) if of_nodes else ())


def _head(found: "BitTimingAnswer") -> str:
    wanted = f"{format_bit_rate(_exact(found.bit_rate_bit_s))}, sample point {percent(found.sample_point)} wanted"
    if found.catalogue is not None:
        return f"{printable(found.catalogue)}: {wanted}"
    one = found.settings[0]
    if one.is_given:
        rate = format_bit_rate(_exact(one.bit_rate_bit_s))
        return f"clock {one.clock_hz / 1e6:.9g} MHz, {rate}, controller `{one.controller}`, registers as given"
    shown = "" if found.found == len(found.settings) else f", the best {len(found.settings)} shown"
    settings = "1 setting" if found.found == 1 else f"{found.found} settings"
    return f"clock {one.clock_hz / 1e6:.9g} MHz, {wanted}, controller `{one.controller}`: {settings}{shown}"


def _exact(rate: float) -> int:
    return round(rate)


def _drawings(settings: "Sequence[SettingAnswer]") -> list[str]:
    """Each different bit once, with the nodes that have it."""
    owners: dict[str, list[str]] = {}
    for one in settings:
        owners.setdefault(bit_drawing(one), []).append(one.node or "")
    return ["\n".join([*([printable(", ".join(names))] if any(names) else []), bit]) for bit, names in owners.items()]


def _firmware(settings: "Sequence[SettingAnswer]") -> list[str]:
    """Each different setting in the forms that registers have."""
    lines = []
    for one in settings:
        lines.append(
            f"prescaler {one.prescaler}, prop_seg {one.prop_seg}, phase_seg1 {one.phase_seg1}, phase_seg2 "
            f"{one.phase_seg2}, sjw {one.sjw}; one register for both segments before the sample point: "
            f"{one.time_segment1}"
        )
        lines += [
            f"two registers: BTR0 0x{pair.btr0:02X}, BTR1 0x{pair.btr1:02X}, as one word 0x{pair.word:04X}, where the "
            + ("clock is taken as it is" if pair.pre_divider == 1 else f"clock is divided by {pair.pre_divider} first")
            for pair in one.registers
        ] or [f"the classical two registers cannot hold prescaler {one.prescaler} with {one.quanta} quanta"]
    return [*dict.fromkeys(lines), "a register that counts from 0 holds one less of each"]


def _short(one: "SettingAnswer") -> str:
    segments = f"1 + {one.prop_seg} + {one.phase_seg1} + {one.phase_seg2} quanta"
    return f"prescaler {one.prescaler}, {segments} at {percent(one.sample_point)}, margin {percent(one.margin)}"


def _apart(found: "BitTimingAnswer") -> list[str]:
    pair = found.clocks_apart
    if pair is None:
        return []
    spare = "to spare" if pair.holds else "short"
    sides = f"{printable(pair.sender)} and {printable(pair.receiver)}"
    return [f"of all pairs {sides} agree least: {percent(abs(pair.margin))} {spare} ({pair.condition})"]


def _wires(found: "BitTimingAnswer") -> list[str]:
    parts, way, trunk = [], found.propagation, found.trunk
    if way is not None:
        rows = [[printable(part.name), f"{part.delay_ns:.6g}"] for part in way.parts if part.delay_ns]
        rows += [["together", f"{way.total_ns:.6g}"], ["propagation segment", f"{way.limit_ns:.6g}"]]
        parts.append(table(("delay there and back", "ns"), [*rows, ["to spare", f"{way.margin_ns:.6g}"]]))
    if trunk is None:
        return parts
    assumed = f"{trunk.nodes_delay_ns:.6g} ns in both nodes, {trunk.cable_delay_ns_per_m:.6g} ns/m of cable"
    ours = "none" if trunk.longest_trunk_m is None else f"{trunk.longest_trunk_m:.4g}"
    lengths = [[ours, format_bit_rate(_exact(found.bit_rate_bit_s)), f"ours, with {assumed}"]]
    lengths += [
        [
            f"{row.trunk_m:.4g}",
            format_bit_rate(_exact(row.bit_rate_bit_s)),
            row.source + (f": {row.note}" if row.note else ""),
        ]
        for row in found.recommended
    ]
    note = "lengths printed elsewhere assume delays and bit timings of their own, so they judge nothing"
    return [*parts, table(("longest wire m", "at or below", "by"), lengths, left=(2,)) + f"\n{note}"]


def _listed(head: str, sentences: Sequence[str]) -> str:
    lines = [line for said in sentences for line in wrapped(printable(said), WIDTH, "  - ", "    ")]
    return "\n".join([head, *lines])


def _summary(found: "BitTimingAnswer") -> str:
    if not found.settings:
        return "nothing to judge, as no node has a clock"
    tight = min(found.settings, key=lambda one: one.margin) if found.catalogue is not None else found.settings[0]
    if tight.node:
        whose = f"{printable(tight.node)} has least to spare, {percent(tight.margin)} of its clock"
        return whose if found.holds else f"{whose}; what breaks is above"
    if found.holds:
        which = "given" if tight.is_given else "best"
        return f"the {which} setting leaves {percent(tight.margin)} of the clock to spare"
    keeps = "the given setting does not keep" if tight.is_given else "no setting keeps"
    return f"{keeps} every margin; what breaks is above"
