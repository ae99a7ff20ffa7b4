"""Clocks and wires: each node's bit to scale, the tolerances, the delay out and back, and every limit of the wires."""

from math import floor, log10

from busdesign.answers.check import CheckAnswer
from busdesign.answers.wires_check import HarnessAnswer, PropagationAnswer, TimingAnswer
from busdesign.report.bit import (
    SEGMENTS,
    alike,
    bit_svg,
    bit_words,
    delay_bar,
    delay_colour,
    ticks_to,
    tolerance_bar,
)
from busdesign.report.markup import axis, lane, table, text
from busdesign.report.verdict import BROKEN_SIGN, HOLDS_SIGN
from busdesign.units import format_bit_rate, percent

ROOM = 1.06  # beyond the longest bar
OPEN = (
    "The catalogue gives no clock and no wires, so neither is judged: see `clock` of a node and `harness` of the bus."
)


def wires_section(check: CheckAnswer) -> str:
    """Everything that is known of clocks, wires and supply; a sentence where the catalogue says nothing of them."""
    parts = [*_timing(check)]
    if check.harness is not None:
        parts += _wires(check.harness, check.bus.bit_rate_bit_s)
    parts += _supply(check)
    inner = "\n".join(parts) or f'<p class="note">{text(OPEN.replace("`", ""))}</p>'
    return f'<section id="wires"><h2>Bit timing and wires</h2>\n{inner}</section>'


def _timing(check: CheckAnswer) -> list[str]:
    if not check.timing:
        return []
    drawn = "".join(
        f'<div class="lane"><div class="head"><span class="name">{text(names)}</span> '
        f'<span class="value">{bit_words(bit)}</span></div>{bit_svg(bit, names)}</div>\n'
        for names, bit in alike(check.timing)
    )
    key = "".join(f"<li>{_swatch(colour)} {name}</li>" for name, colour in SEGMENTS)
    said = "One bit as each node's controller divides it, to scale, lengths in quanta, with its sample point."
    parts = [
        f"<p>{said}</p>",
        f'<ul class="legend">{key}</ul>\n<div class="plot">{drawn}</div>',
        f"<h3>What the clocks may be off</h3>\n{_tolerances(check)}",
        table("Settings of the nodes", _HEADS, [_row(one) for one in check.timing], set(range(1, 7)) | {8, 9}),
    ]
    pair = check.clocks_apart
    if pair is not None:
        spare = "to spare" if pair.holds else "too little"
        sides = f"{text(pair.sender)} and {text(pair.receiver)}"
        said = f"Of all pairs {sides} agree least: {percent(abs(pair.margin))} {spare} ({text(pair.condition)})."
        parts.append(f"<p>{said}</p>")
    return parts


_HEADS = (
    "node",
    "margin",
    "bears",
    "clock off by",
    "rate off by",
    "sample point",
    "prescaler",
    "weakest",
    "clock, MHz",
    "spare one way, ns",
    "setting",
    "holds",
)


def _row(one: TimingAnswer) -> tuple[str, ...]:
    return (
        text(one.node),
        percent(one.margin),
        percent(one.oscillator_tolerance),
        percent(one.clock_tolerance),
        percent(one.rate_error) if one.rate_error else "none",
        percent(one.sample_point),
        str(one.prescaler),
        text(one.weakest),
        f"{one.clock_hz / 1e6:.9g}",
        "" if one.delay_slack_ns is None else f"{one.delay_slack_ns:.6g}",
        "given" if one.is_given else "best",
        _verdict(one.holds),
    )


def _tolerances(check: CheckAnswer) -> str:
    takes = {one.node: one.clock_tolerance + abs(one.rate_error) for one in check.timing}
    most = max(max(one.oscillator_tolerance, takes[one.node]) for one in check.timing) * ROOM
    ticks = ticks_to(most, _step(most), "%", 100)
    lanes = []
    for one in check.timing:
        said = f"{percent(takes[one.node])} of {percent(one.oscillator_tolerance)}"
        late = takes[one.node] > one.oscillator_tolerance
        value = f'<span class="broken">{BROKEN_SIGN} too much: {said}</span>' if late else said
        drawn = tolerance_bar(one.oscillator_tolerance, takes[one.node], most)
        lanes.append(lane(text(one.node), value, f"{text(one.node)}: {said}", ticks, drawn))
    note = '<p class="note">The bar is what the setting bears; the line goes to what clock and rate take of it.</p>'
    return f'<div class="plot">{"".join(lanes)}{axis(ticks)}{note}</div>'


