"""``to_raw`` for one signal, what does not depend on the value worked out beforehand: it runs at every ``publish``."""

from collections.abc import Callable
from typing import Any

from busdesign.catalogue.model import Signal
from busdesign.catalogue.values import raw_limits, scale_of, to_raw

FAR = 1e9  # steps
CLEAR = 0.49  # of a step


def raw_converter(signal: Signal) -> Callable[[Any], int]:
    """A function from a physical value or a code's name to the raw number. It raises ValueError as ``to_raw`` does."""
    words = {name: raw for raw, name in reversed(tuple(signal.codes.items()))}
    if signal.is_float:
        return lambda value: to_raw(signal, value)
    low, high = raw_limits(signal)
    nearest, factor, offset = scale_of(signal).nearest_raw, signal.factor, signal.offset
    floats_will_do = abs(offset / factor) < FAR  # then a step is known to far better than a hundredth
    only_codes = signal.only_codes
    is_plain = signal.factor == 1 and signal.offset == 0 and not only_codes

    def convert(value: Any) -> int:
        kind = type(value)
        if kind is int and is_plain and low <= value <= high:
            whole: int = value
            return whole
        if kind is str and value in words:
            return words[value]
        if kind is float and floats_will_do and not only_codes and -FAR < (steps := (value - offset) / factor) < FAR:
            raw: int = round(steps)
            if not -CLEAR < steps - raw < CLEAR:
                raw = nearest(value)  # near the middle between two steps: exact arithmetic decides
            if low <= raw <= high:
                return raw
        return to_raw(signal, value)

    return convert
