"""Frames per second of the three ways to the exact length of an 8-byte frame, in one run on one thread.

    python tests/benchmarks/bench_frame_lengths.py

The baseline is the bit-by-bit reference, which names every field besides; the ratios compare algorithm and compiler
together. All three see the same random frames (11- and 29-bit identifiers from a bus of 100 messages, random
payloads), and their counts must agree before a figure is printed. Each figure is the median of several rounds.
"""

import random
from collections.abc import Callable
from statistics import median
from time import perf_counter

import numpy as np

from busdesign.wire.columns import frame_bits_of_columns
from busdesign.wire.flags import EXTENDED
from busdesign.wire.frame import Frame, lay_out
from busdesign.wire.lengths import frame_bits

MESSAGES = 100
SINGLE_FRAMES = 20_000
COLUMN_FRAMES = 1_000_000
ROUNDS = 7


def random_frames(count: int) -> list[Frame]:
    rng = random.Random(1)
    extended = [index % 2 == 1 for index in range(MESSAGES)]
    messages = [(rng.getrandbits(29 if wide else 11), wide) for wide in extended]
    return [Frame(identifier, rng.randbytes(8), wide) for identifier, wide in rng.choices(messages, k=count)]


def frames_per_second(count: int, work: Callable[[], object]) -> float:
    def seconds() -> float:
        start = perf_counter()
        work()
        return perf_counter() - start

    return count / median(seconds() for _ in range(ROUNDS))


def main() -> None:
    frames = random_frames(SINGLE_FRAMES)
    repeats = COLUMN_FRAMES // SINGLE_FRAMES
    columns = (
        np.tile(np.array([frame.identifier for frame in frames], np.uint32), repeats),
        np.tile(np.array([EXTENDED * frame.extended for frame in frames], np.uint8), repeats),
        np.full(COLUMN_FRAMES, 8, np.uint8),
        np.tile(np.array([int.from_bytes(frame.data, "little") for frame in frames], np.uint64), repeats),
    )

    def reference() -> list[int]:
        return [lay_out(frame).length_bits for frame in frames]

    def byte_tables() -> list[int]:
        return [frame_bits(frame.identifier, frame.data, extended=frame.extended) for frame in frames]

    expected = reference()
    assert byte_tables() == expected
    assert frame_bits_of_columns(*columns).tolist() == expected * repeats  # compiles, too

    baseline = frames_per_second(SINGLE_FRAMES, reference)
    for name, rate in (
        ("bit-by-bit reference", baseline),
        ("byte tables, plain Python", frames_per_second(SINGLE_FRAMES, byte_tables)),
        ("byte tables, compiled columns", frames_per_second(COLUMN_FRAMES, lambda: frame_bits_of_columns(*columns))),
    ):
        print(f"{name:30} {rate / 1e6:9.4f} million frames/s {1e6 / rate:9.4f} us/frame {rate / baseline:8.1f} x")


if __name__ == "__main__":
    main()
