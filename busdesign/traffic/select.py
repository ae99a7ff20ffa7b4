"""Which frames of a recording belong to which message of a catalogue."""

from collections.abc import Iterable

import numpy as np
from numpy.typing import NDArray

from busdesign.catalogue.model import Message
from busdesign.traffic.frames import Traffic
from busdesign.wire.flags import ERROR, EXTENDED, REMOTE

_EXTENDED_KEY = 1 << 29  # a base and an extended identifier of the same number are two identifiers


def data_frames(traffic: Traffic) -> NDArray[np.bool_]:
    """Mask of shape [n]: neither remote frames nor error frames."""
    mask: NDArray[np.bool_] = (traffic.flags & np.uint8(REMOTE | ERROR)) == 0
    return mask


def flags_of(message: Message) -> int:
    """The flags that every frame of ``message`` has in a recording."""
    return (EXTENDED if message.extended else 0) | (REMOTE if message.is_remote else 0)


def rows_of(traffic: Traffic, message: Message) -> NDArray[np.int64]:
    """Row numbers, ascending, of the frames of ``message``: its identifier, data or remote as it is, any length.

    A message without an identifier has none.
    """
    if message.identifier is None:
        return np.empty(0, np.int64)
    rows = np.flatnonzero(traffic.identifier == np.uint32(message.identifier))
    found: NDArray[np.int64] = rows[traffic.flags[rows] == flags_of(message)]
    return found


def rows_of_none(traffic: Traffic, messages: Iterable[Message]) -> NDArray[np.int64]:
    """Row numbers, ascending, of the data frames whose identifier none of ``messages`` has."""
    declared = [
        message.identifier + _EXTENDED_KEY * message.extended for message in messages if message.identifier is not None
    ]
    keys = traffic.identifier + (traffic.flags & np.uint8(EXTENDED)).astype(np.uint32) * np.uint32(_EXTENDED_KEY)
    return np.flatnonzero(data_frames(traffic) & ~np.isin(keys, np.array(declared, np.uint32)))
