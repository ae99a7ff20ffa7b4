"""Recordings on disk, by suffix: what is read, what is written, and what is refused with a way out."""

import os
from pathlib import Path

import pytest

from busdesign.errors import CaptureError, OutputError
from busdesign.findings import Finding
from busdesign.traffic.files import read_traffic, write_traffic
from busdesign.traffic.frames import Traffic
from busdesign.wire.flags import EXTENDED

TRAFFIC = Traffic.of_rows([(540_001, 0x110, 0, 2, 0, 2), (1_210_000, 0x18FF0010, EXTENDED, 0, 0, 0)])


def refusal(path: Path) -> Finding:
    with pytest.raises(CaptureError) as caught:
        read_traffic(path)
    (finding,) = caught.value.findings
    return finding


@pytest.mark.parametrize(
    "name", ["run.log", "run.csv", "RUN.LOG", "run.pcapng", "run.log.gz", "run.csv.gz", "run.Pcapng.GZ"]
)
def test_what_is_written_is_read_back(tmp_path: Path, name: str) -> None:
    path = tmp_path / name
    write_traffic(TRAFFIC, path)
    reading = read_traffic(str(path))
    assert reading.traffic.equal(TRAFFIC)
    assert (reading.bad_lines, reading.bad_line_count) == ((), 0)
    assert os.listdir(tmp_path) == [name]


@pytest.mark.parametrize("suffix", [".log", ".csv", ".pcapng", ".log.gz"])
def test_the_same_traffic_gives_the_same_bytes(tmp_path: Path, suffix: str) -> None:
    first, second = tmp_path / f"first{suffix}", tmp_path / f"second{suffix}"
    write_traffic(TRAFFIC, first)
    write_traffic(read_traffic(first).traffic, second)
    assert first.read_bytes() == second.read_bytes()


def test_a_damaged_file_yields_what_is_whole(tmp_path: Path) -> None:
    path = tmp_path / "bench.log"
    path.write_bytes(b"(1.0) can0 110#0200\nrub\xffbish\n(2.0) can0 110#02")
    reading = read_traffic(path)
    assert len(reading.traffic) == 2
    assert [(bad.line, bad.quoted) for bad in reading.bad_lines] == [(2, "rub\ufffdbish")]


def test_a_missing_file_is_named_with_its_likely_neighbour(tmp_path: Path) -> None:
    write_traffic(TRAFFIC, tmp_path / "bench_3.log")
    finding = refusal(tmp_path / "bench3.log")
    assert (finding.rule, finding.text) == ("capture-missing", f"there is no file `{tmp_path / 'bench3.log'}`")
    assert finding.fix == "did you mean `bench_3.log`?"
    assert finding.where is not None
    assert str(finding.where) == f"{tmp_path / 'bench3.log'}:1:1"


def test_a_missing_file_without_neighbours(tmp_path: Path) -> None:
    assert refusal(tmp_path / "run.csv").fix == f"there is no recording in `{tmp_path}`"
    assert "no folder" in refusal(tmp_path / "nowhere" / "run.csv").fix


@pytest.mark.parametrize("name", ["run.txt", "run", "run.csv.bak", "run.gz"])
def test_an_unknown_suffix_is_refused_both_ways(tmp_path: Path, name: str) -> None:
    path = tmp_path / name
    with pytest.raises(OutputError, match=r"allowed: `\.log` .*`\.csv`"):
        write_traffic(TRAFFIC, path)
    assert not path.exists()
    path.write_bytes(b"(1.0) can0 110#0200\n")
    finding = refusal(path)
    assert finding.rule == "capture-format"
    assert "`.log`" in finding.fix


def test_a_folder_is_refused(tmp_path: Path) -> None:
    (tmp_path / "runs.log").mkdir()
    assert "is a folder" in refusal(tmp_path / "runs.log").text
    with pytest.raises(OutputError, match="is a folder"):
        write_traffic(TRAFFIC, tmp_path / "runs.log")


@pytest.mark.parametrize(
    ("content", "line", "text"),
    [
        (b"", 1, "holds no frame"),
        (b"\n\n", 1, "holds no frame"),
        (b"\nPK\x03\x04\x00\nmore\n", 2, "no frame can be read in `{}` (2 bad lines): expected `(seconds)"),
    ],
)
def test_a_log_in_which_nothing_can_be_read(tmp_path: Path, content: bytes, line: int, text: str) -> None:
    path = tmp_path / "run.log"
    path.write_bytes(content)
    finding = refusal(path)
    assert finding.rule == "capture-unreadable"
    assert finding.where is not None
    assert finding.where.line == line
    assert text.format(path) in finding.text
    assert finding.fix


def test_a_csv_of_something_else_is_refused_at_its_header(tmp_path: Path) -> None:
    path = tmp_path / "run.csv"
    path.write_text("date;temperature\n1;20\n")
    finding = refusal(path)
    assert "expected the header `time_s,channel,identifier,format,length_bytes,data`" in finding.text
    assert finding.where is not None
    assert finding.where.quoted == "date;temperature"


def test_a_csv_with_its_header_alone_says_that_nothing_was_sent(tmp_path: Path) -> None:
    write_traffic(Traffic.empty(), tmp_path / "run.csv")
    assert len(read_traffic(tmp_path / "run.csv").traffic) == 0
    (tmp_path / "nothing.csv").write_bytes(b"")
    assert "holds no frame" in refusal(tmp_path / "nothing.csv").text


def test_one_channel_by_its_name(tmp_path: Path) -> None:
    two = Traffic.of_rows([(1, 0x110, 0, 0, 0, 0), (2, 0x111, 0, 0, 1, 0), (3, 0x112, 0, 0, 0, 0)], ("left", "right"))
    write_traffic(two, tmp_path / "run.log")
    assert read_traffic(tmp_path / "run.log", channel="left").traffic.identifier.tolist() == [0x110, 0x112]
    with pytest.raises(CaptureError) as caught:
        read_traffic(tmp_path / "run.log", channel="lefd")
    (finding,) = caught.value.findings
    assert (finding.rule, finding.fix) == ("capture-channel", "did you mean `left`?")
