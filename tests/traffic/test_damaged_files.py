"""Whatever bytes a recording consists of: frames, or this program's own refusal, within one block of memory."""

import contextlib
import gzip
import tracemalloc
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from busdesign.errors import CaptureError
from busdesign.traffic import csv_file, formats, pcapng, text_log
from busdesign.traffic.capture import open_capture
from busdesign.traffic.facts import RecordingFacts
from busdesign.traffic.frames import Traffic

WRITERS: dict[str, Callable[[Traffic], bytes]] = {
    ".log": text_log.write,
    ".csv": csv_file.write,
    ".pcapng": pcapng.write,
}
SUFFIXES = [*WRITERS, *(f"{suffix}.gz" for suffix in WRITERS)]
MUTATIONS = st.lists(
    st.tuples(st.sampled_from("xidc"), st.floats(0, 1, exclude_max=True), st.integers(0, 255)), max_size=8
)
UNHURRIED = settings(suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)


def mutated(content: bytes, mutations: list[tuple[str, float, int]]) -> bytes:
    """Exchange, insert or delete a byte, or copy a piece, at a share of the length."""
    damaged = bytearray(content)
    for kind, share, byte in mutations:
        place = int(share * len(damaged))
        match kind:
            case "x" if place < len(damaged):
                damaged[place] = byte
            case "i":
                damaged.insert(place, byte)
            case "d":
                del damaged[place : place + 1 + byte // 64]
            case "c":
                damaged[place:place] = damaged[: byte % 64]
    return bytes(damaged)


def require_sound(path: Path) -> None:
    """Frames that are valid, or a refusal."""
    capture = open_capture(path, facts=RecordingFacts())
    refusal = ""
    try:
        for block in capture.blocks(5):
            assert 0 < len(block) <= 5
            Traffic(  # which checks what the readers vouch for
                block.end_ns, block.identifier, block.flags, block.length, block.channel, block.payload, block.channels
            )
    except CaptureError as refused:
        refusal = str(refused)
    assert not refusal or capture.bad_lines.total or "holds no frame" in refusal


@pytest.mark.parametrize(
    ("suffix", "compiled"), [*((suffix, False) for suffix in SUFFIXES), (".log", True), (".log.gz", True)]
)
def test_mutations_of_a_recording(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, suffix: str, compiled: bool) -> None:
    if compiled:
        monkeypatch.setattr(formats, "LARGE_BYTES", 0)
        monkeypatch.setattr(formats, "LARGE_COMPRESSED_BYTES", 0)
    path = tmp_path / f"run{suffix}"

    @UNHURRIED
    @given(st.from_type(Traffic), MUTATIONS)
    def every(traffic: Traffic, mutations: list[tuple[str, float, int]]) -> None:
        content = WRITERS[suffix.removesuffix(".gz")](traffic)
        path.write_bytes(mutated(gzip.compress(content, 1) if suffix.endswith(".gz") else content, mutations))
        require_sound(path)

    every()


@pytest.mark.parametrize("suffix", [*SUFFIXES, ".asc", ".trc", ".blf"])
def test_any_bytes(tmp_path: Path, suffix: str) -> None:
    path = tmp_path / f"run{suffix}"

    @settings(UNHURRIED, max_examples=25)
    @given(st.binary(max_size=200))
    def every(content: bytes) -> None:
        path.write_bytes(content)
        require_sound(path)

    every()


def peak_bytes(path: Path) -> int:
    tracemalloc.start()
    try:
        with contextlib.suppress(CaptureError):
            for _ in open_capture(path, facts=RecordingFacts()).blocks(200):
                pass
        return tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()


@pytest.mark.parametrize("suffix", WRITERS)
def test_memory_does_not_grow_with_the_file(tmp_path: Path, suffix: str) -> None:
    count = 10_000
    traffic = Traffic(
        np.arange(count) * 1000,
        np.full(count, 0x110, np.uint32),
        np.zeros(count, np.uint8),
        np.full(count, 8, np.uint8),
        np.zeros(count, np.uint8),
        np.arange(count).astype(np.uint64),
    )
    path = tmp_path / f"run{suffix}"
    path.write_bytes(WRITERS[suffix](traffic))
    assert path.stat().st_size > 350_000
    assert peak_bytes(path) < 250_000


@pytest.mark.parametrize("content", [b"\0" * (1 << 24), b"x" * (1 << 24)], ids=["zeros", "one line"])
@pytest.mark.parametrize("suffix", [".log.gz", ".csv.gz", ".pcapng.gz"])
def test_a_bomb_takes_no_more_memory_than_any_other_file(tmp_path: Path, suffix: str, content: bytes) -> None:
    path = tmp_path / f"run{suffix}"
    path.write_bytes(gzip.compress(content, 9))
    assert peak_bytes(path) < 4_500_000
