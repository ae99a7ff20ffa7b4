"""How full the bus is: what the catalogue asks for, and what each run saw."""

from collections.abc import Sequence

from busdesign.answers.check import CheckAnswer
from busdesign.answers.simulate import SimulateAnswer
from busdesign.report.markup import axis, lane, table, text
from busdesign.units import format_ratio

TICKS = tuple((share, f"{share} %", True) for share in (0, 25, 50, 75, 100))


def load_section(check: CheckAnswer, runs: Sequence[SimulateAnswer]) -> str:
    """A sentence, one bar for each load on a scale to the full bus, and the same as a table."""
    nominal, worst = check.bus.load_nominal, check.bus.load_worst
    said = (
        f"The messages ask for {format_ratio(nominal)} of the bus on average, "
        f"and for {format_ratio(worst)} if every frame is at its longest."
    )
    lanes = [
        _gauge("asked for on average", "sum", nominal),
        _gauge("asked for if every frame is at its longest", "sum", worst),
        *(_gauge(run.scenario, "seen", run.load_mean, run.load_busiest_100ms) for run in runs),
    ]
    legend = '<p class="note">Of a scenario: the bar is its mean, the line goes on to its busiest 100 ms.</p>'
    rows = [
        ("asked for on average", format_ratio(nominal), "", ""),
        ("asked for if every frame is at its longest", format_ratio(worst), "", ""),
    ]
    rows += [
        (
            text(run.scenario),
            format_ratio(run.load_mean),
            format_ratio(run.load_busiest_100ms),
            f"{run.load_busiest_at_s:.3f} s",
        )
        for run in runs
    ]
    heads = ("what", "load", "busiest 100 ms", "which begin at")
    return (
        f'<section id="load"><h2>Load</h2>\n<p>{said}</p>\n<div class="beside"><div class="plot">{"".join(lanes)}'
        f"{axis(TICKS)}{legend if runs else ''}</div>\n"
        f"{table('Load of the bus', heads, rows, {1, 2, 3})}</div></section>"
    )


def _gauge(name: str, kind: str, load: float, busiest: float | None = None) -> str:
    """A bar to ``load``; where it goes on to ``busiest``, a line to there."""
    said = format_ratio(load)
    width = min(load, 1) * 100
    drawn = f'<rect class="bar {"over" if load > 1 else kind}" y="2" width="{width:.3f}%" height="14"/>'
    if busiest is not None:
        end = f"{min(busiest, 1) * 100:.3f}%"
        said = f"mean {said}, busiest {format_ratio(busiest)}"
        drawn += f'<line class="range" x1="{width:.3f}%" x2="{end}" y1="9" y2="9"/>'
        drawn += f'<line class="range" x1="{end}" x2="{end}" y1="3" y2="15"/>'
    return lane(text(name), said, f"{text(name)}: {said}", TICKS, drawn)
