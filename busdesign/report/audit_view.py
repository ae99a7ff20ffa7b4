"""The interactive part of an audit: load and the distances of each message over one time axis, drawn by the script.

The rows show bins, not frames, so that an hour is as quick as a minute: of each the least and the greatest distance.
"""

import json
from typing import TYPE_CHECKING

from busdesign.answers.audit_answer import AuditAnswer
from busdesign.answers.audit_pictures import AuditPicture, DistancesOverTime
from busdesign.report.colours import node_colour
from busdesign.report.columns import packed_counts, packed_numbers
from busdesign.report.markup import seconds, text
from busdesign.report.view import swatch
from busdesign.units import format_duration, format_ratio

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

NUMBER = 1  # of the view: a page of an audit has one
TOOLS = (
    ("whole", "whole capture", "the whole capture"),
    ("out", "\u2212", "farther"),
    ("in", "+", "closer"),
    ("earlier", "\u25c0", "earlier"),
    ("later", "\u25b6", "later"),
    ("busiest", "busiest 100 ms", "the busiest 100 ms"),
)


def over_time_section(answer: AuditAnswer, picture: AuditPicture) -> str:
    """The rows of the capture and, as JSON, what they are drawn from."""
    colours = {node: node_colour(place) for place, node in enumerate(answer.definition.nodes)}
    groups = "\n".join(_group(node, colour, picture) for node, colour in colours.items())
    parts = format_duration(picture.distance_bin_ns)
    begins = f", from {seconds(picture.start_ns)}" if picture.start_ns else ""
    return (
        f'<section class="run" id="run-{NUMBER}"><h2>Over time</h2>\n'
        f'<p class="note">Load in parts of {format_duration(picture.load_bin_ns)}{begins}; of each message the least '
        f"and the greatest distance between two of its frames in parts of {parts}.</p>\n"
        f'<div class="view" id="view-{NUMBER}" data-run="{NUMBER}" tabindex="0" role="group" '
        'aria-label="The capture over time; keys: + and \u2212: closer, farther; \u2190 and \u2192: earlier, later; '
        '0: the whole capture">\n'
        f'<div class="top">{_tools()}\n{_strip("axis", "", "time")}</div>\n'
        f"{_strip('moments', '', 'findings, each at its first time') if picture.marks else ''}\n"
        f"{_strip('load', '', 'load', _loads_said(answer))}\n{groups}\n"
        '<p class="chosen" hidden></p><details class="listing" hidden></details></div>\n'
        f'<script type="application/json" id="data-{NUMBER}">\n{_data(answer, picture)}\n</script></section>'
    )


def _tools() -> str:
    made = "".join(
        f'<button type="button" data-do="{do}" aria-label="{said}">{sign}</button>' for do, sign, said in TOOLS
    )
    return (
        f'<div class="tools">{made}<output class="window"></output><details class="hint"><summary>how to move</summary>'
        "<p>Drag across a row to see that span closer; with Shift, or with a finger, drag to move. The wheel zooms "
        "once a row is clicked, or with Ctrl. Double-click goes back.</p></details></div>"
    )


def _strip(kind: str, key: str, label: str, scale: str = "") -> str:
    ends = f' <span class="ends">{scale}</span>' if scale else ""
    return (
        f'<div class="strip {kind}" data-strip="{kind}" data-key="{key}"><div class="label"><output></output>'
        f'<span>{label}</span>{ends}</div><canvas aria-hidden="true"></canvas></div>'
    )


def _loads_said(answer: AuditAnswer) -> str:
    return (
        f"dashed: {format_ratio(answer.load_nominal)} asked for on average; "
        f"line: {format_ratio(answer.load_worst)} with every frame at its longest"
    )


def _group(node: str, colour: str, picture: AuditPicture) -> str:
    rows = [(key, found) for key, found in enumerate(picture.distances) if found.message.sender == node]
    if not rows:
        return ""
    strips = "\n".join(_distances(key, found) for key, found in rows)
    return (
        f'<details class="group" open data-print><summary>{swatch(colour)} {text(node)}</summary>\n{strips}\n</details>'
    )


def _distances(key: int, found: DistancesOverTime) -> str:
    least, most = (
        format_duration(round(int(time) / 1000) * 1000) for time in (found.least_ns.min(), found.most_ns.max())
    )
    declared = format_duration(found.message.period_ns) + (" apart" if found.message.irregular else "")
    return _strip("number", str(key), text(found.message.name), f"{least} to {most}, declared {declared}")


def _steps(found: DistancesOverTime, bin_ns: int) -> tuple["NDArray[np.int64]", "NDArray[np.float64]"]:
    """Each bin as two steps, its least value and then its greatest."""
    import numpy as np

    times = np.column_stack([found.times_ns, found.times_ns + bin_ns // 2]).reshape(-1)
    values = np.rint(np.column_stack([found.least_ns, found.most_ns]).reshape(-1) / 1e3) / 1e3  # whole us pack well
    return times, values


def _data(answer: AuditAnswer, picture: AuditPicture) -> str:
    names = []
    for found in picture.distances:
        times, values = _steps(found, picture.distance_bin_ns)
        names.append(
            {
                "unit": "ms",
                "words": [],
                "colours": [],
                "times": packed_counts(times, ascending=True),
                "values": packed_numbers(values),
            }
        )
    columns = ("kind", "start", "waited", "response", "behind", "waiting")
    data = {
        "end": picture.end_ns,
        "bit": float(answer.definition.bus.bit_ns),
        "moments": [[mark.kind, mark.at_ns, None, mark.text] for mark in picture.marks],
        "load": {
            "bin": picture.load_bin_ns,
            "values": packed_numbers(picture.loads),
            "nominal": answer.load_nominal,
            "worst": answer.load_worst,
            "busiest": list(picture.busiest),
        },
        "names": names,
        "frames": {"rows": [], "kinds": [], **dict.fromkeys(columns, _no_column())},
    }
    # Inside a script element only "<" could end it early.
    return json.dumps(data, separators=(",", ":")).replace("<", "\\u003c")


def _no_column() -> dict[str, object]:
    import numpy as np

    return packed_counts(np.empty(0, np.int64))
