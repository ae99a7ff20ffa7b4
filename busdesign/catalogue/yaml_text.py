"""Values as they stand in a YAML file: texts that read back as texts, exact quantities, mappings in one line."""

import json
import re
from collections.abc import Mapping
from fractions import Fraction

from busdesign.catalogue.scalars import ScalarError, resolve

_PLAIN = re.compile(r"[A-Za-z_][A-Za-z0-9_ ./-]*\Z")
_NS = (("s", 10**9), ("ms", 10**6), ("us", 10**3), ("ns", 1))
Parts = dict[str, str]  # key → its value as it stands in the file


def given(parts: Mapping[str, str | None]) -> Parts:
    return {key: value for key, value in parts.items() if value is not None}


def block(parts: Parts, indent: int) -> list[str]:
    return [f"{' ' * indent}{key}: {value}" for key, value in parts.items()]


def flow(parts: Parts) -> str:
    return "{" + ", ".join(f"{key}: {value}" for key, value in parts.items()) + "}"


def words(words: tuple[str, ...]) -> str:
    return f"[{', '.join(map(text, words))}]"


def text(text: str) -> str:
    """Plain where YAML reads it as this text, else in double quotes as JSON has them, which YAML reads, too."""
    if _PLAIN.match(text) and text == text.strip() and _is_text(text):
        return text
    return json.dumps(text, ensure_ascii=True)


def _is_text(word: str) -> bool:
    try:
        return isinstance(resolve(word), str)
    except ScalarError:
        return False


def number(value: float) -> str:
    return str(int(value)) if value.is_integer() and abs(value) < 2**53 else repr(value)


def duration(time_ns: int) -> str:
    unit, scale = next((unit, scale) for unit, scale in _NS if time_ns % scale == 0)
    return f"{time_ns // scale} {unit}"


def decimal(value: Fraction) -> str:
    """``value`` as a decimal number, exact. Raises ValueError if there is none."""
    rest = value.denominator
    for prime in (2, 5):
        while rest % prime == 0:
            rest //= prime
    if rest != 1:
        raise ValueError(f"{value} has no end as a decimal number")
    digits = 0
    while value * 10**digits % 1:
        digits += 1
    whole = int(value * 10**digits)
    text = str(abs(whole)).rjust(digits + 1, "0")
    sign = "-" if whole < 0 else ""
    return sign + (f"{text[:-digits]}.{text[-digits:]}" if digits else text)
