"""Beside the python-can library: each reads what the other writes, and the library's own formats are marked as such."""

import sqlite3
from pathlib import Path
from typing import Any

import can
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from busdesign.errors import CaptureError
from busdesign.traffic import formats
from busdesign.traffic.capture import open_capture
from busdesign.traffic.files import read_traffic, write_traffic
from busdesign.traffic.frames import Traffic
from busdesign.wire.flags import ERROR, EXTENDED, REMOTE

MESSAGES = [
    can.Message(1_700_000_000.000540, 0x110, False, data=b"\x02\x00", channel="can0"),
    can.Message(1_700_000_000.001210, 0x18FF0010, True, data=bytes(range(8)), channel="can1"),
    can.Message(1_700_000_000.001900, 0x7F0, False, is_remote_frame=True, dlc=8, channel="can0"),
    can.Message(1_700_000_000.002500, 0x123, True, channel="can0"),
]


def written_by_the_library(path: Path, messages: list[can.Message]) -> None:
    with can.Logger(str(path)) as logger:
        for message in messages:
            logger.on_message_received(message)


def rows(traffic: Traffic) -> list[tuple[Any, ...]]:
    return [
        (int(traffic.identifier[row]), int(traffic.flags[row]), int(traffic.length[row]), traffic.data(row))
        for row in range(len(traffic))
    ]


EXPECTED = [
    (0x110, 0, 2, b"\x02\x00"),
    (0x18FF0010, EXTENDED, 8, bytes(range(8))),
    (0x7F0, REMOTE, 8, b""),
    (0x123, EXTENDED, 0, b""),
]


@pytest.mark.parametrize("large", [False, True])
def test_a_text_log_of_the_library(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, large: bool) -> None:
    if large:
        monkeypatch.setattr(formats, "LARGE_BYTES", 0)
    written_by_the_library(tmp_path / "run.log", MESSAGES)
    reading = read_traffic(tmp_path / "run.log")
    without_code = (0x7F0, REMOTE, 0, b"")  # the library writes no length code of a remote frame
    assert rows(reading.traffic) == [*EXPECTED[:2], without_code, EXPECTED[3]]
    assert reading.traffic.end_ns[0] == 1_700_000_000_000_540_000
    assert reading.traffic.channels == ("can0", "can1")
    assert (reading.bad_line_count, reading.notices) == (0, ())


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.from_type(Traffic))
def test_the_library_reads_our_text_log(tmp_path: Path, traffic: Traffic) -> None:
    # length codes beyond 8 of remote frames are written as SocketCAN has them, which the library does not read
    traffic = traffic[traffic.length <= 8]
    write_traffic(traffic, tmp_path / "run.log")
    with can.LogReader(str(tmp_path / "run.log")) as reader:
        messages = list(reader)
    assert len(messages) == len(traffic)
    for row, message in enumerate(messages):
        flags = int(traffic.flags[row])
        if message.is_error_frame:
            assert flags == ERROR
            continue
        assert message.arbitration_id == traffic.identifier[row]
        assert (message.is_extended_id, message.is_remote_frame) == (bool(flags & EXTENDED), bool(flags & REMOTE))
        assert message.dlc == traffic.length[row]
        assert bytes(message.data) == traffic.data(row)
        assert message.channel == traffic.channel_name(row)
        assert message.timestamp == pytest.approx(int(traffic.end_ns[row]) / 1e9, abs=1e-6, rel=1e-15)


@pytest.mark.parametrize("suffix", [".asc", ".blf", ".trc", ".db", ".asc.gz"])
def test_a_format_of_the_library_is_read_through_it_with_a_notice(tmp_path: Path, suffix: str) -> None:
    path = tmp_path / f"run{suffix}"
    messages = MESSAGES if suffix != ".trc" else [MESSAGES[0], MESSAGES[1], MESSAGES[3]]
    written_by_the_library(path, [can.Message(**_on_channel(message, suffix)) for message in messages])
    capture = open_capture(path)
    (block,) = capture.blocks()
    expected = EXPECTED if suffix != ".trc" else [EXPECTED[0], EXPECTED[1], EXPECTED[3]]
    assert rows(block) == expected
    assert (block.end_ns[1:] - block.end_ns[:1])[0] == 670_000
    (notice,) = capture.notices
    assert "python-can" in notice
    assert "without promise" in notice


def _on_channel(message: can.Message, suffix: str) -> dict[str, Any]:
    return {
        "timestamp": message.timestamp,
        "arbitration_id": message.arbitration_id,
        "is_extended_id": message.is_extended_id,
        "is_remote_frame": message.is_remote_frame,
        "dlc": message.dlc,
        "data": bytes(message.data),
        "channel": 1,
    }


def test_where_the_library_stops_is_counted(tmp_path: Path) -> None:
    path = tmp_path / "run.blf"
    messages = [can.Message(number / 1000, 0x110, False, data=number.to_bytes(8, "big")) for number in range(20_000)]
    written_by_the_library(path, messages)
    damaged = bytearray(path.read_bytes())
    for place in range(len(damaged) // 2, len(damaged) // 2 + 400):
        damaged[place] ^= 0x55
    path.write_bytes(damaged)
    capture = open_capture(path)
    count = sum(map(len, capture.blocks(100)))
    assert 0 < count < 20_000
    assert f"the library stops after {count} frames" in capture.bad_lines[-1].reason


def test_a_file_that_the_library_does_not_understand(tmp_path: Path) -> None:
    path = tmp_path / "run.blf"
    path.write_bytes(b"(1.0) can0 110#0200\n")
    with pytest.raises(CaptureError, match="the library stops after 0 frames"):
        read_traffic(path)


def test_fd_frames_through_the_library_are_counted_not_kept(tmp_path: Path) -> None:
    path = tmp_path / "run.asc"
    fd = can.Message(1.5, 0x110, False, is_fd=True, data=bytes(12), channel=0)
    written_by_the_library(path, [can.Message(1.0, 0x110, False, data=b"\x01", channel=0), fd])
    reading = read_traffic(path)
    assert len(reading.traffic) == 1
    assert [bad.reason for bad in reading.bad_lines] == ["FD frames are not read yet"]


def test_a_database_with_impossible_frames(tmp_path: Path) -> None:
    path = tmp_path / "run.db"
    written_by_the_library(path, MESSAGES[:1])
    with sqlite3.connect(path) as database:
        for identifier, timestamp in ((0x800, 1.0), (-1, 1.0), (0x10, -5.0), (0x10, float("inf"))):
            database.execute("insert into messages values (?, ?, 0, 0, 0, 1, ?)", (timestamp, identifier, b"\x01"))
    database.close()
    reading = read_traffic(path)
    assert len(reading.traffic) == 1
    assert reading.bad_line_count == 4
