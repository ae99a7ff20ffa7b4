"""Periods and jitter of a capture: how the distances of each message spread, beside what the design explains."""

from busdesign.answers.audit_answer import AuditAnswer
from busdesign.answers.audit_assumptions import MessageAudit
from busdesign.answers.audit_pictures import AuditPicture, Spread
from busdesign.report.markup import code, milliseconds, table, text
from busdesign.units import format_duration

HIGH_PX = 18  # of a lane


def periods_section(answer: AuditAnswer, picture: AuditPicture) -> str:
    """A lane for each periodic message, and a table of all of them."""
    lanes = "".join(_lane(spread) for spread in picture.spreads)
    said = (
        "From start of frame to start of frame, about the declared period in the middle. The pale band is what the "
        "declared jitter and waiting for the bus explain; bars are drawn by the square root of how many distances fall "
        "there, so that one among thousands is still seen. Each lane has a scale of its own."
    )
    plot = f'<p class="note">{said}</p><div class="plot">{lanes}</div>' if lanes else ""
    heads = (
        "message",
        "frames",
        "mean, ms",
        "least, ms",
        "greatest, ms",
        "declared, ms",
        "spread, ms",
        "explained, ms",
        "declared jitter, ms",
    )
    rows = [_row(message) for message in answer.messages]
    return (
        f'<section id="periods"><h2>Periods and jitter</h2>\n{plot}\n'
        f"{table('Messages of this capture', heads, rows, set(range(1, len(heads))))}</section>"
    )


def _lane(spread: Spread) -> str:
    counts, reach = spread.counts.tolist(), spread.reach_ns
    most = max(max(counts), 1) ** 0.5
    width = 100 / len(counts)
    drawn = []
    low, high = spread.allowed_ns or (0, 0)
    if spread.allowed_ns is not None:
        left, right = (_place(end, reach) for end in (low, high))
        drawn.append(f'<rect class="allowed" x="{left:.2f}%" width="{max(right - left, 0):.2f}%" height="{HIGH_PX}"/>')
    for index, count in enumerate(counts):
        if count:
            tall = max(HIGH_PX * count**0.5 / most, 1.5)
            middle = (2 * index + 1 - len(counts)) * reach // len(counts)
            is_beyond = spread.allowed_ns is not None and not low <= middle <= high
            kind, top = "beyond" if is_beyond else "seen", HIGH_PX - tall
            drawn.append(
                f'<rect class="bar {kind}" x="{index * width:.2f}%" y="{top:.1f}" width="{width:.2f}%" '
                f'height="{tall:.1f}"/>'
            )
    drawn.append(f'<line class="deadline" x1="50%" x2="50%" y1="0" y2="{HIGH_PX}"/>')
    period, way = format_duration(spread.message.period_ns), format_duration(reach // 1000 * 1000)
    name = text(spread.message.name)
    value = f"{text(period)} \u00b1 {text(way)}"
    return (
        f'<div class="lane"><div class="head"><span class="name">{name}</span> <span class="value">{value}</span></div>'
        f'<svg width="100%" height="{HIGH_PX}" role="img"><title>{name}: distances about {value}</title>'
        f"{''.join(drawn)}</svg></div>\n"
    )


def _place(away_ns: int, reach_ns: int) -> float:
    return min(max((away_ns + reach_ns) / (2 * reach_ns) * 100, 0), 100)


def _row(message: MessageAudit) -> tuple[str, ...]:
    period = message.period_ms
    times = (period.mean, period.min, period.max) if period else (None,) * 3
    return (
        code(message.name),
        f"{message.count:,}".replace(",", "\u202f"),
        *("" if time is None else milliseconds(time) for time in times),
        f"{message.declared_ms:g}" + (" apart" if message.irregular else ""),
        "" if message.spread_ms is None else milliseconds(message.spread_ms),
        milliseconds(message.wait_ms),
        f"{message.jitter_ms:g}",
    )
