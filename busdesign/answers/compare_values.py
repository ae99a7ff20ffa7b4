"""Which signals differ in frames that say something else, by the catalogue."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from busdesign.catalogue.model import Message, Role, Signal

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from busdesign.traffic.decode import Columns
    from busdesign.traffic.frames import Traffic


@dataclass(frozen=True, slots=True)
class ValueDifference:
    """A signal that differs in ``count`` frames: the first time, what it said there, and the greatest difference.

    ``most``: in the signal's unit; None where its numbers are codes.
    """

    message: str
    signal: str
    count: int
    first_at_s: float
    old: str
    new: str
    most: float | None


class SignalDifferences:
    """Collects them, a block of differing frames at a time."""

    def __init__(self, messages: Mapping[int, Message], *, without_protection: bool) -> None:
        """``without_protection``: counters and checks are not compared."""
        self._messages = messages
        self._skipped = (Role.COUNTER, Role.CHECK) if without_protection else ()
        self._found: dict[tuple[int, str], ValueDifference] = {}

    def look(self, key: int, old: "Traffic", new: "Traffic") -> "NDArray[np.bool_]":
        """Of frames of one kind, each the other's partner, whose bytes differ: whether they differ in what counts."""
        import numpy as np

        from busdesign.traffic.decode import Columns

        message = self._messages.get(key)
        if message is None or message.is_remote:
            return np.ones(len(old), np.bool_)
        rows = np.flatnonzero((old.length >= message.length_bytes) & (new.length >= message.length_bytes))
        one, other = (Columns(message, rows, side.end_ns[rows], side.payload[rows]) for side in (old, new))
        protection = np.uint64(0)
        for signal in message.signals:
            if signal.role in self._skipped:
                protection |= np.uint64(sum(1 << bit for bit in signal.bit_positions))
                continue
            at = one.raw(signal.name) != other.raw(signal.name)
            for side in (one, other):  # on different pages there is nothing to compare
                if signal.selector:
                    carried = np.zeros(len(old), np.bool_)
                    carried[side.carrying(signal.name).rows] = True
                    at &= carried[rows]
            if at.any():
                self._note(key, message, signal, one, other, np.flatnonzero(at))
        differs = ((one.payload ^ other.payload) & ~protection) != 0
        counts: NDArray[np.bool_] = old.length != new.length
        counts[rows] |= differs
        return counts

    def _note(
        self, key: int, message: Message, signal: Signal, one: "Columns", other: "Columns", at: "NDArray[np.int64]"
    ) -> None:
        values, news = one.physical(signal.name)[at], other.physical(signal.name)[at]
        most = None if signal.codes else float(abs(news - values).max())
        before = self._found.get((key, signal.name))
        if before is None:
            first = int(at[0])
            old, new = (side.raw(signal.name)[first] for side in (one, other))
            words = (_said(signal, int(old), float(values[0])), _said(signal, int(new), float(news[0])))
            first_s = int(one.end_ns[first]) / 1e9
            self._found[key, signal.name] = ValueDifference(
                message.name, signal.name, len(at), first_s, words[0], words[1], most
            )
            return
        greatest = None if most is None or before.most is None else max(before.most, most)
        self._found[key, signal.name] = replace(before, count=before.count + len(at), most=greatest)

    def found(self) -> tuple[ValueDifference, ...]:
        """All of them, in the order of identifiers."""
        return tuple(self._found[key] for key in sorted(self._found))


def _said(signal: Signal, raw: int, value: float) -> str:
    return signal.codes.get(raw) or f"{value:.9g} {signal.unit}".rstrip()
