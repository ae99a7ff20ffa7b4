"""Reading what the referee saw, in tests."""

from dataclasses import fields, is_dataclass
from typing import Any

import numpy as np

from busdesign.virtual.referee.outcome import Refereed


def levels_of(seen: Refereed, first: int, end: int) -> str:
    """The bits on the pair from ``first`` to ``end``, of a run on a common clock in bits; ``0`` is dominant."""
    places = np.searchsorted(seen.levels.begin, np.arange(first, end), side="right") - 1
    return "".join(str(level) for level in seen.levels.level[places])


def rows_of(table: Any, *names: str) -> list[tuple[int, ...]]:
    """Some columns of a table, row by row."""
    return list(zip(*(getattr(table, name).tolist() for name in names), strict=True))


def everything_in(seen: Refereed) -> list[Any]:
    """All that a run has seen, for comparison."""
    tables = [getattr(seen, field.name) for field in fields(seen)]
    return [
        {field.name: getattr(table, field.name).tolist() for field in fields(table)} if is_dataclass(table) else table
        for table in tables
    ]
