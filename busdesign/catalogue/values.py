"""Between what a person means (412.5 mm, ``down_locked``) and the raw number in the bits."""

import math
import struct
import sys
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache
from numbers import Integral, Real

from busdesign.catalogue.model import Role, Signal
from busdesign.findings import did_you_mean, shown

Value = float | str

# Below so many steps from zero, the roundings of a float subtraction and division add up to less than 0.01 steps.
_SURE_BELOW = 2.0**44
_SURE_OF_ROUNDING = 0.49
_ALL_DIGITS_FROM = 1e15


@dataclass(frozen=True, slots=True)
class Scale:
    """How raw numbers of ``bits`` become physical ones: raw * factor + offset, from ``minimum`` to ``maximum``.

    Factor, offset and range are taken as the decimals that were written: 0.1 is one tenth.
    """

    bits: int
    signed: bool
    factor: float = 1.0
    offset: float = 0.0
    minimum: float | None = None
    maximum: float | None = None

    @property
    def raw_reach(self) -> tuple[int, int]:
        """Least and greatest raw number that the bits hold."""
        half = 1 << (self.bits - 1)
        return (-half, half - 1) if self.signed else (0, 2 * half - 1)

    @property
    def reach(self) -> tuple[Fraction, Fraction]:
        """Least and greatest physical value that the bits hold, exact."""
        ends = sorted(raw * exact(self.factor) + exact(self.offset) for raw in self.raw_reach)
        return ends[0], ends[1]

    def raw_limits(self) -> tuple[int, int]:
        """Least and greatest raw number inside both the bits and the range; the first is greater if there is none."""
        return _raw_limits(self)

    def number(self, raw: int) -> float:
        """The physical value of ``raw``."""
        return raw * self.factor + self.offset

    def raw_of(self, value: float) -> int | None:
        """The raw number nearest to ``value``, or None if it lies outside the limits by half a step or more.

        A value inside the declared range is never outside: between the last step and the end, the last step it is.
        """
        raw, (low, high) = self.nearest_raw(value), self.raw_limits()
        if low <= raw <= high or low > high:
            return raw if low <= high else None
        is_declared = self.minimum is not None and self.maximum is not None and self.minimum <= value <= self.maximum
        nearest = low if raw < low else high
        # The second way in: of a limit with more than 53 bits, the float that a decoder would show.
        is_float_of_it = isinstance(value, float) and value == self.number(nearest)
        return nearest if is_declared or is_float_of_it else None

    def nearest_raw(self, value: float) -> int:
        """The raw number nearest to ``value``, a tie to the even one, whether the bits hold it or not."""
        if isinstance(value, float):
            steps, zero = (value - self.offset) / self.factor, self.offset / self.factor
            if abs(steps) + abs(zero) < _SURE_BELOW and abs(steps - round(steps)) < _SURE_OF_ROUNDING:
                return round(steps)
        return round((exact(value) - exact(self.offset)) / exact(self.factor))


def bits_for(low: int, high: int, signed: bool) -> int:
    """The least number of bits that holds ``low`` to ``high``."""
    if signed:
        return 1 + max((~low if low < 0 else low).bit_length(), (~high if high < 0 else high).bit_length())
    return max(high.bit_length(), 1)


def told(value: float) -> str:
    """``value`` as a finding tells it: 15 digits, or as many as it takes to read a greater number back."""
    return f"{value:.15g}" if abs(value) < _ALL_DIGITS_FROM else repr(float(value))


@lru_cache(maxsize=4096)
def _raw_limits(scale: Scale) -> tuple[int, int]:
    low, high = scale.raw_reach
    if scale.minimum is None or scale.maximum is None:
        return low, high
    factor, offset = exact(scale.factor), exact(scale.offset)
    ends = sorted((exact(limit) - offset) / factor for limit in (scale.minimum, scale.maximum))
    return max(low, math.ceil(ends[0])), min(high, math.floor(ends[1]))


@lru_cache(maxsize=4096)
def exact(value: float) -> Fraction:
    """The decimal that ``value`` was written as; ``value`` is finite."""
    return Fraction(value) if isinstance(value, int) else Fraction(repr(value))


_FLOATS = {32: struct.Struct("<f"), 64: struct.Struct("<d")}
_PATTERNS = {32: struct.Struct("<I"), 64: struct.Struct("<Q")}
FLOAT_BITS = tuple(_FLOATS)


def float_of(raw: int, bits: int) -> float:
    """The IEEE 754 number whose pattern of ``bits`` (32 or 64) is ``raw``."""
    number: float = _FLOATS[bits].unpack(_PATTERNS[bits].pack(raw))[0]
    return number


def pattern_of(number: float, bits: int) -> int:
    """The pattern of ``bits`` (32 or 64) of the IEEE 754 number nearest to ``number``.

    Raises OverflowError for one that is too great for 32 bits.
    """
    pattern: int = _PATTERNS[bits].unpack(_FLOATS[bits].pack(number))[0]
    return pattern


def greatest_float(bits: int) -> float:
    """The greatest finite IEEE 754 number of ``bits`` (32 or 64)."""
    return float_of({32: 0x7F7F_FFFF, 64: 0x7FEF_FFFF_FFFF_FFFF}[bits], bits)


