"""The interactive part of a run: rows over one time axis. Here the empty rows and their data; the script draws them."""

import json
from collections.abc import Iterable

from busdesign.answers.check import BusAnswer
from busdesign.answers.names_over_time import NameOverTime
from busdesign.answers.pictures import Moment, RunPicture
from busdesign.answers.simulate import SimulateAnswer
from busdesign.report.colours import band_colours, node_colour
from busdesign.report.columns import packed_counts, packed_numbers
from busdesign.report.markup import prose, seconds, text
from busdesign.report.response import identifier
from busdesign.units import format_duration, format_ratio

KEYS = (
    ("+ and −", "closer, farther"),
    ("← and →", "earlier, later"),
    ("0", "the whole run"),
    (", and .", "the frame before, the frame after"),
    ("Escape", "nothing chosen"),
)


def view_block(number: int, answer: SimulateAnswer, picture: RunPicture, bus: BusAnswer) -> str:
    """The rows of run ``number`` and, as JSON, what they are drawn from."""
    colours = {node: node_colour(place) for place, node in enumerate(answer.run.catalogue.nodes)}
    moving = [name for name in picture.names if not name.is_constant]
    return "\n".join(
        [
            _moments(number, picture.moments),
            f'<div class="view" id="view-{number}" data-run="{number}" tabindex="0" role="group" {_keys_said()}>',
            f'<div class="top">{_tools()}\n{_strip("axis", "", "time", "")}</div>',
            _strip("moments", "", "steps, faults, broken expectations", ""),
            _strip("load", "", "load", f"in parts of {format_duration(picture.load.bin_ns)}", _loads_said(bus)),
            *(_group(node, colour, moving, answer) for node, colour in colours.items()),
            _frames(picture, colours),
            "</div>",
            _unchanged(picture.names),
            f'<script type="application/json" id="data-{number}">',
            _data(answer, picture, moving, colours, bus),
            "</script>",
        ]
    )


def _keys_said() -> str:
    return f'aria-label="The run over time; keys: {"; ".join(f"{keys}: {what}" for keys, what in KEYS)}"'


def _tools() -> str:
    buttons = (
        ("whole", "whole run", "the whole run"),
        ("out", "\u2212", "farther"),
        ("in", "+", "closer"),
        ("earlier", "\u25c0", "earlier"),
        ("later", "\u25b6", "later"),
        ("busiest", "busiest 100 ms", "the busiest 100 ms"),
        ("frames", "single frames", "close enough to see single frames"),
    )
    made = "".join(
        f'<button type="button" data-do="{do}" aria-label="{said}">{sign}</button>' for do, sign, said in buttons
    )
    keys = "".join(f"<dt>{text(key)}</dt><dd>{text(what)}</dd>" for key, what in KEYS)
    return (
        f'<div class="tools">{made}<output class="window"></output>'
        '<details class="hint"><summary>how to move</summary><p>Drag across a row to see that span closer; with Shift, '
        "or with a finger, drag to move. The wheel zooms once a row is clicked, or with Ctrl. Double-click goes back."
        f"</p><dl>{keys}</dl></details></div>"
    )


def _loads_said(bus: BusAnswer) -> str:
    return (
        f"dashed: {format_ratio(bus.load_nominal)} asked for on average; "
        f"line: {format_ratio(bus.load_worst)} with every frame at its longest"
    )


def _strip(kind: str, key: str, label: str, unit: str, scale: str = "") -> str:
    said = f'<span class="unit">{unit}</span>' if unit else ""
    ends = f' <span class="ends">{scale}</span>' if scale else ""
    return (
        f'<div class="strip {kind}" data-strip="{kind}" data-key="{key}"><div class="label"><output></output>'
        f'<span>{label}</span> {said}{ends}</div><canvas aria-hidden="true"></canvas></div>'
    )


def swatch(colour: str) -> str:
    """A spot of colour beside its name."""
    return (
        f'<svg class="swatch" width="10" height="10" aria-hidden="true"><rect width="10" height="10" fill="{colour}"/>'
        "</svg>"
    )


def _group(node: str, colour: str, moving: list[NameOverTime], answer: SimulateAnswer) -> str:
    rows = [(key, name) for key, name in enumerate(moving) if name.node == node]
    if not rows:
        return ""
    said = answer.run.catalogue.nodes[node].comment
    comment = f' <span class="unit">{prose(said)}</span>' if said else ""
    strips = "\n".join(_name_strip(key, name) for key, name in rows)
    return (
        f'<details class="group" open data-print><summary>{swatch(colour)} {text(node)}{comment}</summary>\n'
        f"{strips}\n</details>"
    )