def _wires(harness: HarnessAnswer, bit_rate_bit_s: float) -> list[str]:
    parts = []
    way = harness.propagation
    if way is not None:
        parts.append(f"<h3>The slowest way, out and back</h3>\n{_way(way)}")
    rows = [
        (
            text(rule.name),
            f"{rule.found:.4g} {text(rule.unit)}",
            f"{rule.required:.4g} {text(rule.unit)}",
            f"{rule.margin:.4g} {text(rule.unit)}",
            _verdict(rule.holds),
            text(rule.kind),
            _source(rule.source),
        )
        for rule in harness.levels
    ]
    for stub in harness.stubs:
        whose = f"longest stub, of {stub.longest}" if stub.longest else "longest stub"
        figures = (f"{stub.longest_m:.4g} m", f"{stub.each_m:.4g} m", f"{stub.margin_each_m:.4g} m")
        rows.append((text(whose), *figures, _verdict(stub.holds), text(stub.kind), _source(stub.source)))
    heads = ("what", "found", "limit", "margin", "holds", "kind", "source")
    parts.append(table("Wires against their limits", heads, rows, {1, 2, 3}))
    if way is not None and harness.recommended:
        parts.append(_lengths(harness, way, bit_rate_bit_s))
    if harness.assumed:
        parts.append(f'<p class="note">Assumed of the wires: {text("; ".join(harness.assumed))}.</p>')
    return parts


def _way(way: PropagationAnswer) -> str:
    most = max(way.total_ns, way.limit_ns) * ROOM
    ticks = ticks_to(most, _step(most), "ns")
    said = f"{way.total_ns:.6g} of {way.limit_ns:.6g} ns"
    value = said if way.holds else f'<span class="broken">{BROKEN_SIGN} too long: {said}</span>'
    name = text(" and ".join(way.nodes))
    key = "".join(
        f"<li>{_swatch(delay_colour(place))} {text(part.name)}, {part.delay_ns:.6g} ns</li>"
        for place, part in enumerate(part for part in way.parts if part.delay_ns)
    )
    segment = text(f"the propagation segment of {way.segment_of}" if way.segment_of else "the propagation segment")
    mark = '<svg width="14" height="18" aria-hidden="true"><path class="deadline" d="M7 0V18M2 0H12M2 18H12"/></svg>'
    return (
        f'<ul class="legend">{key}<li>{mark} {segment}, {way.limit_ns:.6g} ns</li></ul>\n'
        f'<div class="plot">{lane(name, value, f"{name}: {said}", ticks, delay_bar(way, most))}{axis(ticks)}</div>'
    )


def _lengths(harness: HarnessAnswer, way: PropagationAnswer, bit_rate_bit_s: float) -> str:
    delays = ", ".join(f"{part.name} {part.delay_ns:.6g} ns" for part in way.parts if part.delay_ns)
    ours = "none" if way.longest_trunk_m is None else f"{way.longest_trunk_m:.4g}"
    rows = [(_rate(bit_rate_bit_s), ours, text(f"our own, with these nodes at its ends (now {delays})"))]
    rows += [
        (_rate(row.bit_rate_bit_s), f"{row.trunk_m:.4g}", _source(row.source + (f": {row.note}" if row.note else "")))
        for row in harness.recommended
    ]
    note = (
        '<p class="note">Lengths printed elsewhere assume delays and bit timings of their own; they judge nothing.</p>'
    )
    return table("Longest trunk", ("at or below", "trunk, m", "by"), rows, {1}) + note


def _supply(check: CheckAnswer) -> list[str]:
    if not check.supply:
        return []
    rows = [
        (
            text(one.node),
            f"{one.node_v:.4g} V",
            f"{one.at_least_v:.4g} V",
            f"{one.margin_v:.4g} V",
            _verdict(one.holds),
        )
        for one in check.supply
    ]
    heads = ("node", "left at its peak", "needed", "margin", "holds")
    return [table("Supply of the nodes", heads, rows, {1, 2, 3}), *_grounds(check)]


def _grounds(check: CheckAnswer) -> list[str]:
    if not check.grounds:
        return []
    rows = [
        (
            text(one.hearer),
            text(one.driver),
            f"{one.shift_v:.4g} V",
            f"{one.common_mode_v[0]:.4g} to {one.common_mode_v[1]:.4g} V",
            f"{one.limit_v[0]:.4g} to {one.limit_v[1]:.4g} V",
            f"{one.margin_v:.4g} V",
            _verdict(one.holds),
        )
        for one in check.grounds
    ]
    heads = ("who hears", "worst driver", "its ground over this one", "the wires lie at", "allowed", "margin", "holds")
    return [table("Grounds apart, one node at its peak current", heads, rows, {2, 5})]


def _swatch(colour: str) -> str:
    return (
        '<svg width="14" height="14" aria-hidden="true">'
        f'<rect width="14" height="14" fill="{colour}" stroke="#1d2733"/></svg>'
    )


def _source(said: str) -> str:
    return f'<span class="source">{text(said)}</span>'


def _verdict(holds: bool) -> str:
    if holds:
        return f'<span class="holds">{HOLDS_SIGN} yes</span>'
    return f'<span class="broken">{BROKEN_SIGN} no</span>'


def _step(most: float) -> float:
    """1, 2 or 5 times a power of ten, so that at most six steps fill ``most``."""
    power: float = 10.0 ** floor(log10(most))
    return next(power * part for part in (0.1, 0.2, 0.5, 1.0, 2.0) if most / (power * part) <= 6)


def _rate(bit_rate_bit_s: float) -> str:
    return text(format_bit_rate(round(bit_rate_bit_s)))
