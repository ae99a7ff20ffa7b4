"""What an audit has seen: each kind of thing once, with how often, when first, and which frame that was."""

from collections.abc import Hashable, Iterator
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from busdesign.bench.blocks import Block
from busdesign.findings import Finding, Place, Severity, printable


@dataclass(frozen=True, slots=True)
class Sighting:
    """A finding in a capture. ``first_ns`` on the recorder's clock; ``first_frame`` counts from 1; None: of no frame.

    ``subject``: the message, node or identifier that it is about; "" for the whole bus. ``frame``: as people write it.
    """

    finding: Finding
    count: int
    first_ns: int | None
    first_frame: int | None = None
    frame: str = ""
    subject: str = ""


@dataclass(slots=True)
class Seen:
    """One kind of thing: how often, its first time, and the extremes of a figure that goes with it."""

    first_ns: int
    first_frame: int
    frame: str
    count: int = 0
    least: int = 0
    most: int = 0
    first_value: int = 0


@dataclass(slots=True)
class Notes:
    """Things seen so far, by a key of the caller's."""

    seen: dict[Hashable, Seen] = field(default_factory=dict)

    def note(
        self, key: Hashable, block: Block, rows: NDArray[np.int64], values: NDArray[np.int64] | None = None
    ) -> None:
        """The frames ``rows`` of ``block``, ascending, show ``key``; ``values``: a figure of each."""
        if not len(rows):
            return
        row = int(rows[0])
        found = self.seen.get(key)
        low, high, first = (0, 0, 0) if values is None else (int(values.min()), int(values.max()), int(values[0]))
        if found is None:
            frame = block.shown(row)
            found = Seen(int(block.traffic.end_ns[row]), block.first + row + 1, frame, 0, low, high, first)
            self.seen[key] = found
        found.count += len(rows)
        found.least, found.most = min(found.least, low), max(found.most, high)

    def __iter__(self) -> Iterator[tuple[Any, Seen]]:
        """In the order of the keys, not in that in which they came."""
        keys: list[Any] = list(self.seen)
        return iter([(key, self.seen[key]) for key in sorted(keys)])


def sighting(
    rule: str,
    severity: Severity,
    seen: Seen,
    subject: str,
    text: str,
    fix: str = "",
    where: Place | None = None,
) -> Sighting:
    """The sighting of ``rule`` that ``seen`` tells of."""
    finding = Finding(rule, severity, where, printable(text), printable(fix))
    return Sighting(finding, seen.count, seen.first_ns, seen.first_frame, seen.frame, subject)
