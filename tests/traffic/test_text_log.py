"""The text log: exact there and back, read alike by python-can, and no line that stops the reader."""

from io import BytesIO
from pathlib import Path

import can
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from busdesign.traffic.frames import Row, Traffic
from busdesign.traffic.reading import MAX_BAD_LINES_KEPT, MAX_LINE_BYTES, Reading
from busdesign.traffic.text_log import read, write
from busdesign.wire.flags import ERROR, EXTENDED, REMOTE

GOOD = b"(12.000540) can0 110#0200\n"


def read_bytes(data: bytes) -> Reading:
    return read(BytesIO(data))


@pytest.mark.parametrize(
    ("line", "row"),
    [
        (b"(12.000540) can0 110#0200", (12_000_540_000, 0x110, 0, 2, 0, 2)),
        (b"(12.000000001) can0 110#", (12_000_000_001, 0x110, 0, 0, 0, 0)),
        (b"(12) can0 7FF#01", (12_000_000_000, 0x7FF, 0, 1, 0, 1)),
        (b"(0.5) can0 7ff#0102030405060708", (500_000_000, 0x7FF, 0, 8, 0, 0x0807060504030201)),
        (b"(0.000000) can0 00000123#Ff", (0, 0x123, EXTENDED, 1, 0, 0xFF)),
        (b"(0.000000) can0 1FFFFFFF#", (0, 0x1FFF_FFFF, EXTENDED, 0, 0, 0)),
        (b"(0.000000) can0 123#R", (0, 0x123, REMOTE, 0, 0, 0)),
        (b"(0.000000) can0 123#r8", (0, 0x123, REMOTE, 8, 0, 0)),
        (b"(0.000000) can0 00000123#R8_F", (0, 0x123, EXTENDED | REMOTE, 15, 0, 0)),
        (b"(0.000000) can0 20000080#0000000000000000", (0, 0x80, ERROR, 8, 0, 0)),
        (b"(0.000000) can0 3FFFFFFF#", (0, 0x1FFF_FFFF, ERROR, 0, 0, 0)),
        (b"(9223372036.854775807) can0 123#", (2**63 - 1, 0x123, 0, 0, 0, 0)),
        (b"(1.000000) can0 123#01 R", (10**9, 0x123, 0, 1, 0, 1)),
        (b" (1.000000)\tcan0   123#01 T\r", (10**9, 0x123, 0, 1, 0, 1)),
    ],
)
def test_a_line_and_the_frame_it_says(line: bytes, row: Row) -> None:
    reading = read_bytes(line)
    assert reading.bad_lines == ()
    assert reading.traffic.equal(Traffic.of_rows([row]))


