"""A value in the course of time, from a run or from a capture alike."""

from bisect import bisect_right
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, Protocol


class Column(Protocol):
    """What lists, tuples and one-dimensional numpy arrays have in common."""

    def __len__(self) -> int: ...
    def __getitem__(self, index: int, /) -> Any: ...
    def __iter__(self) -> Iterator[Any]: ...


@dataclass(frozen=True, slots=True)
class Track:
    """Piecewise constant: from ``times_ns[i]`` on the value is ``values[i]``, before the first it is undefined.

    The times ascend and may repeat: the last value of a nanosecond counts, for a state that lasts no time is none. A
    value None is undefined too. Values are words, numbers or booleans; both sequences may be numpy arrays.
    Raises ValueError if the two differ in length.
    """

    times_ns: Column
    values: Column

    def __post_init__(self) -> None:
        if len(self.times_ns) != len(self.values):
            raise ValueError(f"{len(self.times_ns)} times for {len(self.values)} values")

    def at(self, time_ns: int) -> object:
        """The value at ``time_ns``, or None where it is undefined."""
        position = bisect_right(self.times_ns, time_ns)
        found: object = plain([self.values[position - 1]])[0] if position else None
        return found


def plain(items: Column) -> list[Any]:
    """The same items as Python's own objects: numpy's numbers and truths do not answer to ``is True``."""
    if hasattr(items, "tolist"):
        listed: list[Any] = items.tolist()
        return listed
    return [item.item() if hasattr(item, "item") else item for item in items]
