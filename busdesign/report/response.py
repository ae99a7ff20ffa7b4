"""How long each frame can wait: bound, deadline and what the runs saw, as bars of our own and as a table."""

from collections.abc import Callable, Sequence
from math import floor, log10

from busdesign.answers.check import CheckAnswer
from busdesign.answers.pictures import ResponseBar, response_bars
from busdesign.answers.simulate import SimulateAnswer
from busdesign.report.markup import Tick, axis, code, lane, milliseconds, table, text
from busdesign.report.verdict import BROKEN_SIGN, HOLDS_SIGN, OPEN_SIGN

LOG_FROM = 20.0  # times the shortest time: beyond that, short bars could no longer be told apart
ROOM = 1.04  # beyond the longest time

Scale = Callable[[float], float]  # milliseconds to per cent of the width


def response_section(check: CheckAnswer, runs: Sequence[SimulateAnswer]) -> str:
    """The bars with their legend, and the table."""
    bars = response_bars(check, runs)
    by_name = {message.name: message for message in check.messages}
    rows = [
        (
            f"{code(bar.name)}",
            identifier(bar.id, bar.extended),
            text(bar.sender),
            str(by_name[bar.name].length_bytes),
            f"{by_name[bar.name].period_ms:g}",
            milliseconds(by_name[bar.name].blocking_ms),
            milliseconds(bar.bound_ms),
            f"{bar.deadline_ms:g}",
            _verdict(bar),
            *_seen(bar, bool(runs)),
        )
        for bar in bars
    ]
    heads = ["message", "identifier", "from", "bytes", "period, ms", "blocking, ms", "bound, ms", "deadline, ms"]
    heads += ["in time", *(("sent", "least, ms", "99 %, ms", "greatest, ms") if runs else ())]
    return (
        '<section id="response"><h2>Response times against deadlines</h2>\n'
        "<p>From the nominal release of a frame to the end of intermission. The bound is the longest that a frame can "
        f"take; it holds for every run. {_lengths(check)} Highest priority first.</p>\n"
        f"{_legend(bool(runs))}\n{_picture(bars)}\n"
        f"{table('Response times', heads, rows, {3, 4, 5, 6, 7, 9, 10, 11, 12})}</section>"
    )


def _lengths(check: CheckAnswer) -> str:
    if check.lengths == "published":
        return "Frames are taken as long as the textbook formula says."
    return (
        f"Frames are taken as long as they can be ({text(check.lengths)}): {check.bits_won} bits less than the "
        f"textbook formula over one frame of each message, up to {check.bits_won_most} bits in one."
    )


def identifier(number: int | None, extended: bool) -> str:
    """As catalogues write it: three digits, or eight for an extended one."""
    if number is None:
        return "none yet"
    return f"0x{number:08X}" if extended else f"0x{number:03X}"


def _verdict(bar: ResponseBar) -> str:
    if bar.meets_deadline is None:
        return f'<span class="open">{OPEN_SIGN} no bound</span>'
    if bar.meets_deadline:
        return f'<span class="holds">{HOLDS_SIGN} yes</span>'
    return f'<span class="broken">{BROKEN_SIGN} late</span>'


def _seen(bar: ResponseBar, has_runs: bool) -> tuple[str, ...]:
    if not has_runs:
        return ()
    seen = bar.simulated
    if seen is None:
        return "0", "", "", ""
    return str(seen.sent), *(milliseconds(time) for time in (seen.min_ms, seen.p99_ms, seen.max_ms))


def _legend(has_runs: bool) -> str:
    seen = (
        '<li><svg width="34" height="14" aria-hidden="true"><line class="range" x1="1" x2="33" y1="7" y2="7"/>'
        '<line class="range" x1="1" x2="1" y1="3" y2="11"/><line class="range" x1="33" x2="33" y1="3" y2="11"/>'
        '<circle class="p99" cx="26" cy="7" r="3.5"/></svg> least to greatest of all runs, 99th percentile</li>'
    )
    return (
        '<ul class="legend"><li><svg width="34" height="14" aria-hidden="true">'
        '<rect class="bar sum" width="34" height="14"/></svg> bound</li>'
        '<li><svg width="14" height="18" aria-hidden="true"><path class="deadline" d="M7 0V18M2 0H12M2 18H12"/></svg> '
        f"deadline</li>{seen if has_runs else ''}</ul>"
    )


