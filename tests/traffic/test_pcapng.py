"""pcapng with link type 227: our own files, those of others, and damaged ones."""

import struct
from io import BytesIO
from typing import Any

import dpkt
import pytest
from hypothesis import given
from hypothesis import strategies as st

from busdesign.traffic.frames import Traffic
from busdesign.traffic.pcapng import Encoder, read, write
from busdesign.wire.flags import ERROR, EXTENDED, REMOTE

FRAME = struct.pack(">IBBBB", 0x110, 2, 0, 0, 0) + b"\x02\x00"
SECOND_NS = 10**9


def block(order: str, kind: int, body: bytes) -> bytes:
    body += bytes(-len(body) % 4)
    size = struct.pack(order + "I", 12 + len(body))
    return struct.pack(order + "I", kind) + size + body + size


def section(order: str) -> bytes:
    return block(order, 0x0A0D0D0A, struct.pack(order + "IHHq", 0x1A2B3C4D, 1, 0, -1))


def interface(order: str, link_type: int = 227, **options: Any) -> bytes:
    codes = {"name": 2, "resolution": 9, "offset": 14}
    written = b"".join(
        struct.pack(order + "HH", codes[name], len(value)) + value + bytes(-len(value) % 4)
        for name, value in options.items()
    )
    return block(order, 1, struct.pack(order + "HHI", link_type, 0, 0) + written)


def packet(order: str, ticks: int, frame: bytes = FRAME, index: int = 0) -> bytes:
    fields = struct.pack(order + "5I", index, ticks >> 32, ticks & 0xFFFF_FFFF, len(frame), len(frame))
    return block(order, 6, fields + frame)


def file(*parts: bytes) -> BytesIO:
    return BytesIO(b"".join(parts))


@given(st.from_type(Traffic))
def test_what_is_written_is_read_back(traffic: Traffic) -> None:
    reading = read(BytesIO(write(traffic)))
    assert reading.traffic.equal(traffic)
    assert reading.bad_lines == ()


@given(st.from_type(Traffic))
def test_another_library_reads_the_same_frames(traffic: Traffic) -> None:
    reader = dpkt.pcapng.Reader(BytesIO(write(traffic)))
    assert reader.datalink() == 227
    for row, (_, frame) in enumerate(reader):
        identifier, length, _, _, length_code = struct.unpack_from(">IBBBB", frame)
        flags = int(traffic.flags[row])
        assert identifier & 0x1FFF_FFFF == traffic.identifier[row]
        bits = [bool(identifier >> bit & 1) for bit in (31, 30, 29)]
        assert bits == [bool(flags & flag) for flag in (EXTENDED, REMOTE, ERROR)]
        assert (length_code or length) == traffic.length[row]
        assert frame[8:] == traffic.data(row)
    assert row + 1 == len(traffic)


def test_another_library_reads_the_same_time_to_the_microsecond() -> None:
    traffic = Traffic.of_rows([(1_700_000_000 * SECOND_NS + 540_001, 0x110, 0, 0, 0, 0)])
    ((seconds, _),) = dpkt.pcapng.Reader(BytesIO(write(traffic)))
    assert round(float(seconds) * 1e6) == 1_700_000_000_000_540


def test_the_bytes_of_one_frame() -> None:
    written = write(Traffic.of_rows([(540_001, 0x18FF0010, EXTENDED, 3, 0, 0x030201)], ("can0",)))
    assert written[-44:].hex(" ", -4) == (
        "06000000 2c000000 00000000 00000000 613d0800 0b000000 0b000000 98ff0010 03000000 01020300 2c000000"
    )


@given(st.lists(st.from_type(Traffic), min_size=1, max_size=3))
def test_parts_follow_each_other(parts: list[Traffic]) -> None:
    encoder = Encoder()
    reading = read(BytesIO(b"".join(map(encoder.encode, parts))))
    assert len(reading.traffic) == sum(map(len, parts))
    assert reading.bad_lines == ()


@pytest.mark.parametrize("order", "<>")
def test_both_byte_orders_of_a_section(order: str) -> None:
    reading = read(file(section(order), interface(order), packet(order, 1_500_000)))
    assert reading.traffic.equal(Traffic.of_rows([(1_500_000_000, 0x110, 0, 2, 0, 2)]))


def test_sections_of_both_orders_in_one_file() -> None:
    parts = [part for order in "<><" for part in (section(order), interface(order), packet(order, 7))]
    assert read(file(*parts)).traffic.end_ns.tolist() == [7000] * 3


@pytest.mark.parametrize(
    ("resolution", "ticks", "end_ns"),
    [
        (b"\x06", 3, 3000),
        (b"\x09", 3, 3),
        (b"\x03", 3, 3_000_000),
        (b"\x00", 3, 3 * SECOND_NS),
        (b"\x0c", 3501, 4),  # picoseconds, rounded
        (b"\x8a", 1, 976_562),  # 1/1024 s = 976562.5 ns: the half goes up
        (b"\x94", 1 << 20, SECOND_NS),
    ],
)
def test_the_resolution_of_the_clock(resolution: bytes, ticks: int, end_ns: int) -> None:
    reading = read(file(section("<"), interface("<", resolution=resolution), packet("<", ticks)))
    assert reading.traffic.end_ns.tolist() == [end_ns + (resolution == b"\x8a")]