@pytest.mark.parametrize(
    ("line", "reason"),
    [
        (b"garbage", "expected `(seconds) channel identifier#data`"),
        (b"\x00\x00\x00\x00", "expected `(seconds) channel identifier#data`"),
        (b"12.000540 can0 110#0200", "expected a time such as"),
        (b"(12.0005401234) can0 110#0200", "at most 9 decimals, found `(12.0005401234)`"),
        (b"(-1.0) can0 110#0200", "expected a time"),
        (b"(1e3) can0 110#0200", "expected a time"),
        (b"(9223372036.854775808) can0 110#0200", "beyond the last one that can be kept"),
        (b"(1.0) can0 1100200", "expected `identifier#data`, found `1100200`"),
        (b"(1.0) can0 11#0200", "3 or 8 hex digits, found `11`"),
        (b"(1.0) can0 0110#0200", "3 or 8 hex digits, found `0110`"),
        (b"(1.0) can0 11G#0200", "3 or 8 hex digits, found `11G`"),
        (b"(1.0) can0 800#0200", "`800` does not fit 11 bits"),
        (b"(1.0) can0 40000000#0200", "`40000000` does not fit 29 bits"),
        (b"(1.0) can0 110#020", "pairs of hex digits, found `020`"),
        (b"(1.0) can0 110#02:0", "pairs of hex digits, found `02:0`"),
        (b"(1.0) can0 110#0x02", "pairs of hex digits, found `0x02`"),
        (b"(1.0) can0 110#010203040506070809", "at most 8 data bytes, found 9"),
        (b"(1.0) can0 110#0102030405060708_F", "length code 15 is not read yet"),
        (b"(1.0) can0 110#R9", "length code 0 to 8"),
        (b"(1.0) can0 110#R4_9", "length code 0 to 8"),
        (b"(1.0) can0 20000080#R", "an error frame cannot be a remote frame"),
        (b"(1.0) can0 110##1AABB", "FD frames are not read yet"),
        (b"(1.0) can0 110#01 X", "expected `(seconds) channel identifier#data`"),
        (b"(1.0) can\xff0 110#0200", "is not a printable name"),
        (b"(1.0) can0\x07 110#0200", "is not a printable name"),
        (b"(1.0) " + b"c" * 65 + b" 110#0200", "longer than 64 bytes"),
        (b"(1.0) can0 110#" + b"00" * MAX_LINE_BYTES, f"longer than {MAX_LINE_BYTES} bytes"),
    ],
)
def test_a_bad_line_costs_that_line_and_says_why(line: bytes, reason: str) -> None:
    reading = read_bytes(GOOD + line + b"\n" + GOOD)
    assert len(reading.traffic) == 2
    assert reading.bad_line_count == 1
    (bad,) = reading.bad_lines
    assert bad.line == 2
    assert reason in bad.reason
    assert line.startswith(bad.quoted.encode()[:10]) or "\ufffd" in bad.quoted


def test_blank_lines_and_a_byte_order_mark_are_no_bad_lines() -> None:
    reading = read_bytes(b"\xef\xbb\xbf" + GOOD + b"\n  \r\n" + GOOD)
    assert (len(reading.traffic), reading.bad_line_count) == (2, 0)


def test_many_bad_lines_are_counted_but_not_all_kept() -> None:
    reading = read_bytes((b"rubbish\n" * 1000) + GOOD)
    assert (len(reading.traffic), reading.bad_line_count) == (1, 1000)
    assert [bad.line for bad in reading.bad_lines] == list(range(1, MAX_BAD_LINES_KEPT + 1))


def test_the_257th_channel_is_one_too_many() -> None:
    reading = read_bytes(b"".join(b"(1.0) can%d 110#\n" % number for number in range(257)) + GOOD)
    assert (len(reading.traffic), reading.bad_line_count) == (257, 1)
    assert "256" in reading.bad_lines[0].reason


@given(st.from_type(Traffic))
def test_what_is_written_is_read_back(traffic: Traffic) -> None:
    reading = read_bytes(write(traffic))
    assert reading.bad_lines == ()
    assert reading.traffic.equal(traffic)


@given(st.from_type(Traffic))
def test_six_decimals_if_that_is_exact_else_nine(traffic: Traffic) -> None:
    decimals = {len(line.split(b")")[0].split(b".")[1]) for line in write(traffic).splitlines()}
    assert decimals == ({6} if all(time % 1000 == 0 for time in traffic.end_ns.tolist()) else {9})


def test_the_written_form() -> None:
    traffic = Traffic.of_rows(
        [
            (12_000_540_000, 0x10, 0, 2, 0, 0xAB02),
            (12_000_541_000, 0x10, EXTENDED, 0, 0, 0),
            (12_000_542_000, 0x10, REMOTE, 0, 1, 0),
            (12_000_543_000, 0x10, REMOTE, 4, 1, 0),
            (12_000_544_000, 0x80, ERROR, 1, 1, 1),
        ],
        ("can0", "can1"),
    )
    assert write(traffic) == (
        b"(12.000540) can0 010#02AB\n(12.000541) can0 00000010#\n(12.000542) can1 010#R\n"
        b"(12.000543) can1 010#R4\n(12.000544) can1 20000080#01\n"
    )
    assert write(traffic[:0]) == b""


