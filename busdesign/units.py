"""Quantities as people write them (``50 ms``, ``250 kbit/s``, ``87.5 %``) and exact numbers inside.

Reading is exact: a quantity becomes a ``Fraction`` of its base unit (or whole nanoseconds), never a float. A number
without a unit, or with the unit of something else, is refused with the units that would do.
"""

import re
from collections.abc import Callable, Mapping
from fractions import Fraction

from busdesign.findings import Refused, nearest, shown

NS_PER_S = 1_000_000_000
MAX_DURATION_NS = 10**18  # some 31 years; sums of such times stay inside 64 bits
MAX_CHARACTERS = 40

# Each kind of quantity: its base unit comes first; the example is what an error message shows.
_KINDS: Mapping[str, tuple[str, Mapping[str, Fraction]]] = {
    "duration": (
        "50 ms",
        {
            "s": Fraction(1),
            "ms": Fraction(1, 10**3),
            "us": Fraction(1, 10**6),
            "ns": Fraction(1, 10**9),
            "min": Fraction(60),
            "h": Fraction(3600),
        },
    ),
    "bit rate": (
        "250 kbit/s",
        {"bit/s": Fraction(1), "kbit/s": Fraction(10**3), "Mbit/s": Fraction(10**6)},
    ),
    "rate": ("30 per s", {"per s": Fraction(1), "per min": Fraction(1, 60), "per h": Fraction(1, 3600)}),
    "frequency": ("16 MHz", {"Hz": Fraction(1), "kHz": Fraction(10**3), "MHz": Fraction(10**6)}),
    "length": ("9 m", {"m": Fraction(1), "cm": Fraction(1, 100), "mm": Fraction(1, 1000), "km": Fraction(1000)}),
    "resistance": ("120 ohm", {"ohm": Fraction(1), "mohm": Fraction(1, 1000), "kohm": Fraction(1000)}),
    "ratio": ("87.5 %", {"%": Fraction(1, 100), "ppm": Fraction(1, 10**6)}),
    "voltage": ("12 V", {"V": Fraction(1), "mV": Fraction(1, 1000)}),
    "current": ("3 A", {"A": Fraction(1), "mA": Fraction(1, 1000)}),
    "cross-section": ("0.5 mm2", {"mm2": Fraction(1)}),
    "resistance per metre": ("70 mohm/m", {"ohm/m": Fraction(1), "mohm/m": Fraction(1, 1000)}),
    "delay per metre": ("5 ns/m", {"ns/m": Fraction(1)}),
    "temperature": ("70 degC", {"degC": Fraction(1)}),
}
_MAYBE_THOUSANDS = re.compile(r"[-+]?[1-9][0-9]{0,2},[0-9]{3}(?![0-9])")
_LARGE = "MGT"  # prefixes; to read M as m would be a factor of a thousand millions
_OTHER_SPELLINGS = {
    "\u00b5s": "us",
    "\u03bcs": "us",
    "sec": "s",
    "percent": "%",
    "mm\u00b2": "mm2",
    "\u00b0C": "degC",
}
_OHM_SIGNS = str.maketrans({"\u03a9": "ohm", "\u2126": "ohm"})
_NUMBER = r"[+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]{1,2})?"
_NUMBER_AND_UNIT = re.compile(rf"\s*({_NUMBER})\s*([^\s0-9].*?)?\s*\Z")


class QuantityError(Refused):
    """A text that is not a quantity of the wanted kind."""


class UnitError(QuantityError):
    """A number without a unit, or with the unit of something else."""


