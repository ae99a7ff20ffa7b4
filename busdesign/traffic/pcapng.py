"""Captures as pcapng (PCAP Next Generation, draft-ietf-opsawg-pcapng), link type 227: frames as SocketCAN has them.

    4 bytes  identifier, bit 31 extended, bit 30 remote, bit 29 error; the highest byte first whatever the section says
    1 byte   length of the data         1 byte   bit 2: an FD frame
    1 byte   reserved                   1 byte   length code, of a frame of 8 bytes that was sent with one of 9..15
    then the data

The identifier's place and order: LINKTYPE_CAN_SOCKETCAN, tcpdump.org, from memory. Captures exist whose identifiers are
in the other order, against that page: where most of the first ones are impossible as they stand, all are turned round,
with a notice. Frames in a "cooked" capture (link type 113) are read too. Each interface is a channel.

Written is one section, little-endian, with the time in nanoseconds.
"""

import struct
from collections.abc import Iterator
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import BinaryIO, TypeAlias

import numpy as np
from numpy.typing import NDArray

from busdesign.catalogue.model import MAX_BASE_IDENTIFIER, MAX_EXTENDED_IDENTIFIER
from busdesign.traffic.frames import Traffic, is_channel_name
from busdesign.traffic.pcapng_blocks import (
    ENHANCED_PACKET,
    INTERFACE,
    OLD_PACKET,
    SECTION,
    SIMPLE_PACKET,
    Block,
    blocks_of,
    options_of,
)
from busdesign.traffic.reading import Gathering, Reading, read_whole
from busdesign.units import NS_PER_S
from busdesign.wire.flags import ERROR, EXTENDED, REMOTE
from busdesign.wire.frame import LARGEST_LENGTH_BYTES, LARGEST_LENGTH_CODE

_LINK_CAN, _LINK_COOKED = 227, 113
_PROTOCOL_CAN = 0x000C  # ETH_P_CAN, Linux kernel, include/uapi/linux/if_ether.h
_COOKED_BYTES, _HEADER_BYTES = 16, 8
_EXTENDED_BIT, _REMOTE_BIT, _ERROR_BIT = 1 << 31, 1 << 30, 1 << 29  # include/uapi/linux/can.h
_FD_BIT, _XL_BIT = 0x04, 0x80
_OPTION_NAME, _OPTION_RESOLUTION, _OPTION_OFFSET = 2, 9, 14
_MICROSECONDS, _NANOSECONDS = 6, 9  # if_tsresol, the first of which holds where none is written
_ENHANCED = {order: struct.Struct(order + "5I") for order in "<>"}
_TRIED = 100  # frames, before the order of identifiers is settled
_LAST_NS = 2**63 - 1
_MAX_INTERFACES = 65_536


@dataclass(frozen=True, slots=True)
class _Interface:
    channel: bytes
    link_type: int
    tick_ns: Fraction
    offset_ns: int

    def time_ns(self, ticks: int) -> int:
        """Raises ValueError."""
        step = self.tick_ns
        time = (2 * ticks * step.numerator + step.denominator) // (2 * step.denominator) + self.offset_ns
        if not 0 <= time <= _LAST_NS:
            raise ValueError("its time is not within 0 and 9223372036 s, the last one that can be kept")
        return time


_Packet: TypeAlias = tuple[Block, _Interface, int, int, bytes]
"""Where it was, its interface, time [ns], first word as it stands, and what follows that word."""


def read(stream: BinaryIO) -> Reading:
    """All frames of a capture; every block that should be a frame and is none is counted, with the reason."""
    return read_whole(blocks, stream)


def blocks(stream: BinaryIO, gathering: Gathering) -> Iterator[Traffic]:
    """The same, a block of frames at a time."""
    tried: list[_Packet] | None = []
    is_turned = False
    for packet in _packets(stream, gathering):
        if tried is None:
            _add(gathering, packet, is_turned)
        else:
            tried.append(packet)
            if len(tried) == _TRIED:
                is_turned = _is_turned(tried, gathering)
                yield from _add_all(gathering, tried, is_turned)
                tried = None
        if gathering.is_full:
            yield gathering.take()
    if tried:
        yield from _add_all(gathering, tried, _is_turned(tried, gathering))
    yield from gathering.rest()


def _add_all(gathering: Gathering, packets: list[_Packet], is_turned: bool) -> Iterator[Traffic]:
    for packet in packets:
        _add(gathering, packet, is_turned)
        if gathering.is_full:
            yield gathering.take()


