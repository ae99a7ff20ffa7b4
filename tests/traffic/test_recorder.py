"""A recorder keeps what it is given, in time, and what it kept outlives it."""

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from busdesign.errors import OutputError
from busdesign.traffic.files import read_traffic, write_traffic
from busdesign.traffic.frames import MAX_CHANNELS, Traffic, require_row
from busdesign.traffic.recorder import Recorder

SUFFIXES = [".log", ".csv", ".pcapng", ".log.gz", ".csv.gz", ".pcapng.gz"]

LATELY_KILLED = """
import sys, time
from busdesign.traffic.recorder import Recorder
recorder = Recorder(sys.argv[1], flush_s=float(sys.argv[2]), flush_frames=int(sys.argv[3]))
for number in range(250):
    recorder.add(1000 * number, 0x110, 0, 2, "can%d" % (number % 2), number)
print("added", flush=True)
time.sleep(60)
"""


def killed(path: Path, flush_s: float, flush_frames: int) -> None:
    """Record in another process, and kill it so that it can do nothing about it."""
    command = [sys.executable, "-c", LATELY_KILLED, str(path), str(flush_s), str(flush_frames)]
    with subprocess.Popen(command, stdout=subprocess.PIPE) as process:
        assert process.stdout is not None
        assert process.stdout.readline() == b"added\n"
        time.sleep(4 * flush_s if flush_s < 1 else 0)
        os.kill(process.pid, signal.SIGKILL)


@pytest.mark.skipif(not hasattr(signal, "SIGKILL"), reason="no such signal on this platform")
@pytest.mark.parametrize("suffix", SUFFIXES)
def test_a_killed_recorder_leaves_what_was_flushed(tmp_path: Path, suffix: str) -> None:
    by_count = tmp_path / f"count{suffix}"
    killed(by_count, 60, 100)
    reading = read_traffic(by_count)
    assert reading.traffic.payload.tolist() == list(range(200))
    reasons = [bad.reason for bad in reading.bad_lines]
    assert reasons == (["the compressed data are cut off here"] if suffix.endswith(".gz") else [])


@pytest.mark.skipif(not hasattr(signal, "SIGKILL"), reason="no such signal on this platform")
def test_a_killed_recorder_had_flushed_in_time(tmp_path: Path) -> None:
    killed(tmp_path / "run.log", 0.05, 10**6)
    assert len(read_traffic(tmp_path / "run.log").traffic) == 250


@pytest.mark.parametrize("suffix", SUFFIXES)
@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=10)
@given(traffic=st.from_type(Traffic), by_frame=st.booleans())
def test_what_was_added_is_read_back(tmp_path: Path, suffix: str, traffic: Traffic, by_frame: bool) -> None:
    path = tmp_path / f"run{suffix}"
    path.unlink(missing_ok=True)
    with Recorder(path, flush_frames=3) as recorder:
        if by_frame:
            for row in range(len(traffic)):
                columns = (traffic.end_ns, traffic.identifier, traffic.flags, traffic.length)
                end_ns, identifier, flags, length = (int(column[row]) for column in columns)
                recorder.add(end_ns, identifier, flags, length, traffic.channel_name(row), int(traffic.payload[row]))
        else:
            recorder.append(traffic)
        assert recorder.frames_added == len(traffic)
    reading = read_traffic(path)
    assert reading.traffic.equal(traffic)
    assert reading.bad_line_count == 0


@pytest.mark.parametrize("suffix", [".csv", ".pcapng", ".csv.gz"])
def test_a_recording_without_frames_says_so(tmp_path: Path, suffix: str) -> None:
    Recorder(tmp_path / f"run{suffix}").close()
    assert len(read_traffic(tmp_path / f"run{suffix}").traffic) == 0


def test_a_recording_is_not_written_over(tmp_path: Path) -> None:
    path = tmp_path / "run.log"
    write_traffic(Traffic.of_rows([(1, 0x110, 0, 0, 0, 0)]), path)
    before = path.read_bytes()
    with pytest.raises(OutputError, match="such a file already"):
        Recorder(path)
    assert path.read_bytes() == before


@pytest.mark.parametrize("name", ["run.txt", "nowhere/run.log"])
def test_where_it_cannot_record_it_says_so(tmp_path: Path, name: str) -> None:
    with pytest.raises(OutputError, match="cannot"):
        Recorder(tmp_path / name)


def test_a_disk_that_takes_no_more_is_told_and_what_was_written_stays(tmp_path: Path) -> None:
    resource = pytest.importorskip("resource")
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    recorder = Recorder(tmp_path / "run.log", flush_s=60)
    recorder.add(1000, 0x110, 0, 0, "can0", 0)
    recorder.flush()
    recorder.append(Traffic.of_rows([(2000, 0x110, 0, 8, 0, 1)]))
    try:
        resource.setrlimit(resource.RLIMIT_FSIZE, (70, before[1]))
        for _ in range(2):
            with pytest.raises(OutputError, match=r"cannot record to .*File too large"):
                recorder.append(Traffic.of_rows([(3000, 0x110, 0, 8, 0, 1)]))
        with pytest.raises(OutputError, match="File too large"):
            recorder.close()
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)
    assert read_traffic(tmp_path / "run.log").traffic.end_ns.tolist()[:2] == [1000, 2000]


def test_one_channel_too_many_is_refused_and_the_others_are_kept(tmp_path: Path) -> None:
    with Recorder(tmp_path / "run.log") as recorder:
        for number in range(MAX_CHANNELS):
            recorder.add(1, 0x110, 0, 0, f"can{number}", 0)
        with pytest.raises(ValueError, match="one more than"):
            recorder.add(1, 0x110, 0, 0, "another", 0)
    assert len(read_traffic(tmp_path / "run.log").traffic) == MAX_CHANNELS


@given(
    st.tuples(
        st.integers(-1, 2**63),
        st.sampled_from([-1, 0, 0x7FF, 0x800, 0x1FFF_FFFF, 0x2000_0000]),
        st.integers(0, 40),
        st.sampled_from([-1, 0, 1, 8, 9, 15, 16]),
        st.just(0),
        st.sampled_from([-1, 0, 1, 255, 256, 2**64 - 1, 2**64]),
    )
)
def test_one_frame_is_judged_as_many_are(row: tuple[int, int, int, int, int, int]) -> None:
    def refuses(judge: object) -> bool:
        try:
            judge()  # type: ignore[operator]
        except ValueError:
            return True
        return False

    assert refuses(lambda: require_row(row, "can0")) == refuses(lambda: Traffic.of_rows([row]))
