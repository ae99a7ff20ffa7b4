"""A word of a YAML file as a value, by the rules of the YAML 1.2 core schema (chapter 10.3 of that specification).

``on``, ``off``, ``no`` and ``1:30`` are text. Stricter than the schema in two things: what could be read as octal by
one program and as decimal by another is refused, and so are infinities and numbers that no catalogue needs.
"""

import re
from typing import Any

from busdesign.findings import Refused

Scalar = None | bool | int | float | str

_NULL = {"", "~", "null", "Null", "NULL"}
_BOOLEAN = {"true": True, "True": True, "TRUE": True, "false": False, "False": False, "FALSE": False}
_DECIMAL = re.compile(r"[-+]?[0-9]+\Z")
_BASED = re.compile(r"0(?:x[0-9a-fA-F]+|o[0-7]+)\Z")
_LOOKS_OCTAL = re.compile(r"[-+]?0[0-9]+\Z")
_FLOAT = re.compile(r"[-+]?(?:\.[0-9]+|[0-9]+(?:\.[0-9]*)?)(?:[eE][-+]?[0-9]+)?\Z")
_NUMBERS_BEGIN_WITH = frozenset("+-.0123456789")
_MAX_DIGITS = 40


class ScalarError(Refused):
    """A word that is refused under the name of ``rule``; ``instead`` is a value that keeps the other checks going."""

    def __init__(self, rule: str, text: str, fix: str, instead: int = 1) -> None:
        super().__init__(text, fix)
        self.rule, self.instead = rule, instead


def resolve(word: str) -> Scalar:
    """The value of an unquoted ``word``. Raises ScalarError."""
    if word in _NULL:
        return None
    if word in _BOOLEAN:
        return _BOOLEAN[word]
    if word[0] not in _NUMBERS_BEGIN_WITH:
        return word
    whole = _DECIMAL.match(word) or _BASED.match(word)
    if not whole and not _FLOAT.match(word):
        return word
    if len(word) > _MAX_DIGITS:
        raise ScalarError("number-too-long", f"this number has {len(word)} characters", f"{_MAX_DIGITS} is the most")
    if _LOOKS_OCTAL.match(word):
        raise ScalarError("leading-zero", *_two_readings(word), instead=int(word))
    if whole:
        return int(word, 0) if _BASED.match(word) else int(word)
    number = float(word)
    if number in (float("inf"), float("-inf")):
        raise ScalarError("number-too-long", f"`{word}` is larger than any number here", "1e30 is the most there is")
    return number


def looks_like(word: str, kind: Any) -> bool:
    """Whether an unquoted ``word`` would be of that ``kind``."""
    try:
        return isinstance(resolve(word), kind)
    except ScalarError:
        return False


def _two_readings(word: str) -> tuple[str, str]:
    decimal, digits = int(word), word.lstrip("+-").lstrip("0") or "0"
    if set(digits) <= set("01234567") and digits != "0":
        octal = int(digits, 8) * (-1 if decimal < 0 else 1)
        return f"`{word}` can be read as {decimal} or, in octal, as {octal}", f"write `{decimal}`, or `0o{digits}`"
    return f"`{word}` begins with a zero", f"write `{decimal}`"