def _packets(stream: BinaryIO, gathering: Gathering) -> Iterator[_Packet]:
    interfaces: list[_Interface] = []
    for block in blocks_of(stream, gathering):
        try:
            if block.kind == SECTION:
                interfaces = []
            elif block.kind == INTERFACE:
                interfaces.append(_interface(block, len(interfaces)))
                _note_resolution(gathering, interfaces[-1])
            elif block.kind in (ENHANCED_PACKET, OLD_PACKET):
                if (packet := _packet(block, interfaces)) is not None:
                    yield packet
            elif block.kind == SIMPLE_PACKET:
                raise ValueError("a simple packet block has no time")
        except (ValueError, struct.error) as reason:
            text = "the block is too short" if isinstance(reason, struct.error) else str(reason)
            gathering.refuse(block.number, block.shown, text)


def _interface(block: Block, index: int) -> _Interface:
    if index == _MAX_INTERFACES:
        raise ValueError(f"more than {_MAX_INTERFACES} interfaces are not read")
    (link_type,) = struct.unpack_from(block.order + "H", block.body)
    interface = _Interface(b"can%d" % index, link_type, _tick_ns(_MICROSECONDS), 0)
    for code, value in options_of(block, 8):
        if code == _OPTION_NAME:
            name = value.rstrip(b"\0").decode(errors="replace")
            if is_channel_name(name):
                interface = replace(interface, channel=name.encode())
        elif code == _OPTION_RESOLUTION and len(value) == 1:
            interface = replace(interface, tick_ns=_tick_ns(value[0]))
        elif code == _OPTION_OFFSET and len(value) == 8:
            (seconds,) = struct.unpack(block.order + "q", value)
            interface = replace(interface, offset_ns=seconds * NS_PER_S)
    return interface


def _tick_ns(written: int) -> Fraction:
    """A tick of if_tsresol: a negative power of 2 if its top bit is set, else of 10."""
    return Fraction(NS_PER_S, 2 ** (written & 0x7F) if written & 0x80 else 10**written)


def _note_resolution(gathering: Gathering, interface: _Interface) -> None:
    if interface.link_type in (_LINK_CAN, _LINK_COOKED):
        gathering.resolution_ns = max(gathering.resolution_ns or 1, round(interface.tick_ns))


def _packet(block: Block, interfaces: list[_Interface]) -> _Packet | None:
    """None for one that is no frame of this bus, such as of another interface of the computer."""
    if block.kind == ENHANCED_PACKET:
        index, high, low, length, _ = _ENHANCED[block.order].unpack_from(block.body)
    else:
        index, _, high, low, length, _ = struct.unpack_from(block.order + "HH4I", block.body)
    if index >= len(interfaces):
        raise ValueError(f"there is no interface {index} in its section")
    interface = interfaces[index]
    frame = block.body[20 : 20 + length]
    if interface.link_type not in (_LINK_CAN, _LINK_COOKED):
        return None
    if len(frame) < length:
        raise ValueError("the frame is said to be longer than its block")
    if interface.link_type == _LINK_COOKED:
        if len(frame) < _COOKED_BYTES or frame[_COOKED_BYTES - 2 : _COOKED_BYTES] != _PROTOCOL_CAN.to_bytes(2, "big"):
            return None
        frame = frame[_COOKED_BYTES:]
    if len(frame) < _HEADER_BYTES:
        raise ValueError(f"a frame has at least {_HEADER_BYTES} bytes here, found {len(frame)}")
    return block, interface, interface.time_ns(high << 32 | low), int.from_bytes(frame[:4], "big"), frame[4:]


def _is_turned(packets: list[_Packet], gathering: Gathering) -> bool:
    """Whether the identifiers have their lowest byte first."""
    as_they_stand = sum(_is_impossible(word) for _, _, _, word, _ in packets)
    turned = sum(_is_impossible(_turned(word)) for _, _, _, word, _ in packets)
    if 2 * as_they_stand <= len(packets) or turned >= as_they_stand:
        return False
    gathering.notice(
        "the identifiers of this capture have their lowest byte first, against the standard of link type 227, and were"
        f" turned round: {as_they_stand} of the first {len(packets)} would be none otherwise"
    )
    return True


def _is_impossible(word: int) -> bool:
    is_base = not word & (_EXTENDED_BIT | _ERROR_BIT)
    return is_base and word & MAX_EXTENDED_IDENTIFIER > MAX_BASE_IDENTIFIER


def _turned(word: int) -> int:
    return int.from_bytes(word.to_bytes(4, "little"), "big")


def _add(gathering: Gathering, packet: _Packet, is_turned: bool) -> None:
    block, interface, end_ns, word, rest = packet
    try:
        identifier, flags, length, data = _frame(_turned(word) if is_turned else word, rest)
        gathering.add(end_ns, identifier, flags, length, interface.channel, int.from_bytes(data, "little"))
    except ValueError as reason:
        gathering.refuse(block.number, block.shown, str(reason))


