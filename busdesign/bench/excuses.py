"""What excuses that a message does not come: power that comes after the capture began, silence that somebody made."""

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from busdesign.bench.limits import Limits
from busdesign.catalogue.model import Catalogue, Message

Span = tuple[int, int]


class Excuses:
    """``silences``: of each node the spans, on the recorder's clock, in which somebody kept it from sending."""

    def __init__(self, catalogue: Catalogue, limits: Limits, silences: Mapping[str, Sequence[Span]]) -> None:
        self._catalogue, self._limits, self._silences = catalogue, limits, silences

    def first_allowed_ns(self, message: Message) -> int | None:
        """A capture may begin before the power comes on, so a node has one period of its slowest message to begin."""
        if message.irregular or message.lost_after_ns is None:
            return None
        slowest = max(other.period_ns for other in self._catalogue.sent_by(message.sender) if not other.irregular)
        longest = self._limits.messages[message.name].longest_ns or message.period_ns
        return max(message.lost_after_ns, slowest + message.offset_ns + longest)

    def explain(self, message: Message, begin_ns: int, end_ns: int) -> bool:
        """Whether somebody made the sender silent in that time."""
        spans = self._silences.get(message.sender, ())
        return any(begin < end_ns and until > begin_ns for begin, until in spans)

    def explained(self, message: Message, begins: NDArray[np.int64], ends: NDArray[np.int64]) -> NDArray[np.bool_]:
        """The same for many times, bool [n]."""
        found = np.zeros(len(begins), np.bool_)
        for begin, until in self._silences.get(message.sender, ()):
            found |= (begin < ends) & (until > begins)
        return found
