"""Between what a person means (412.5 mm, ``down_locked``) and the raw number in the bits."""

import math
from collections.abc import Callable
from fractions import Fraction

from busdesign.catalogue.model import Role, Signal
from busdesign.findings import did_you_mean

Value = float | str


def raw_limits(signal: Signal) -> tuple[int, int]:
    """Least and greatest raw value that the declared range (or a counter's modulo) allows inside the bits.

    Exact: factor, offset and range are taken as the decimals that were written.
    """
    if signal.role is Role.COUNTER:
        return 0, signal.modulo - 1
    low, high = signal.raw_min, signal.raw_max
    if signal.minimum is None or signal.maximum is None:
        return low, high
    factor, offset = _exact(signal.factor), _exact(signal.offset)
    ends = sorted((_exact(limit) - offset) / factor for limit in (signal.minimum, signal.maximum))
    return max(low, math.ceil(ends[0])), min(high, math.floor(ends[1]))


def allowed_raws(signal: Signal) -> tuple[int, ...] | range:
    """The raw values an application may send: the declared codes if there are any, else the range."""
    low, high = raw_limits(signal)
    if signal.codes and signal.minimum is None:
        return tuple(sorted(signal.codes))
    return range(low, high + 1)


def to_raw(signal: Signal, value: object) -> int:
    """The raw number for a physical value or a code's name. Raises ValueError with what is allowed."""
    if isinstance(value, str):
        for raw, name in signal.codes.items():
            if name == value:
                return raw
        if not signal.codes:
            raise ValueError(f"`{signal.name}` has no codes, so `{value}` means nothing to it; give a number")
        raise ValueError(f"`{value}` is no code of `{signal.name}`; {did_you_mean(value, signal.codes.values())}")
    if not isinstance(value, int | float) or not math.isfinite(value):
        raise ValueError(f"`{signal.name}` takes a number{' or a code' if signal.codes else ''}, found `{value}`")
    raw = round((value - signal.offset) / signal.factor)
    low, high = raw_limits(signal)
    if not low <= raw <= high and raw not in signal.codes:
        least, most = sorted((to_number(signal, low), to_number(signal, high)))
        unit = f" {signal.unit}" if signal.unit else ""
        raise ValueError(f"`{signal.name}` = {value:g}{unit} is out of range: {least:g} to {most:g}{unit} is allowed")
    return raw


def raw_converter(signal: Signal) -> Callable[[object], int]:
    """``to_raw`` of one signal, with all that does not depend on the value worked out beforehand."""
    words: dict[object, int] = {name: raw for raw, name in reversed(tuple(signal.codes.items()))}
    low, high = raw_limits(signal)
    factor, offset = signal.factor, signal.offset

    plain = factor == 1 and offset == 0

    def convert(value: object) -> int:
        kind = value.__class__
        if kind is int and plain and low <= value <= high:  # type: ignore[operator]
            return value  # type: ignore[return-value]
        if kind is str and value in words:
            return words[value]
        if (kind is float or kind is int) and -1e18 < value < 1e18:  # type: ignore[operator]
            raw = round((value - offset) / factor)  # type: ignore[operator]
            if low <= raw <= high:
                return raw
        return to_raw(signal, value)

    return convert


def to_number(signal: Signal, raw: int) -> float:
    """The physical value of ``raw``, codes aside."""
    return raw * signal.factor + signal.offset


def to_value(signal: Signal, raw: int) -> Value:
    """What ``raw`` means: the name of its code if it has one, else the physical value."""
    return signal.codes.get(raw) or to_number(signal, raw)


def initial_raw(signal: Signal) -> int:
    """What is sent until the application says otherwise: the declared value, else zero or the nearest allowed."""
    if signal.role is not Role.VALUE:
        return 0
    if signal.initial is not None:
        return to_raw(signal, signal.initial)
    allowed = allowed_raws(signal)
    if 0 in allowed or not allowed:
        return 0
    return min(allowed, key=abs) if isinstance(allowed, tuple) else (allowed[0] if allowed[0] > 0 else allowed[-1])


def _exact(value: float) -> Fraction:
    return Fraction(repr(value))