def read_quantity(
    written: object, kind: str, is_likely: Callable[[Fraction], bool] = lambda value: abs(value) <= 1
) -> Fraction:
    """``written`` (such as ``"50 ms"``) as an exact multiple of the base unit of ``kind``.

    Kinds: duration [s], bit rate [bit/s], rate [1/s], frequency [Hz], length [m], resistance [ohm], ratio [1],
    voltage [V], current [A], cross-section [mm2], resistance per metre [ohm/m], delay per metre [ns/m], temperature
    [degrees Celsius]. ``is_likely`` says of a ratio whether it can be meant: a hint for one without a unit names no
    other.
    Raises QuantityError.
    """
    example, units = _KINDS[kind]
    match = _NUMBER_AND_UNIT.match(str(written)) if _may_be_quantity(written) else None
    if not match:
        raise QuantityError(f"expected a {kind} such as `{example}`, found {shown(written)}")
    number, unit = match.groups()
    if unit is None:
        meant = _ratios_meant(Fraction(number), is_likely) if kind == "ratio" else ""
        raise UnitError(f"{shown(written)} has no unit", meant or f"a {kind} is written like `{example}`")
    unit = _OTHER_SPELLINGS.get(unit, unit).translate(_OHM_SIGNS)
    if re.match(",[0-9]", unit):
        raise QuantityError(*decimal_comma(f"{number}{unit}"), with_decimal_point(f"{number}{unit}"))
    if unit not in units:
        text = f"{shown(written)} is not a {kind}: {_about_unit(unit, units)}"
        known = _in_its_own_case(unit, units)
        meant = str(written).removesuffix(unit) + known if known and str(written).endswith(unit) else ""
        raise UnitError(text, _unit_hint(unit, units), meant)
    return Fraction(number) * units[unit]


def quantity_form(kind: str) -> tuple[str, str]:
    """What ``read_quantity`` reads as ``kind``: a regular expression (ECMA-262's too), and an example.

    It matches all such texts of at most ``MAX_CHARACTERS``, and no others.
    """
    example, units = _KINDS[kind]
    others = [other for other, unit in _OTHER_SPELLINGS.items() if unit in units]
    signs = [unit.replace("ohm", chr(sign)) for sign in _OHM_SIGNS for unit in units if "ohm" in unit]
    return rf"^\s*{_NUMBER}\s*(?:{'|'.join([*units, *others, *signs])})\s*$", example


def decimal_comma(written: str) -> tuple[str, str]:
    """What to say of ``written``, such as ``0,5 %``, and the hint."""
    return f"{shown(written)} has a decimal comma", f"write `{written.replace(',', '.')}`: a decimal point, not a comma"


def with_decimal_point(written: str) -> str:
    """``0.5 %`` for ``0,5 %``; "" for ``1,500 ms``, whose comma may set off thousands."""
    return "" if written.count(",") != 1 or _MAYBE_THOUSANDS.match(written) else written.replace(",", ".")


def duration_ns(written: object) -> int:
    """A duration in whole nanoseconds, not negative. Raises QuantityError."""
    exact_ns = read_quantity(written, "duration") * NS_PER_S
    if exact_ns < 0:
        raise QuantityError(f"{shown(written)} is negative", "a duration here is zero or more")
    if exact_ns > MAX_DURATION_NS:
        raise QuantityError(f"{shown(written)} is too long", f"{MAX_DURATION_NS // NS_PER_S} s is the most there is")
    if exact_ns.denominator != 1:
        fix = f"write `{round(exact_ns)} ns`" if round(exact_ns) else "one nanosecond is the finest step of time here"
        raise QuantityError(f"{shown(written)} is not a whole number of nanoseconds", fix)
    return int(exact_ns)


def positive_duration_ns(written: object) -> int:
    """A duration in whole nanoseconds, at least one. Raises QuantityError."""
    time_ns = duration_ns(written)
    if time_ns == 0:
        raise QuantityError(f"{shown(written)} must be longer than zero", "write a time such as `50 ms`")
    return time_ns


def positive(written: object, kind: str) -> Fraction:
    """A quantity above zero. Raises QuantityError."""
    value = read_quantity(written, kind)
    if value <= 0:
        raise QuantityError(f"{shown(written)} must be above zero", f"write a {kind} such as `{_KINDS[kind][0]}`")
    return value


