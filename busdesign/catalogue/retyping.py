"""A value that is right but for its type: the hint, and the edit that mends it."""

import re

from busdesign.catalogue.edits import other_value, scalar_at, word_meant
from busdesign.catalogue.scalars import looks_like
from busdesign.findings import Edit, Place, did_you_mean
from busdesign.units import decimal_comma, with_decimal_point

Advised = tuple[str, Edit | None]

NO_QUOTES = "leave the quotes out"
_NONE: Advised = ("", None)
_YES, _NO = {"yes", "y", "on", "1"}, {"no", "n", "off", "0"}
_WITH_COMMA = re.compile(r"[-+]?[0-9]+,[0-9]+")
_WHOLE_WITH_POINT = re.compile(r"([-+]?[0-9]+)\.0*")


def as_number(found: object, where: Place, *, whole: bool) -> Advised:
    """What to say of ``found`` where a number is wanted."""
    if isinstance(found, str) and _WITH_COMMA.fullmatch(found):
        return decimal_comma(found)[1], other_value(where, found, with_decimal_point(found))
    if isinstance(found, str) and looks_like(found, int | float):
        return NO_QUOTES, other_value(where, found, found)
    if whole and isinstance(found, float) and found.is_integer():
        written = _WHOLE_WITH_POINT.fullmatch(scalar_at(where))
        is_it = written is not None and float(written[1]) == found
        return f"write `{found:.0f}`", other_value(where, written[0], written[1]) if written and is_it else None
    return _NONE


def as_truth(found: object, where: Place) -> Advised:
    """What to say of ``found`` where ``true`` or ``false`` is wanted."""
    word = str(found).lower()
    if word in _YES or word in _NO:
        meant = "true" if word in _YES else "false"
        return f"write `{meant}`", other_value(where, str(found), meant)
    if isinstance(found, str) and looks_like(found, bool):
        return NO_QUOTES, other_value(where, found, found)
    near = did_you_mean(found, ("true", "false"))
    if not isinstance(found, str) or not near.startswith("did you mean"):
        return _NONE
    return near, other_value(where, found, word_meant(found, ("true", "false"), near, closed=True))


def as_text(found: object, where: Place) -> Advised:
    """What to say of ``found`` where a text is wanted."""
    if isinstance(found, dict) and list(found.values()) == [None]:
        name = next(iter(found))
        edit = other_value(where, f"{{{name}}}", f"'{{{name}}}'")
        return f"in YAML `{{{name}}}` is a mapping; write `'{{{name}}}'`", edit
    if isinstance(found, int | float):
        written = scalar_at(where)
        is_number = not isinstance(found, bool) and looks_like(written, int | float)
        return "put it in quotes", other_value(where, written, f"'{written}'") if is_number else None
    return _NONE
