"""A recording read before opens at once, and never says what it no longer says."""

import json
import os
from pathlib import Path

import pytest

from busdesign.traffic import column_cache
from busdesign.traffic.capture import Capture, open_capture
from busdesign.traffic.files import read_traffic

LINE = b"(1.%06d) can%d 110#0200\n"


@pytest.fixture
def path(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv(column_cache.ENVIRONMENT, str(tmp_path / "cache"))
    monkeypatch.setattr(column_cache, "MIN_BYTES", 1000)
    monkeypatch.setattr(column_cache, "_EDGE_BYTES", 256)
    path = tmp_path / "run.log"
    path.write_bytes(b"".join(LINE % (number, number % 2) for number in range(1000)) + b"rubbish\n")
    settle(path)
    return path


def settle(path: Path) -> None:
    os.utime(path, (1e9, 1e9))


def opened(path: Path, block_frames: int = 300) -> Capture:
    capture = open_capture(path)
    list(capture.blocks(block_frames))
    return capture


def test_the_second_time_says_the_same(path: Path) -> None:
    first, second = open_capture(path), open_capture(path)
    before, after = list(first.blocks(300)), list(second.blocks(400))
    assert (first.is_from_cache, second.is_from_cache) == (False, True)
    assert [len(block) for block in after] == [400, 400, 200]
    assert sum(map(len, before)) == 1000
    assert read_traffic(path).traffic.equal(open_capture(path).whole().traffic)
    assert (second.channels, list(second.bad_lines), second.bad_lines.total) == (
        first.channels,
        list(first.bad_lines),
        1,
    )
    assert not after[0].payload.flags.writeable


def test_a_channel_of_a_kept_recording(path: Path) -> None:
    opened(path)
    again = open_capture(path, channel="can1")
    assert sum(map(len, again.blocks())) == 500
    assert again.is_from_cache


@pytest.mark.parametrize("place", [5, -20])
def test_another_beginning_or_end_is_read_anew(path: Path, place: int) -> None:
    opened(path)
    content = bytearray(path.read_bytes())
    content[place] = ord("7")
    path.write_bytes(content)
    settle(path)
    assert not opened(path).is_from_cache
    assert opened(path).is_from_cache


def test_another_size_or_time_is_read_anew(path: Path) -> None:
    opened(path)
    os.utime(path, (1e9, 1e9 + 1))
    assert not opened(path).is_from_cache
    with path.open("ab") as more:
        more.write(LINE % (1, 0))
    settle(path)
    changed = opened(path)
    assert not changed.is_from_cache


def test_a_recording_that_has_just_changed_is_not_kept(path: Path) -> None:
    os.utime(path)
    opened(path)
    assert not opened(path).is_from_cache


def test_a_reading_that_was_given_up_is_not_kept(path: Path, tmp_path: Path) -> None:
    blocks = open_capture(path).blocks(10)
    next(blocks)
    blocks.close()
    assert list((tmp_path / "cache").iterdir()) == []
    assert not opened(path).is_from_cache


@pytest.mark.parametrize("damage", ["about", "short", "gone", "layout"])
def test_a_damaged_entry_is_not_trusted(path: Path, tmp_path: Path, damage: str) -> None:
    opened(path)
    (entry,) = (tmp_path / "cache").iterdir()
    about = entry / "about.json"
    match damage:
        case "about":
            about.write_text("[1, 2")
        case "short":
            (entry / "payload").write_bytes(bytes(80))
        case "gone":
            (entry / "flags").unlink()
        case "layout":
            about.write_text(json.dumps(json.loads(about.read_text()) | {"layout": -1}))
    assert not opened(path).is_from_cache
    assert opened(path).is_from_cache


def test_where_nothing_can_be_kept_reading_goes_on(path: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "cache").write_text("a file where the folder should be")
    assert len(read_traffic(path).traffic) == 1000
    monkeypatch.setenv(column_cache.ENVIRONMENT, "")
    assert not opened(path).is_from_cache
    assert len(read_traffic(path).traffic) == 1000


def test_a_full_disk_is_borne(path: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(column_cache.Keeper, "_write", full)
    assert sum(map(len, open_capture(path).blocks(100))) == 1000
    assert list((tmp_path / "cache").iterdir()) == []


def test_what_was_kept_longest_ago_makes_room(path: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    opened(path)
    (oldest,) = (tmp_path / "cache").iterdir()
    os.utime(oldest, (1e9, 1e9))
    monkeypatch.setattr(column_cache, "MAX_CACHE_BYTES", 30_000)
    other = tmp_path / "other.log"
    other.write_bytes(path.read_bytes())
    settle(other)
    opened(other)
    assert not oldest.exists()
    assert opened(other).is_from_cache


def test_small_recordings_are_not_kept(path: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(column_cache, "MIN_BYTES", 1 << 22)
    opened(path)
    assert not (tmp_path / "cache").exists()