def format_duration(time_ns: int | Fraction) -> str:
    """A duration in the unit a person would choose: ``1.54 ms``, ``540 us``, ``12 s``."""
    size = abs(Fraction(time_ns))
    for unit, scale in (("s", 10**9), ("ms", 10**6), ("us", 10**3)):
        if size >= scale:
            return f"{_plain(Fraction(time_ns) / scale)} {unit}"
    return f"{_plain(Fraction(time_ns))} ns"


def percent(ratio: Fraction | float) -> str:
    """``ratio`` in per cent, in four digits: ``0.4854 %``."""
    return f"{float(ratio) * 100:.4g} %"


def format_bit_rate(bit_rate_bit_s: int | Fraction) -> str:
    """A bit rate as people say it: ``250 kbit/s``, ``1 Mbit/s``."""
    for unit, scale in (("Mbit/s", 10**6), ("kbit/s", 10**3)):
        if bit_rate_bit_s >= scale:
            return f"{_plain(Fraction(bit_rate_bit_s) / scale)} {unit}"
    return f"{_plain(Fraction(bit_rate_bit_s))} bit/s"


def format_ratio(ratio: Fraction | float) -> str:
    """A fraction of one as per cent with one decimal: ``32.4 %``."""
    return f"{float(ratio) * 100:.1f} %"


def _plain(value: Fraction) -> str:
    return f"{float(value):.6f}".rstrip("0").rstrip(".")


def _ratios_meant(number: Fraction, is_likely: Callable[[Fraction], bool]) -> str:
    """A hint with the ways to write the ratio that ``number`` may mean: a fraction of one, per cent or ppm."""
    percent, ppm = Fraction(1, 100), Fraction(1, 10**6)
    ways = [(number, percent, "%"), (number * percent, percent, "%")]
    if abs(number) >= 1:
        ways.append((number * ppm, ppm, "ppm"))
    likely = [(ratio / scale, unit) for ratio, scale, unit in ways if is_likely(ratio)]
    written = dict.fromkeys(f"`{_plain(value)} {unit}`" for value, unit in likely if Fraction(_plain(value)) == value)
    return "write " + " or ".join(written) if written else ""


def _may_be_quantity(written: object) -> bool:
    if isinstance(written, str):
        return len(written) <= MAX_CHARACTERS
    return isinstance(written, int | float) and not isinstance(written, bool) and abs(written) < 10**MAX_CHARACTERS


def _about_unit(unit: str, units: Mapping[str, Fraction]) -> str:
    for other_kind, (_, other_units) in _KINDS.items():
        if unit in other_units and other_units is not units:
            return f"`{unit}` measures a {other_kind}"
    return f"{shown(unit)} is not a unit of it"


def _unit_hint(unit: str, units: Mapping[str, Fraction]) -> str:
    known_elsewhere = any(unit in other_units for _, other_units in _KINDS.values())
    close = None if known_elsewhere or _has_foreign_prefix(unit, units) else nearest(unit, units)
    return f"did you mean `{close}`?" if close else "allowed: " + ", ".join(f"`{known}`" for known in units)


def _in_its_own_case(unit: str, units: Mapping[str, Fraction]) -> str:
    """The one of ``units`` that ``unit`` spells in the wrong case (kBit/s), if it can be no other; else "".

    Not where M stands for m or m for M before it: milli and mega are too far apart to choose between them.
    """
    alike = [known for known in units if known.lower() == unit.lower()]
    return alike[0] if len(alike) == 1 and {unit[0], alike[0][0]} != {"m", "M"} else ""


def _has_foreign_prefix(unit: str, units: Mapping[str, Fraction]) -> bool:
    """Whether ``unit`` is one of ``units`` with a prefix that is not read here, as Gbit/s: the nearest is far off."""
    if unit[:1] in _LARGE and unit[1:] in units:
        return True
    is_known = unit.lower() in (known.lower() for known in units)
    return not is_known and unit[1:].lower() in (known.lower() for known in units)
