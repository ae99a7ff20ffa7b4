"""Comma-separated frames: exact there and back, and no row that stops the reader."""

import csv
from io import BytesIO, StringIO

import pytest
from hypothesis import given
from hypothesis import strategies as st

from busdesign.traffic.csv_file import HEADER, read, write
from busdesign.traffic.frames import Traffic
from busdesign.traffic.reading import Reading
from busdesign.wire.flags import ERROR, EXTENDED, REMOTE

GOOD = "0.000540000,can0,0x110,base,2,02 00"


def read_text(text: str) -> Reading:
    return read(BytesIO(text.encode()))


@given(st.from_type(Traffic))
def test_what_is_written_is_read_back(traffic: Traffic) -> None:
    reading = read(BytesIO(write(traffic)))
    assert reading.bad_lines == ()
    assert reading.traffic.equal(traffic)


@given(st.from_type(Traffic))
def test_the_csv_module_reads_the_same(traffic: Traffic) -> None:
    rows = list(csv.DictReader(StringIO(write(traffic).decode())))
    assert [row["channel"] for row in rows] == [traffic.channel_name(row) for row in range(len(traffic))]
    assert [int(row["identifier"], 16) for row in rows] == traffic.identifier.tolist()
    assert [int(row["length_bytes"]) for row in rows] == traffic.length.tolist()
    assert [bytes.fromhex(row["data"]) for row in rows] == [traffic.data(row) for row in range(len(traffic))]
    assert [int(row["time_s"].replace(".", "")) for row in rows] == traffic.end_ns.tolist()


def test_the_written_form() -> None:
    traffic = Traffic.of_rows(
        [
            (540_001, 0x10, 0, 2, 0, 0xAB02),
            (541_000, 0x10, EXTENDED, 0, 1, 0),
            (542_000, 0x10, REMOTE, 4, 0, 0),
            (543_000, 0x10, EXTENDED | REMOTE, 15, 0, 0),
            (12_000_000_000, 0x80, ERROR, 1, 0, 1),
        ],
        ("can0", "a,b"),
    )
    assert write(traffic).decode().splitlines() == [
        HEADER,
        "0.000540001,can0,0x010,base,2,02 AB",
        '0.000541000,"a,b",0x00000010,extended,0,',
        "0.000542000,can0,0x010,base remote,4,",
        "0.000543000,can0,0x00000010,extended remote,15,",
        "12.000000000,can0,0x080,error,1,01",
    ]


def test_a_file_without_rows_says_that_nothing_was_sent() -> None:
    reading = read(BytesIO(write(Traffic.empty())))
    assert (len(reading.traffic), reading.bad_line_count) == (0, 0)


@pytest.mark.parametrize(
    ("row", "reason"),
    [
        ("", None),
        ("# a comment", None),
        (HEADER, None),  # of a second file joined to the first
        ("0.5,can0,0x1,base,1,ff", None),
        ("1,can0,0x110,base,2,0200", None),
        ("garbage", "expected 6 values, found 1"),
        ("1.0,can0,0x110,base,2", "expected 6 values, found 5"),
        ("1.0,can0,0x110,base,2,02 00,9", "expected 6 values, found 7"),
        ("1.0E+3,can0,0x110,base,2,02 00", "expected time_s such as"),
        ("1.0123456789,can0,0x110,base,2,02 00", "expected time_s such as"),
        ("9223372036.854775808,can0,0x110,base,2,02 00", "beyond the last one"),
        ("1.0,,0x110,base,2,02 00", "expected channel such as"),
        ("1.0,can0,110,base,2,02 00", "expected identifier such as `0x110`, found `110`"),
        ("1.0,can0,0x800,base,2,02 00", "beyond 0x7ff"),
        ("1.0,can0,0x20000000,extended,2,02 00", "beyond 0x1fffffff"),
        ("1.0,can0,0x110,extnded,2,02 00", "did you mean `extended`?"),
        ("1.0,can0,0x110,base,-2,02 00", "expected length_bytes such as"),
        ("1.0,can0,0x110,base,2,02 0", "expected data such as"),
        ("1.0,can0,0x110,base,2,02", "length_bytes is 2, but there are 1 data bytes"),
        ("1.0,can0,0x110,base,9,01 02 03 04 05 06 07 08 09", "expected data such as"),
        ("1.0,can0,0x110,base remote,2,02 00", "a remote frame carries no data"),
        ("1.0,can0,0x110,base remote,16,", "length code 16 is not within 0..15"),
        ("1.0,can0\r,0x110,base,2,02 00", "cannot be split"),
        ('1.0,"can0,0x110,base,2,02 00', "expected 6 values, found 2"),
    ],
)
def test_a_bad_row_costs_that_row_and_says_why(row: str, reason: str | None) -> None:
    reading = read_text("\n".join([HEADER, GOOD, row, GOOD]))
    if reason is None:
        assert reading.bad_lines == ()
        return
    assert len(reading.traffic) == 2
    (bad,) = reading.bad_lines
    assert bad.line == 3
    assert reason in bad.reason
    assert reading.bad_line_count == 1


def test_a_broken_header_costs_the_header() -> None:
    reading = read_text(f"tim_s,channel\n{GOOD}\n")
    assert len(reading.traffic) == 1
    assert [bad.reason for bad in reading.bad_lines] == [f"expected the header `{HEADER}`"]


def test_bytes_that_are_no_text_are_survived() -> None:
    reading = read(BytesIO(f"{HEADER}\n{GOOD}\n".encode() + b"\xff\xfe\x00,\xff\n" + GOOD.encode() + b"\n"))
    assert (len(reading.traffic), reading.bad_line_count) == (2, 1)


@given(st.from_type(Traffic), st.data())
def test_a_file_cut_anywhere_holds_no_wrong_frame(traffic: Traffic, data: st.DataObject) -> None:
    written = write(traffic)
    cut = written[: data.draw(st.integers(0, len(written)))]
    reading = read(BytesIO(cut))
    assert reading.traffic.equal(traffic[: len(reading.traffic)])
    assert len(reading.traffic) >= cut.count(b"\n") - 1
    assert reading.bad_line_count <= 1


@given(st.lists(st.one_of(st.binary(max_size=60), st.just(GOOD.encode())), max_size=20))
def test_any_bytes_are_frames_or_bad_rows(lines: list[bytes]) -> None:
    data = b"\n".join([HEADER.encode(), *lines])
    written = [line.strip() for line in data.split(b"\n")[1:]]
    reading = read(BytesIO(data))
    rows = [line for line in written if line and not line.startswith(b"#") and line != HEADER.encode()]
    assert len(reading.traffic) + reading.bad_line_count == len(rows)