def scale_of(signal: Signal) -> Scale:
    """The scale of ``signal``."""
    return Scale(signal.length_bits, signal.signed, signal.factor, signal.offset, signal.minimum, signal.maximum)


def raw_limits(signal: Signal) -> tuple[int, int]:
    """Least and greatest raw value that the declared range (or a counter's modulo) allows inside the bits."""
    return (0, signal.modulo - 1) if signal.role is Role.COUNTER else scale_of(signal).raw_limits()


def allowed_raws(signal: Signal) -> tuple[int, ...] | range:
    """The raw values an application may send: the declared codes if there are any, else the range.

    Of a float signal, whose raw values are patterns, ask ``float_limits``.
    """
    if signal.role is Role.CONSTANT:
        return (signal.constant,)
    if signal.role is Role.RESERVED:
        return (0,)
    if signal.only_codes:
        return tuple(sorted(signal.codes))
    low, high = raw_limits(signal)
    return range(low, high + 1)


def float_limits(signal: Signal) -> tuple[float, float]:
    """Least and greatest physical value of a float signal: its range, or all that is finite."""
    if signal.minimum is not None and signal.maximum is not None:
        return signal.minimum, signal.maximum
    most = greatest_float(signal.length_bits)
    ends = sorted((-most * signal.factor + signal.offset, most * signal.factor + signal.offset))
    return max(ends[0], -sys.float_info.max), min(ends[1], sys.float_info.max)


def _raw_of_float(signal: Signal, value: float) -> int:
    low, high = float_limits(signal)
    if not low <= value <= high:
        raise ValueError(_out_of(signal, value, low, high))
    number = (value - signal.offset) / signal.factor
    most = greatest_float(signal.length_bits)  # a value at the very end may be rounded beyond it
    return pattern_of(max(-most, min(most, number)), signal.length_bits)


def to_raw(signal: Signal, value: object) -> int:
    """The raw number for a physical value or a code's word. Raises ValueError with what is allowed.

    A value between two steps goes to the nearer one, a tie to the even one.
    """
    if isinstance(value, str):
        return _raw_of_word(signal, value)
    number = _number(value)
    if number is None:
        raise ValueError(f"`{signal.name}` takes a number{' or a code' if signal.codes else ''}, found {shown(value)}")
    if signal.is_float:
        return _raw_of_float(signal, number)
    scale = scale_of(signal)
    raw = scale.raw_of(number)
    if raw is None:
        raw = scale.nearest_raw(number)
        if raw not in signal.codes:
            raise ValueError(_beyond(signal, number))
    if signal.only_codes and raw not in signal.codes:
        hint = did_you_mean(value, signal.codes.values())
        raise ValueError(f"{shown(value)} is no code of `{signal.name}`; {hint}")
    return raw


def _raw_of_word(signal: Signal, word: str) -> int:
    for raw, known in signal.codes.items():
        if known == word:
            return raw
    if not signal.codes:
        raise ValueError(f"`{signal.name}` has no codes, so {shown(word)} means nothing to it; give a number")
    raise ValueError(f"{shown(word)} is no code of `{signal.name}`; {did_you_mean(word, signal.codes.values())}")


def _number(value: object) -> float | int | None:
    """``value`` as a plain int or finite float (numpy's numbers are welcome), or None."""
    if isinstance(value, Integral):
        return int(value) if abs(int(value)) < 10**40 else None
    if isinstance(value, Real):
        return float(value) if math.isfinite(value) else None
    return None


def _beyond(signal: Signal, value: float) -> str:
    low, high = raw_limits(signal)
    least, most = sorted((to_number(signal, low), to_number(signal, high)))
    return _out_of(signal, value, least, most)


def _out_of(signal: Signal, value: float, least: float, most: float) -> str:
    unit = f" {signal.unit}" if signal.unit else ""
    return f"`{signal.name}` = {told(value)}{unit} is out of range: {told(least)} to {told(most)}{unit} is allowed"


def to_number(signal: Signal, raw: int) -> float:
    """The physical value of ``raw``, codes aside."""
    if signal.is_float:
        return float_of(raw, signal.length_bits) * signal.factor + signal.offset
    return raw * signal.factor + signal.offset


def to_value(signal: Signal, raw: int) -> Value:
    """What ``raw`` means: the word of its code if it has one, else the physical value."""
    word = signal.codes.get(raw)
    return to_number(signal, raw) if word is None else word


def initial_raw(signal: Signal) -> int:
    """What is sent until the application says otherwise: the declared value, else zero or the nearest allowed."""
    if signal.role is Role.CONSTANT:
        return signal.constant
    if signal.role is not Role.VALUE:
        return 0
    if signal.initial is not None:
        return to_raw(signal, signal.initial)
    if signal.is_float:
        low, high = float_limits(signal)
        return to_raw(signal, min(max(0.0, low), high))
    allowed = allowed_raws(signal)
    if 0 in allowed or not allowed:
        return 0
    return min(allowed, key=abs) if isinstance(allowed, tuple) else (allowed[0] if allowed[0] > 0 else allowed[-1])
