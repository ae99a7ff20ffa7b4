"""Frames on the wire over time, ready to be drawn: who won, who waited, and behind whom."""

from dataclasses import dataclass
from math import ceil
from typing import TYPE_CHECKING

from busdesign.answers.simulate import SimulateAnswer
from busdesign.catalogue.model import Message
from busdesign.wire.arbitration import arbitration_key

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray


@dataclass(frozen=True, slots=True)
class FrameRow:
    """One message on the wire. ``slowest`` is the index of its frame with the longest response, the first of equals."""

    message: Message
    deadline_ns: int
    bound_ns: int | None
    slowest: int | None


@dataclass(frozen=True, slots=True)
class FrameKind:
    """Frames that look alike: index into ``rows``, bits with intermission, time from start to end of frame."""

    row: int
    bits: int
    duration_ns: int


@dataclass(frozen=True, eq=False, slots=True)
class FramesOverTime:
    """Every frame on the wire, in its order; columns of shape [n]. ``rows``: highest priority first.

    - ``kind``: index into ``kinds``
    - ``start_ns``: start of frame; ``waited_ns``: how long it had been ready by then
    - ``response_ns``: nominal release to end of intermission
    - ``behind``: how many frames right before it won over it; frame j was waiting while frame i took the wire if
      i < j <= i + ``behind[j]``. Clocks that drift are rounded to a nanosecond first.
    - ``waiting``: how many frames were ready too when it won, those included that were never sent
    """

    rows: tuple[FrameRow, ...]
    kinds: tuple[FrameKind, ...]
    kind: "NDArray[np.int64]"
    start_ns: "NDArray[np.int64]"
    waited_ns: "NDArray[np.int64]"
    response_ns: "NDArray[np.int64]"
    behind: "NDArray[np.int64]"
    waiting: "NDArray[np.int64]"

    def __len__(self) -> int:
        return len(self.start_ns)


def priority(message: Message) -> tuple[bool, int]:
    """A key to sort messages by: highest priority first, those without an identifier last."""
    if message.identifier is None:
        return True, 0
    return False, arbitration_key(message.identifier, extended=message.extended, remote=message.is_remote)


def frames_over_time(answer: SimulateAnswer) -> FramesOverTime:
    """Every frame of ``answer``, and who waited for whom."""
    import numpy as np

    run = answer.run
    bus, messages = run.catalogue.bus, run.catalogue.messages
    order = sorted(range(len(messages)), key=lambda index: priority(messages[index]))
    row_of = np.empty(len(messages), dtype=np.int64)
    row_of[order] = np.arange(len(messages))
    row = row_of[run.message_index]
    kinds, kind = _kinds(row, run.wire_bits.astype(np.int64), run.traffic.end_ns - run.start_ns)
    # The first frame whose sample point of start of frame it could still meet; all from there on won over it.
    joins_from = np.searchsorted(run.start_ns + ceil(bus.bit_ns * bus.sample_point), run.ready_ns, side="right")
    count = np.arange(len(row))
    bounds_ms = {message.name: message.response_worst_ms for message in answer.messages}  # of a stranger there is none
    return FramesOverTime(
        rows=tuple(
            _row(messages[index], bounds_ms.get(messages[index].name), row == place, run.response_ns)
            for place, index in enumerate(order)
        ),
        kinds=kinds,
        kind=kind,
        start_ns=run.start_ns,
        waited_ns=np.maximum(run.start_ns - run.ready_ns, 0),
        response_ns=run.response_ns,
        behind=count - np.minimum(joins_from, count),
        waiting=run.waiting.astype(np.int64),
    )


def _row(
    message: Message, bound_ms: float | None, own: "NDArray[np.bool_]", response_ns: "NDArray[np.int64]"
) -> FrameRow:
    indices = own.nonzero()[0]
    slowest = int(indices[response_ns[indices].argmax()]) if len(indices) else None
    return FrameRow(message, message.deadline_ns, None if bound_ms is None else round(bound_ms * 1e6), slowest)


def _kinds(
    row: "NDArray[np.int64]", bits: "NDArray[np.int64]", duration_ns: "NDArray[np.int64]"
) -> tuple[tuple[FrameKind, ...], "NDArray[np.int64]"]:
    import numpy as np

    durations, which = np.unique(duration_ns, return_inverse=True)
    rows, lengths = int(row.max(initial=0)) + 1, int(bits.max(initial=0)) + 1
    keys, kind = np.unique((which * rows + row) * lengths + bits, return_inverse=True)
    return tuple(
        FrameKind(key // lengths % rows, key % lengths, int(durations[key // lengths // rows])) for key in keys.tolist()
    ), kind.astype(np.int64)
