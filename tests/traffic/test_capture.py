"""A recording read block by block says what it says whole; what is wrong with it costs only what is wrong."""

import gzip
from pathlib import Path

import numpy as np
import pytest

from busdesign.errors import CaptureError
from busdesign.traffic import formats
from busdesign.traffic.capture import Capture, open_capture
from busdesign.traffic.facts import RecordingFacts
from busdesign.traffic.files import read_traffic, write_traffic
from busdesign.traffic.frames import Traffic, concatenate
from busdesign.wire.flags import ERROR, EXTENDED, REMOTE

SUFFIXES = [".log", ".csv", ".pcapng", ".log.gz", ".csv.gz", ".pcapng.gz"]


def recording(count: int = 1000) -> Traffic:
    """Three channels, all kinds of frames, and a clock that jumps back in the middle."""
    rng = np.random.default_rng(5)
    end_ns = 1_700_000_000_000_000_000 + rng.integers(100_000, 900_000, count).cumsum()
    end_ns[count // 2 :] -= 10**12
    flags = rng.choice(np.array([0, EXTENDED, REMOTE, ERROR], np.uint8), count)
    length = rng.integers(0, 9, count).astype(np.uint8)
    payload = (
        rng.integers(0, 2**63, count, dtype=np.uint64)
        & np.array([2 ** (8 * n) - 1 for n in range(9)], np.uint64)[length]
    )
    payload[flags == REMOTE] = 0
    identifier = rng.integers(0, 0x800, count).astype(np.uint32)
    return Traffic(
        end_ns, identifier, flags, length, rng.integers(0, 3, count).astype(np.uint8), payload, ("a", "b", "c")
    )


@pytest.mark.parametrize("suffix", SUFFIXES)
@pytest.mark.parametrize("block_frames", [1, 7, 500, 1000, 1001])
def test_blocks_are_the_whole(tmp_path: Path, suffix: str, block_frames: int) -> None:
    path, traffic = tmp_path / f"run{suffix}", recording()
    write_traffic(traffic, path)
    capture = open_capture(path)
    blocks = list(capture.blocks(block_frames))
    assert max(map(len, blocks)) <= block_frames
    assert concatenate(blocks).equal(traffic)
    assert read_traffic(path).traffic.equal(traffic)
    assert set(capture.channels) == {"a", "b", "c"}
    assert (list(capture.bad_lines), capture.bad_lines.total) == ([], 0)


@pytest.mark.parametrize("suffix", [".log", ".log.gz"])
def test_blocks_of_the_compiled_reader_are_the_whole(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, suffix: str
) -> None:
    monkeypatch.setattr(formats, "LARGE_BYTES", 1)
    monkeypatch.setattr(formats, "LARGE_COMPRESSED_BYTES", 1)
    test_blocks_are_the_whole(tmp_path, suffix, 7)


def test_one_channel_over_all_blocks(tmp_path: Path) -> None:
    path, traffic = tmp_path / "run.log", recording()
    write_traffic(traffic, path)
    chosen = concatenate(list(open_capture(path, channel="b").blocks(16)))
    assert chosen.equal(traffic[traffic.channel == 1])


def test_a_channel_that_is_not_there_is_refused_at_the_end(tmp_path: Path) -> None:
    path = tmp_path / "run.log"
    write_traffic(recording(20), path)
    with pytest.raises(CaptureError, match="no channel `can0`"):
        list(open_capture(path, channel="can0").blocks())


def test_reading_can_be_given_up_and_begun_again(tmp_path: Path) -> None:
    path = tmp_path / "run.log.gz"
    write_traffic(recording(), path)
    capture = open_capture(path)
    blocks = capture.blocks(10)
    assert len(next(blocks)) == 10
    blocks.close()
    assert sum(map(len, capture.blocks(10))) == 1000


def test_bad_lines_are_counted_over_all_blocks_and_the_first_hundred_kept(tmp_path: Path) -> None:
    path = tmp_path / "run.log"
    path.write_bytes(b"(1.0) can0 110#0200\nrub\xffbish\n" * 150)
    capture = open_capture(path)
    assert sum(map(len, capture.blocks(10))) == 150
    assert (len(capture.bad_lines), capture.bad_lines.total) == (100, 150)
    assert [bad.line for bad in capture.bad_lines[:3]] == [2, 4, 6]


def gz(tmp_path: Path, content: bytes) -> Capture:
    path = tmp_path / "run.log.gz"
    path.write_bytes(content)
    return open_capture(path, facts=RecordingFacts())


LINES = b"".join(
    b"(%d.000001) can0 110#%016X\n" % (number, number * 0x123456789ABCDE % 2**64) for number in range(4000)
)


def test_a_compressed_file_that_is_cut_off_yields_what_is_there(tmp_path: Path) -> None:
    whole = gzip.compress(LINES)
    capture = gz(tmp_path, whole[: len(whole) // 2])
    assert 1000 < sum(map(len, capture.blocks())) < 3000
    assert capture.bad_lines[-1].reason == "the compressed data are cut off here"


def test_a_compressed_file_that_is_damaged_yields_what_is_before(tmp_path: Path) -> None:
    whole = bytearray(gzip.compress(LINES))
    whole[-5] ^= 1  # of the check sum
    capture = gz(tmp_path, bytes(whole))
    assert sum(map(len, capture.blocks())) == 4000
    assert "the compressed data are damaged here" in capture.bad_lines[-1].reason


def test_compressed_files_one_after_the_other_are_one(tmp_path: Path) -> None:
    capture = gz(tmp_path, gzip.compress(LINES) + gzip.compress(LINES) + bytes(512))
    assert sum(map(len, capture.blocks())) == 8000
    assert capture.bad_lines.total == 0


def test_a_file_that_is_not_compressed_in_spite_of_its_name(tmp_path: Path) -> None:
    with pytest.raises(CaptureError, match="compressed data are damaged"):
        list(gz(tmp_path, LINES).blocks())


def test_nothing_is_known_of_a_recording_until_it_is_said(tmp_path: Path) -> None:
    path = tmp_path / "run.log"
    write_traffic(recording(10), path)
    assert open_capture(path).facts == RecordingFacts("unknown", None, "unknown", "unknown")
    said = RecordingFacts("start", 1000, "echoed", "recorded")
    assert open_capture(path, facts=said).facts == said


def test_facts_stand_in_a_file_beside_the_recording(tmp_path: Path) -> None:
    path = tmp_path / "run.log"
    write_traffic(recording(10), path)
    beside = tmp_path / "run.log.yaml"
    beside.write_text("timestamp_at: end\nresolution: 1 us\nown_frames: missing\n")
    assert open_capture(path).facts == RecordingFacts("end", 1000, "missing", "unknown")
    beside.write_text("timestamp_at: middle\nresolutio: 1 us\nresolution: 1\n- x\n")
    with pytest.raises(CaptureError):
        open_capture(path)


def test_every_wrong_fact_is_told_with_its_place(tmp_path: Path) -> None:
    beside = tmp_path / "run.log.yaml"
    beside.write_text("timestamp_at: ende\nclock: 1 us\nresolution: 1\nown_frames: 3\n")
    with pytest.raises(CaptureError) as caught:
        open_capture(tmp_path / "run.log")
    found = [(finding.rule, finding.where.line if finding.where else 0) for finding in caught.value.findings]
    assert found == [("capture-facts", line) for line in (1, 2, 3, 4)]
    assert caught.value.findings[0].fix == "did you mean `end`?"


def test_the_clock_of_a_pcapng_is_told_by_the_file(tmp_path: Path) -> None:
    path = tmp_path / "run.pcapng"
    write_traffic(recording(10), path)
    capture = open_capture(path)
    list(capture.blocks())
    assert capture.facts.resolution_ns == 1
