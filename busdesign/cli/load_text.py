"""Load and errors of a checked catalogue for people: the fullest window, other bit rates, the declared errors."""

from collections.abc import Sequence
from math import floor
from typing import TYPE_CHECKING

from busdesign.cli.text import figure, printable, table
from busdesign.units import format_bit_rate, format_duration, format_ratio

if TYPE_CHECKING:
    from busdesign.answers.check import CheckAnswer
    from busdesign.answers.errors_check import ErrorsAnswer, ErrorsOfMessage
    from busdesign.answers.rates import RateAnswer
    from busdesign.answers.window import WindowAnswer

MS = 1_000_000  # nanoseconds


def window_text(window: "WindowAnswer") -> str:
    """The fullest window, and what fills it."""
    length = format_duration(round(window.window_ms * MS))
    if window.load is None:
        return f"fullest {length}: no bound, since {printable(window.why_not)}\n"
    rows = [(share.name, str(share.frames), format_ratio(share.load)) for share in window.shares]
    shares = table(("message", "frames at most", "load at most"), rows)
    return f"fullest {length}: {format_ratio(window.load)} of it at most, wherever it lies\n\n{shares}\n"


def rates_text(rates: "Sequence[RateAnswer]") -> str:
    """Load and worst waits by bit rate."""
    heads = ("bit rate", "load nominal", "load worst", "worst ms", "of", "least margin", "of", "late")
    return table(heads, [_rate_row(rate) for rate in rates], left=(0, 4, 6)) + "\n"


def _rate_row(rate: "RateAnswer") -> tuple[str, ...]:
    longest, tightest = rate.longest, rate.tightest
    return (
        format_bit_rate(round(rate.bit_rate_bit_s)) + (" (declared)" if rate.is_declared else ""),
        format_ratio(rate.load_nominal),
        format_ratio(rate.load_worst),
        figure(longest.response_worst_ms if longest else None),
        longest.name if longest else "-",
        _margin(tightest.margin if tightest else None),
        tightest.name if tightest else "-",
        str(rate.late),
    )


def errors_text(found: "CheckAnswer") -> list[str]:
    """What the declared errors do to each message; nothing where none are declared."""
    errors = found.errors
    if errors is None:
        return []
    deadlines = {message.name: message for message in found.messages}
    heads: tuple[str, ...] = ("message", "worst ms", "with errors ms", "deadline ms", "margin")
    if errors.rate_per_s is not None:
        heads = ("message", "worst ms", "deadline ms", "late with a probability of at most")
    rows: list[tuple[str, ...]] = []
    for told in errors.messages:
        message = deadlines[told.name]
        first, deadline = (told.name, figure(message.response_worst_ms)), f"{message.deadline_ms:g}"
        if errors.rate_per_s is not None:
            rows.append((*first, deadline, _chance(told)))
        else:
            rows.append((*first, figure(told.response_worst_ms), deadline, _margin(told.margin)))
    return [f"errors: {_declared(errors)}", table(heads, rows)]


def _declared(errors: "ErrorsAnswer") -> str:
    if errors.rate_per_s is not None:
        limit = "" if errors.late_at_most is None else f", late_at_most {errors.late_at_most:.2g}"
        return f"{errors.rate_per_s:g} per s at random{limit}"
    parts = [f"{format_duration(round((errors.at_least_apart_ms or 0) * MS))} apart or more"]
    if errors.burst > 1:
        parts.append(f"{errors.burst} at once one time in a busy period")
    if errors.lasting_ms:
        parts.append(f"each lasting {format_duration(round(errors.lasting_ms * MS))}")
    return ", ".join(parts)


def _chance(told: "ErrorsOfMessage") -> str:
    if told.late_at_most is None:
        return "-"
    return "1e-17" if told.late_at_most < 1e-17 else f"{told.late_at_most:.2g}"


def _margin(margin: float | None) -> str:
    return "-" if margin is None else f"{floor(margin * 100)} %"
