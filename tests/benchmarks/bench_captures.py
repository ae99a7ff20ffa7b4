"""Reading and decoding recordings beside the plain ways of doing it, in one run, on one thread.

    PYTHONPATH=. python tests/benchmarks/bench_captures.py [FRAMES]        5 000 000 unless told

A made-up text log: 30 % extended identifiers, 0.5 % remote frames, lengths 0 to 8, two channels in turn by chance. What
is read is compared with what was written before a figure is printed. Figures are the least processor time of several
rounds, because others may use the machine; of a compressed file also the least time that passed, since two threads
share the work, which shows only where two cores are free. Ratios are of figures of the same run. python-can and
cantools are timed on a part of the frames.
"""

import gzip
import os
import sys
import tempfile
import zlib
from collections.abc import Callable
from pathlib import Path
from time import perf_counter, process_time

import can
import numpy as np

import tests.benchmarks.bench_decode as decoding
from busdesign.traffic import column_cache, large_log
from busdesign.traffic.capture import open_capture
from busdesign.traffic.decode import decode_all
from busdesign.traffic.facts import RecordingFacts
from busdesign.traffic.frames import Traffic
from busdesign.traffic.reading import Gathering
from busdesign.traffic.text_log import write
from busdesign.wire.flags import EXTENDED, REMOTE

PART_FRAMES = 100_000
ROUNDS = 7


def recording(count: int) -> Traffic:
    rng = np.random.default_rng(1)
    flags = rng.choice(np.array([0, EXTENDED], np.uint8), count, p=[0.7, 0.3])
    flags |= (rng.random(count) < 0.005).astype(np.uint8) * np.uint8(REMOTE)
    identifier = np.where(flags & EXTENDED, rng.integers(0, 2**29, count), rng.integers(0, 2**11, count))
    length = rng.choice(9, count, p=[0.02, 0.03, 0.05, 0.05, 0.1, 0.05, 0.1, 0.1, 0.5]).astype(np.uint8)
    payload = rng.integers(0, 2**64, count, dtype=np.uint64)
    payload &= np.array([2 ** (8 * size) - 1 for size in range(9)], np.uint64)[length]
    payload[(flags & REMOTE) != 0] = 0
    return Traffic(
        1_700_000_000_000_000_000 + rng.integers(150, 400, count).cumsum() * 1000,
        identifier.astype(np.uint32),
        flags,
        length,
        rng.integers(0, 2, count).astype(np.uint8),
        payload,
        ("can0", "can1"),
    )


def least(work: Callable[[], object], clock: Callable[[], float] = process_time, rounds: int = ROUNDS) -> float:
    def once() -> float:
        start = clock()
        work()
        return clock() - start

    return min(once() for _ in range(rounds))


def write_in_parts(path: Path, traffic: Traffic) -> None:
    with path.open("wb") as file:
        for start in range(0, len(traffic), PART_FRAMES):
            file.write(write(traffic[start : start + PART_FRAMES]))
    os.utime(path, (1e9, 1e9))  # settled, so that it may be kept in the cache


def read_log(path: Path) -> int:
    with path.open("rb", buffering=0) as stream:
        return sum(map(len, large_log.blocks(stream, Gathering())))


def read_bytes(path: Path) -> None:
    buffer = bytearray(1 << 19)
    with path.open("rb", buffering=0) as stream:
        while stream.readinto(buffer):
            pass


def inflate(path: Path) -> None:
    inflater = zlib.decompressobj(16 + zlib.MAX_WBITS)
    with path.open("rb", buffering=0) as stream:
        while given := stream.read(1 << 17):
            while given:
                inflater.decompress(given, 1 << 19)
                given = inflater.unconsumed_tail


def read_capture(path: Path) -> int:
    return sum(map(len, open_capture(path, facts=RecordingFacts()).blocks()))


def library(path: Path) -> None:
    with can.LogReader(str(path)) as reader:
        for _ in reader:
            pass


def show(what: str, figure: str, ratio: float | None = None, to: str = "") -> None:
    print(f"{what:44} {figure:>20}" + (f" {ratio:9.2f} x {to}" if ratio is not None else ""))


def text_logs(folder: Path, traffic: Traffic) -> None:
    path, part = folder / "run.log", folder / "part.log"
    write_in_parts(path, traffic)
    write_in_parts(part, traffic[:PART_FRAMES])
    os.environ[column_cache.ENVIRONMENT] = ""
    assert open_capture(path).whole().traffic.equal(traffic)
    theirs = least(lambda: library(part), rounds=3) / PART_FRAMES
    ours = least(lambda: read_log(path)) / len(traffic)
    again = least(lambda: library(part), rounds=3) / PART_FRAMES
    bytes_alone = least(lambda: read_bytes(path)) / len(traffic)
    show("python-can's reader", f"{1e-6 / min(theirs, again):.3f} million frames/s")
    show("text log", f"{1e-6 / ours:.1f} million frames/s", min(theirs, again) / ours, "python-can's reader")
    show("reading the bytes of it", f"{1e-6 / bytes_alone:.0f} million frames/s", bytes_alone / ours, "is the parser's")

    os.environ[column_cache.ENVIRONMENT] = str(folder / "cache")
    read_capture(path)
    show(
        "opening a recording read before, all blocks", f"{1e3 * least(lambda: read_capture(path), perf_counter):.1f} ms"
    )
    os.environ[column_cache.ENVIRONMENT] = ""

    packed = folder / "run.log.gz"
    with gzip.open(packed, "wb", 4) as file:
        file.write(path.read_bytes())
    for clock, what in ((perf_counter, "time passed"), (process_time, "processor time")):
        alone = least(lambda: inflate(packed), clock, 5)
        both = least(lambda: read_capture(packed), clock, 5)
        show(f"compressed text log, {what}", f"{1e3 * both:.0f} ms", alone / both, "inflating alone")


def decoded(traffic_frames: int) -> None:
    messages = [decoding.design(number) for number in range(decoding.MESSAGES)]
    traffic = decoding.recording(messages, traffic_frames)
    readers = {message.identifier or 0: decoding.of_cantools(message) for message in messages}
    few = decoding.SINGLE_FRAMES
    frames = [(int(traffic.identifier[row]), traffic.data(row)) for row in range(few)]

    def by_columns() -> dict[str, dict[str, object]]:
        return {name: dict(columns.all_physical()) for name, columns in decode_all(traffic, messages).items()}

    decoding.require_agreement(frames, decoding.frame_by_frame(frames, readers), by_columns())
    signals = len(decoding.WIDTHS_BITS)
    theirs = least(lambda: decoding.frame_by_frame(frames, readers)) / few / signals
    ours = least(by_columns) / traffic_frames / signals
    show("cantools, frame by frame", f"{1e-6 / theirs:.2f} million signals/s")
    show("all signals of a recording", f"{1e-6 / ours:.0f} million signals/s", theirs / ours, "cantools")


def main() -> None:
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 5_000_000
    with tempfile.TemporaryDirectory() as folder:
        text_logs(Path(folder), recording(count))
    decoded(count)


if __name__ == "__main__":
    main()
