"""The blocks of a pcapng file, whatever is in them; after a damaged one the next that stands whole is looked for."""

import struct
from collections.abc import Iterator
from typing import BinaryIO, NamedTuple

from busdesign.traffic.reading import Gathering

SECTION, INTERFACE, OLD_PACKET, SIMPLE_PACKET, ENHANCED_PACKET = 0x0A0D0D0A, 1, 2, 3, 6
_NEEDED = (SECTION, INTERFACE, OLD_PACKET, SIMPLE_PACKET, ENHANCED_PACKET)
_MAX_BYTES = 1 << 20  # of a block that is looked into, and so is held whole
_MAX_SKIPPED_BYTES = 1 << 26  # of any other
_CHUNK_BYTES = 1 << 16
_ORDERS = {b"\x4d\x3c\x2b\x1a": "<", b"\x1a\x2b\x3c\x4d": ">"}
_TWO = {order: struct.Struct(order + "II") for order in "<>"}
_ONE = {order: struct.Struct(order + "I") for order in "<>"}
_SHOWN_BYTES = 16
_LAST_OPTION = 0


class Block(NamedTuple):
    """One block: its number from 1, kind, the section's byte order as in ``struct``, and all between its lengths."""

    number: int
    kind: int
    order: str
    body: bytes

    @property
    def shown(self) -> bytes:
        """How it begins, for a person to read."""
        return self.body[:_SHOWN_BYTES].hex(" ").encode()


def options_of(block: Block, at: int) -> Iterator[tuple[int, bytes]]:
    """Code and value of the options that begin at ``at`` of its body; those that are cut off are left out."""
    while at + 4 <= len(block.body):
        code, length = struct.unpack_from(block.order + "HH", block.body, at)
        value = block.body[at + 4 : at + 4 + length]
        if code == _LAST_OPTION or len(value) < length:
            return
        yield code, value
        at += 4 + (length + 3) // 4 * 4


class _Window:
    """The part of a stream that is being looked at: ``data`` from ``at`` on."""

    def __init__(self, stream: BinaryIO) -> None:
        self._stream = stream
        self.data, self.at = b"", 0

    def has(self, count: int) -> bool:
        """Whether ``count`` more bytes are there, after reading on where need be."""
        while len(self.data) - self.at < count:
            more = self._stream.read(_CHUNK_BYTES)
            if not more:
                return False
            self.data, self.at = self.data[self.at :] + more, 0
        return True

    def skip(self, count: int) -> bool:
        """Go on by ``count`` bytes without holding them; False if the stream ends before."""
        while len(self.data) - self.at < count:
            count -= len(self.data) - self.at
            self.data, self.at = self._stream.read(_CHUNK_BYTES), 0
            if not self.data:
                return False
        self.at += count
        return True


def blocks_of(stream: BinaryIO, gathering: Gathering) -> Iterator[Block]:
    """The blocks of the file that matter here; each one that is damaged is refused, once for all up to the next."""
    window = _Window(stream)
    order, number = "", 0
    while window.has(1):
        number += 1
        gathering.line_count = number
        if not window.has(12):
            return gathering.refuse(number, _beginning(window), "the file ends within this block")
        if window.data.startswith(b"\x0a\x0d\x0d\x0a", window.at):
            order = _ORDERS.get(window.data[window.at + 8 : window.at + 12], "")
        if not order:
            reason = "this is no section of a pcapng file: its byte order is not there"
            gathering.refuse(number, _beginning(window), reason)
            if not _find_next(window, order):
                return None
            continue
        kind, size = _TWO[order].unpack_from(window.data, window.at)
        is_sound = 12 <= size <= (_MAX_BYTES if kind in _NEEDED else _MAX_SKIPPED_BYTES) and size % 4 == 0
        if is_sound and kind not in _NEEDED:
            if not window.skip(size):
                return gathering.refuse(number, b"", "the file ends within this block")
            continue
        if is_sound and not window.has(size):
            shown = _beginning(window)
            if not _find_next(window, order):
                return gathering.refuse(number, shown, "the file ends within this block")
            gathering.refuse(number, shown, "the block's length is wrong")
        elif not is_sound or _ONE[order].unpack_from(window.data, window.at + size - 4) != (size,):
            gathering.refuse(number, _beginning(window), "the block's length is wrong")
            if not _find_next(window, order):
                return None
        else:
            yield Block(number, kind, order, window.data[window.at + 8 : window.at + size - 4])
            window.at += size
    return None


def _beginning(window: _Window) -> bytes:
    return window.data[window.at : window.at + _SHOWN_BYTES].hex(" ").encode()


def _find_next(window: _Window, order: str) -> bool:
    """Go to the next section, or the next frame of this one, whose two lengths agree; False if there is none."""
    window.at += 1
    section, frame = b"\x0a\x0d\x0d\x0a", _ONE[order or "<"].pack(ENHANCED_PACKET)
    while window.has(12):
        places = [window.data.find(mark, window.at) for mark in (section, frame)[: 2 if order else 1]]
        place = min((place for place in places if place >= 0), default=-1)
        if place < 0:
            window.at = len(window.data) - 3  # a mark may go on in what is read next
            continue
        window.at = place
        if _stands_whole(window, order):
            return True
        window.at += 1
    return False


def _stands_whole(window: _Window, order: str) -> bool:
    if not window.has(12):
        return False
    if window.data.startswith(b"\x0a\x0d\x0d\x0a", window.at):
        order = _ORDERS.get(window.data[window.at + 8 : window.at + 12], "")
        if not order:
            return False
    _, size = _TWO[order].unpack_from(window.data, window.at)
    if size < 12 or size % 4 or size > _MAX_BYTES or not window.has(size):
        return False
    return bool(_ONE[order].unpack_from(window.data, window.at + size - 4) == (size,))