def test_the_offset_of_the_clock() -> None:
    offset = struct.pack("<q", 100)
    reading = read(file(section("<"), interface("<", offset=offset), packet("<", 5)))
    assert reading.traffic.end_ns.tolist() == [100 * SECOND_NS + 5000]
    early = read(file(section("<"), interface("<", offset=struct.pack("<q", -100)), packet("<", 5)))
    assert "time is not within" in early.bad_lines[0].reason


def test_interfaces_are_channels_by_their_names() -> None:
    parts = [interface("<", name=b"left"), interface("<"), interface("<", 1, name=b"eth0"), interface("<", name=b"a b")]
    packets = [packet("<", index, index=index) for index in range(4)]
    reading = read(file(section("<"), *parts, *packets))
    traffic = reading.traffic
    assert [traffic.channel_name(row) for row in range(len(traffic))] == ["left", "can1", "can3"]
    assert reading.bad_lines == ()  # a frame of another link is nobody's fault


def test_frames_padded_by_their_recorder() -> None:
    reading = read(file(section("<"), interface("<"), packet("<", 1, FRAME + bytes(6))))
    assert reading.traffic.data(0) == b"\x02\x00"


def test_a_cooked_capture() -> None:
    cooked = bytes(14) + b"\x00\x0c" + FRAME
    other = bytes(14) + b"\x08\x00" + FRAME
    reading = read(file(section("<"), interface("<", 113), packet("<", 1, cooked), packet("<", 2, other)))
    assert reading.traffic.identifier.tolist() == [0x110]


@pytest.mark.parametrize("count", [1, 99, 100, 250])
def test_identifiers_with_their_lowest_byte_first_are_turned_with_a_notice(count: int) -> None:
    turned = struct.pack("<IBBBB", 0x110, 1, 0, 0, 0) + b"\x07"
    reading = read(file(section("<"), interface("<"), *(packet("<", number, turned) for number in range(count))))
    assert set(reading.traffic.identifier.tolist()) == {0x110}
    assert len(reading.traffic) == count
    assert "lowest byte first" in reading.notices[0]
    assert read(file(section("<"), interface("<"), packet("<", 1))).notices == ()


def header(word: int, length: int, fd_flags: int = 0) -> bytes:
    return struct.pack(">IBBBB", word, length, fd_flags, 0, 0)


@pytest.mark.parametrize(
    ("bad", "reason"),
    [
        (packet("<", 2, header(0x110, 8) + b"\x01"), "8 bytes, of which 1 were captured"),
        (packet("<", 2, header(0x110, 12) + bytes(12)), "FD frames"),
        (packet("<", 2, header(0x110, 2, 4) + bytes(2)), "FD frames"),
        (packet("<", 2, header(0x110, 0x80) + bytes(8)), "XL frames"),
        (packet("<", 2, header(0x812, 0)), "does not fit 11 bits"),
        (packet("<", 2, header(0x6000_0000, 0)), "error frame cannot be a remote frame"),
        (packet("<", 2, b"\x00\x00"), "at least 8 bytes"),
        (packet("<", 2, index=3), "no interface 3"),
        (packet("<", 2**64 - 1), "time is not within"),
        (block("<", 6, bytes(8)), "too short"),
        (block("<", 3, bytes(8)), "has no time"),
        (block("<", 1, b""), "too short"),
        (struct.pack("<IIII", 6, 16, 0, 17), "length is wrong"),
        (struct.pack("<IIII", 6, 14, 0, 14), "length is wrong"),
        (struct.pack("<IIII", 6, 2**31, 0, 0), "length is wrong"),
        (b"\xff" * 16, "length is wrong"),
    ],
)
def test_a_bad_block_costs_only_itself(bad: bytes, reason: str) -> None:
    reading = read(file(section("<"), interface("<"), packet("<", 1), bad, packet("<", 3), packet("<", 4)))
    assert reading.traffic.end_ns.tolist() == [1000, 3000, 4000]
    assert [bad.line for bad in reading.bad_lines] == [4]
    assert reason in reading.bad_lines[0].reason


@pytest.mark.parametrize("cut", range(1, 44))
def test_a_file_that_ends_within_a_block(cut: int) -> None:
    whole = file(section("<"), interface("<"), packet("<", 1), packet("<", 2)).getvalue()
    reading = read(BytesIO(whole[:-cut]))
    assert reading.traffic.end_ns.tolist() == [1000]
    assert [bad.reason for bad in reading.bad_lines] == ["the file ends within this block"]


def test_something_else_in_its_place() -> None:
    reading = read(BytesIO(b"(1.0) can0 110#0200\n" * 3))
    assert len(reading.traffic) == 0
    assert "no section of a pcapng" in reading.bad_lines[0].reason