@given(st.from_type(Traffic), st.data())
def test_a_file_cut_anywhere_loses_nothing_before_its_last_line(traffic: Traffic, data: st.DataObject) -> None:
    written = write(traffic)
    cut = written[: data.draw(st.integers(0, len(written)))]
    whole_lines = cut.count(b"\n")
    reading = read_bytes(cut)
    assert reading.traffic[:whole_lines].equal(traffic[:whole_lines])
    assert whole_lines <= len(reading.traffic) + reading.bad_line_count <= whole_lines + 1


@given(st.lists(st.one_of(st.binary(max_size=60), st.just(GOOD.strip())), max_size=20))
def test_any_bytes_are_frames_or_bad_lines(lines: list[bytes]) -> None:
    data = b"\n".join(lines)
    reading = read_bytes(data)
    told = data.removeprefix(b"\xef\xbb\xbf").split(b"\n")  # a byte order mark at the start is no line
    assert len(reading.traffic) + reading.bad_line_count == sum(bool(line.strip()) for line in told)


def of_message(message: can.Message) -> Row:
    """A frame as python-can understood it, its time left out."""
    if message.is_error_frame:
        return 0, 0, ERROR, 0, 0, 0
    flags = EXTENDED * message.is_extended_id | REMOTE * message.is_remote_frame
    return 0, message.arbitration_id, flags, message.dlc, 0, int.from_bytes(message.data, "little")


def without_time(traffic: Traffic, row: int) -> Row:
    """A frame of ours with what python-can keeps of it: of an error frame that it is one."""
    if traffic.flags[row] & ERROR:
        return 0, 0, ERROR, 0, 0, 0
    payload = int.from_bytes(traffic.data(row), "little")
    return 0, int(traffic.identifier[row]), int(traffic.flags[row]), int(traffic.length[row]), 0, payload


@settings(deadline=None)  # writes files
@given(st.from_type(Traffic))
def test_python_can_reads_the_same(tmp_path_factory: pytest.TempPathFactory, traffic: Traffic) -> None:
    traffic = traffic[traffic.length <= 8]  # python-can knows no remote frame with a length code above 8
    path = Path(tmp_path_factory.getbasetemp()) / "read_by_python_can.log"
    path.write_bytes(write(traffic))
    with can.LogReader(path) as reader:
        messages = list(reader)
    assert [of_message(message) for message in messages] == [without_time(traffic, row) for row in range(len(traffic))]
    assert [message.timestamp for message in messages] == [time / 10**9 for time in traffic.end_ns.tolist()]
    channels = [message.channel for message in messages if not message.is_error_frame]
    assert channels == [traffic.channel_name(row) for row in range(len(traffic)) if not traffic.flags[row] & ERROR]


def test_what_python_can_writes_is_read(tmp_path: Path) -> None:
    path = tmp_path / "by_python_can.log"
    with can.Logger(path) as logger:
        logger(can.Message(1.5, 0x110, is_extended_id=False, data=[2, 0], channel="can0"))
        logger(can.Message(1.6, 0x18FF0010, is_extended_id=True, data=[], channel="can0", is_rx=False))
        logger(can.Message(1.7, is_error_frame=True, channel="can0"))
        logger(can.Message(1.8, 0x7F, is_extended_id=False, is_remote_frame=True, channel="can0"))
    reading = read_bytes(path.read_bytes())
    assert reading.bad_lines == ()
    assert reading.traffic.equal(
        Traffic.of_rows(
            [
                (1_500_000_000, 0x110, 0, 2, 0, 2),
                (1_600_000_000, 0x18FF0010, EXTENDED, 0, 0, 0),
                (1_700_000_000, 0x80, ERROR, 0, 0, 0),
                (1_800_000_000, 0x7F, REMOTE, 0, 0, 0),
            ]
        )
    )
