"""What is wrong with a harness or a supply as described: which part, what, and the nearest possible value.

The checks return lists, so that whoever knows where each part was written can report them all at once; the functions
that compute refuse the same problems with one ValueError.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from fractions import Fraction
from typing import TypeAlias

from busdesign.findings import Refused

Exact: TypeAlias = int | Fraction

_MOST_SHOWN = 10**12  # larger numbers are not spelt out


@dataclass(frozen=True, slots=True)
class Problem:
    """``part`` is dotted, as ``taps.strut_left.stub_m``; ``nearest`` is in ``unit``, None where no value would do.

    ``mend`` says what to do where a nearest value does not say it.
    """

    part: str
    text: str
    nearest: Fraction | None = None
    unit: str = ""
    mend: str = ""

    @property
    def fix(self) -> str:
        """What to write instead; empty where no single value would mend it."""
        if self.mend:
            return self.mend
        return "" if self.nearest is None else f"the nearest possible value is {spelt(self.nearest, self.unit)}"

    def __str__(self) -> str:
        return f"{self.part}: {self.text}" + (f"; {self.fix}" if self.fix else "")


def spelt(value: Exact, unit: str = "") -> str:
    """``value`` as a decimal of at most six digits, with its unit."""
    if not -_MOST_SHOWN <= value <= _MOST_SHOWN:
        number = f"{'minus ' if value < 0 else ''}more than {_MOST_SHOWN}"
    else:
        number = f"{float(value):.6g}"
    return f"{number} {unit}".rstrip()


def outside(part: str, value: object, least: Exact, most: Exact, unit: str) -> list[Problem]:
    """The problem of a ``value`` that is no exact number or not within ``least`` .. ``most``, if it has one."""
    if isinstance(value, bool) or not isinstance(value, int | Fraction):
        return [Problem(part, f"{str(value)[:40]} is not an exact number (int or Fraction)", _near_float(value), unit)]
    if least <= value <= most:
        return []
    allowed = f"{spelt(least)} .. {spelt(most, unit)}"
    nearest = Fraction(least if value < least else most)
    return [Problem(part, f"{spelt(value, unit)} is not within {allowed}", nearest, unit)]


def refuse(problems: Iterable[Problem]) -> None:
    """Raises Refused, a ValueError, with every problem's text, unless there is none."""
    texts = [str(problem) for problem in problems]
    if texts:
        raise Refused("; ".join(texts))


def _near_float(value: object) -> Fraction | None:
    if isinstance(value, float) and abs(value) <= _MOST_SHOWN:  # which a NaN is not
        return Fraction(str(value))
    return None