def _frame(word: int, rest: bytes) -> tuple[int, int, int, bytes]:
    """Identifier, flags, length and data. Raises ValueError."""
    length, fd_flags, _, length_code = rest[:4]
    if length & _XL_BIT:
        raise ValueError("XL frames are not read")
    if fd_flags & _FD_BIT or length > LARGEST_LENGTH_BYTES:
        raise ValueError("FD frames are not read yet")
    identifier = word & MAX_EXTENDED_IDENTIFIER
    if word & _ERROR_BIT:
        if word & _REMOTE_BIT:
            raise ValueError("an error frame cannot be a remote frame")
        flags = ERROR
    elif word & _EXTENDED_BIT:
        flags = EXTENDED
    elif identifier > MAX_BASE_IDENTIFIER:
        raise ValueError(f"identifier {identifier:#x} does not fit 11 bits, 0x7ff is the last")
    else:
        flags = 0
    if word & _REMOTE_BIT:
        is_raw = length == LARGEST_LENGTH_BYTES and length < length_code <= LARGEST_LENGTH_CODE
        return identifier, flags | REMOTE, length_code if is_raw else length, b""
    data = rest[4 : 4 + length]
    if len(data) < length:
        raise ValueError(f"the frame has {length} bytes, of which {len(data)} were captured")
    return identifier, flags, length, data


class Encoder:
    """Traffic as the bytes of a capture, a part after the other; channels may join as they come."""

    def __init__(self) -> None:
        self._channels: dict[str, int] = {}
        self._is_begun = False

    def encode(self, traffic: Traffic) -> bytes:
        """The bytes that follow those given so far; the first ones begin the section."""
        new = [name for name in traffic.channels if name not in self._channels]
        head = b"" if self._is_begun else _section()
        self._is_begun = True
        for name in new:
            self._channels[name] = len(self._channels)
        index = np.array([self._channels[name] for name in traffic.channels] or [0], np.uint32)
        return head + b"".join(map(_interface_block, new)) + _packet_blocks(traffic, index[traffic.channel]).tobytes()


def write(traffic: Traffic) -> bytes:
    """The file's content for ``traffic``; the same traffic gives the same bytes."""
    return Encoder().encode(traffic)


def _section() -> bytes:
    return struct.pack("<IIIHHqI", SECTION, 28, 0x1A2B3C4D, 1, 0, -1, 28)


def _interface_block(channel: str) -> bytes:
    name = channel.encode()
    options = struct.pack("<HH", _OPTION_NAME, len(name)) + name + bytes(-len(name) % 4)
    options += struct.pack("<HHB3xHH", _OPTION_RESOLUTION, 1, _NANOSECONDS, 0, 0)
    size = 20 + len(options)
    return struct.pack("<IIHHI", INTERFACE, size, _LINK_CAN, 0, 0) + options + struct.pack("<I", size)


def _packet_blocks(traffic: Traffic, interface: NDArray[np.uint32]) -> NDArray[np.uint8]:
    """Enhanced packet blocks, built a 32-bit word at a time over all frames at once."""
    flags = traffic.flags
    is_remote = (flags & np.uint8(REMOTE)) != 0
    length = np.minimum(traffic.length, LARGEST_LENGTH_BYTES).astype(np.uint32)
    length_code = np.where(traffic.length > LARGEST_LENGTH_BYTES, traffic.length, 0).astype(np.uint32)
    data_bytes = np.where(is_remote, 0, length).astype(np.uint32)
    data_words = (data_bytes + 3) // 4
    size_words = 10 + data_words
    start = np.concatenate([np.zeros(1, np.int64), np.cumsum(size_words, dtype=np.int64)])
    words = np.zeros(int(start[-1]), "<u4")
    first, last = start[:-1], start[1:] - 1
    word = traffic.identifier.copy()
    for flag, bit in ((EXTENDED, _EXTENDED_BIT), (REMOTE, _REMOTE_BIT), (ERROR, _ERROR_BIT)):
        word[(flags & np.uint8(flag)) != 0] |= np.uint32(bit)
    ticks = traffic.end_ns.astype(np.uint64)
    captured = data_bytes + np.uint32(_HEADER_BYTES)
    columns = [
        np.uint32(ENHANCED_PACKET), 4 * size_words, interface, ticks >> np.uint64(32), ticks & np.uint64(0xFFFF_FFFF),
        captured, captured, word.byteswap(), length | length_code << np.uint32(24),
    ]  # fmt: skip
    for place, column in enumerate(columns):
        words[first + place] = column
    words[last] = 4 * size_words
    for place in range(2):
        has_word = data_words > place
        words[first[has_word] + 9 + place] = traffic.payload[has_word] >> np.uint64(32 * place) & np.uint64(0xFFFF_FFFF)
    return words.view(np.uint8)