def _name_strip(key: int, name: NameOverTime) -> str:
    found = name.extremes()
    if found is None:
        return _strip("flag" if name.is_flag else "choice", str(key), text(name.label), "")
    ends = f"{text(name.shown(found[0]))} to {text(name.shown(found[1]))}"
    return _strip("number", str(key), text(name.label), "", f"{ends} {text(name.unit)}")


def _frames(picture: RunPicture, colours: dict[str, str]) -> str:
    labels = "\n".join(
        f'<div class="row">{swatch(colours[row.message.sender])} <span>{text(row.message.name)}</span> '
        f'<span class="unit">{identifier(row.message.identifier, row.message.extended)}</span></div>'
        for row in picture.frames.rows
    )
    wire = '<div class="row"><span>the wire</span> <span class="unit">all frames</span></div>'
    legend = (
        '<ul class="legend"><li><svg width="30" height="14" aria-hidden="true"><rect class="waitbox" y="4" width="16" '
        'height="6"/><rect class="framebox" x="16" width="14" height="14"/></svg> ready and waiting, then on the wire; '
        "in the colour of its sender</li>"
        f"<li>{_box('chosenbox')} chosen</li><li>{_box('losingbox')} was waiting too when the chosen one won</li></ul>"
    )
    return (
        '<details class="group" open data-print><summary>Frames on the wire, highest priority first</summary>\n'
        f'{legend}<div class="strip frames" data-strip="frames"><div class="labels">{wire}{labels}</div>'
        '<canvas aria-hidden="true"></canvas></div>\n<p class="chosen" aria-live="polite"></p>\n'
        '<details class="listing"><summary>Frames in this window as a table</summary><div class="wide" tabindex="0">'
        "</div></details></details>"
    )


def _box(kind: str) -> str:
    square = f'<rect class="{kind}" x="1" y="1" width="12" height="12"/>'
    return f'<svg width="14" height="14" aria-hidden="true">{square}</svg>'


def _moments(number: int, moments: Iterable[Moment]) -> str:
    signs = {"step": "\u25b2", "fault": "\u26a0", "broken": "\u2717"}
    items = []
    for moment in moments:
        until = "" if moment.until_ns is None else f" to {seconds(moment.until_ns)}"
        items.append(
            f'<li class="{moment.kind}"><button type="button" data-view="{number}" data-at="{moment.at_ns}">'
            f"{signs[moment.kind]} {seconds(moment.at_ns)}{until}</button> {text(moment.text)}</li>"
        )
    return f'<ul class="moments">{"".join(items)}</ul>' if items else ""


def _unchanged(names: Iterable[NameOverTime]) -> str:
    said = [
        f"{text(name.name)} = {text(name.shown(0))} {text(name.unit)}".strip() for name in names if name.is_constant
    ]
    return f'<p class="note">The same all through: {", ".join(said)}.</p>' if said else ""


def _data(
    answer: SimulateAnswer,
    picture: RunPicture,
    moving: Iterable[NameOverTime],
    colours: dict[str, str],
    bus: BusAnswer,
) -> str:
    frames = picture.frames
    data = {
        "end": picture.end_ns,
        "bit": float(answer.run.catalogue.bus.bit_ns),
        "moments": [[moment.kind, moment.at_ns, moment.until_ns, moment.text] for moment in picture.moments],
        "load": {
            "bin": picture.load.bin_ns,
            "values": packed_numbers(picture.load.loads),
            "nominal": bus.load_nominal,
            "worst": bus.load_worst,
            "busiest": [picture.busiest_at_ns, picture.busiest_until_ns, answer.load_busiest_100ms],
        },
        "names": [
            {
                "unit": name.unit,
                "words": name.words,
                "colours": band_colours(name.words),
                "times": packed_counts(name.times_ns, ascending=True),
                "values": packed_numbers(name.values),
            }
            for name in moving
        ],
        "frames": {
            "rows": [
                {
                    "name": row.message.name,
                    "id": identifier(row.message.identifier, row.message.extended),
                    "sender": row.message.sender,
                    "colour": colours[row.message.sender],
                    "deadline": row.deadline_ns,
                    "bound": row.bound_ns,
                }
                for row in frames.rows
            ],
            "kinds": [[kind.row, kind.bits, kind.duration_ns] for kind in frames.kinds],
            "kind": packed_counts(frames.kind),
            "start": packed_counts(frames.start_ns, ascending=True),
            "waited": packed_counts(frames.waited_ns),
            "response": packed_counts(frames.response_ns),
            "behind": packed_counts(frames.behind),
            "waiting": packed_counts(frames.waiting),
        },
    }
    # Inside a script element only "<" could end it early.
    return json.dumps(data, separators=(",", ":")).replace("<", "\\u003c")