def _picture(bars: Sequence[ResponseBar]) -> str:
    if not bars:
        return ""
    scale, ticks, is_logarithmic = _axis(bars)
    note = '<p class="note">The axis is logarithmic.</p>' if is_logarithmic else ""
    return f'<div class="plot">{"".join(_lane(bar, scale, ticks) for bar in bars)}{axis(ticks)}{note}</div>'


def _axis(bars: Sequence[ResponseBar]) -> tuple[Scale, list[Tick], bool]:
    """Milliseconds to per cent of the width, where to draw lines, and whether the axis is logarithmic."""
    times = [time for bar in bars for time in _times(bar)]
    least, most = min(times), max(times) * ROOM
    if most / least < LOG_FROM:
        step = _step(most)
        marks = [step * count for count in range(int(most / step) + 1)]
        return (lambda time: time / most * 100), [(mark / most * 100, f"{mark:g} ms", True) for mark in marks], False
    first = log10(least / 1.5)
    span = log10(most) - first

    def scale(time: float) -> float:
        return (log10(time) - first) / span * 100

    decades = range(floor(first), floor(log10(most)) + 1)
    digits = (1, 2, 5) if span < 4 else (1,)
    found = [(digit * 10.0**decade, digit == 1) for decade in decades for digit in digits]
    ticks = [(scale(mark), f"{mark:g} ms", stays) for mark, stays in found if least / 1.5 <= mark <= most]
    return scale, ticks, True


def _step(most: float) -> float:
    """1, 2 or 5 times a power of ten, so that four to nine steps fill ``most``."""
    power: float = 10.0 ** floor(log10(most))
    return next(power * part for part in (0.1, 0.2, 0.5, 1.0) if most / (power * part) <= 9)


def _times(bar: ResponseBar) -> list[float]:
    seen = bar.simulated
    found = [bar.deadline_ms, bar.bound_ms, *((seen.min_ms, seen.max_ms) if seen else ())]
    return [time for time in found if time]


def _lane(bar: ResponseBar, scale: Scale, ticks: Sequence[Tick]) -> str:
    late = bar.meets_deadline is False
    bound = "no bound" if bar.bound_ms is None else f"{bar.bound_ms:.2f} ms"
    said = f"{bound} of {bar.deadline_ms:g} ms"
    title = f"{text(bar.name)}: bound {bound}, deadline {bar.deadline_ms:g} ms{_seen_title(bar)}"
    drawn = []
    if bar.bound_ms is not None:
        kind = "over" if late else "sum"
        drawn.append(f'<rect class="bar {kind}" y="2" width="{scale(bar.bound_ms):.3f}%" height="14"/>')
    drawn += _range(bar, scale)
    at = f"{scale(bar.deadline_ms):.3f}%"
    drawn.append(f'<line class="deadline" x1="{at}" x2="{at}" y1="0" y2="18"/>')
    drawn.append(f'<svg x="{at}" overflow="visible"><path class="deadline" d="M-5 1H5M-5 17H5"/></svg>')
    value = f'<span class="broken">{BROKEN_SIGN} late: {said}</span>' if late else said
    return lane(text(bar.name), value, title, ticks, "".join(drawn))


def _seen_title(bar: ResponseBar) -> str:
    seen = bar.simulated
    return f", simulated {seen.min_ms:.3f} to {seen.max_ms:.3f} ms" if seen else ""


def _range(bar: ResponseBar, scale: Scale) -> list[str]:
    seen = bar.simulated
    if seen is None:
        return []
    left, right = (f"{scale(time):.3f}%" for time in (seen.min_ms, seen.max_ms))
    return [
        f'<line class="range" x1="{left}" x2="{right}" y1="9" y2="9"/>',
        *(f'<line class="range" x1="{at}" x2="{at}" y1="5" y2="13"/>' for at in (left, right)),
        f'<circle class="p99" cx="{scale(seen.p99_ms):.3f}%" cy="9" r="3.5"/>',
    ]
