"""The exact longest frame, against two plain ways to the same number, in one run on one thread.

    python -m tests.benchmarks.bench_longest

The baseline is the forward dynamic program over CRC register and stuffing state in numpy, once for every identifier;
at 2 bytes there is also brute force over all payloads, compiled. The numbers must agree before a figure is printed.
The first answer is timed in fresh interpreters, without their start; each figure is the median of several rounds.
"""

import random
import subprocess
import sys
from collections.abc import Callable
from functools import partial
from itertools import count
from statistics import median
from time import perf_counter

import numpy as np

from busdesign.wire.columns import frame_bits_of_columns
from busdesign.wire.lengths import shortest_bits
from busdesign.wire.longest import longest_exact_bits, longest_frame
from busdesign.wire.payload_sets import all_of, any_payload, with_bits, with_field
from tests.wire.forward_program import extreme_stuff_bits

ROUNDS = 7
IDENTIFIERS = random.Random(1).sample(range(0x800), 300)

FIRST_ANSWER = """\
from time import perf_counter
from busdesign.wire.longest import longest_exact_bits
from busdesign.wire.payload_sets import any_payload
start = perf_counter()
longest_exact_bits({identifier}, any_payload({length_bytes}))
print(perf_counter() - start)
"""


def forward_program(identifier: int, length_bytes: int) -> int:
    pattern = f"0{identifier:011b}000{length_bytes:04b}" + "x" * 8 * length_bytes
    return shortest_bits(length_bytes) + extreme_stuff_bits(pattern, longest=True)


def brute_force(identifier: int) -> int:
    """All payloads of two bytes."""
    every = np.arange(1 << 16, dtype=np.uint64)
    columns = (
        np.full(every.size, identifier, np.uint32),
        np.zeros(every.size, np.uint8),
        np.full(every.size, 2, np.uint8),
    )
    return int(frame_bits_of_columns(*columns, every).max())


def seconds(work: Callable[[], object]) -> float:
    def once() -> float:
        start = perf_counter()
        work()
        return perf_counter() - start

    return median(once() for _ in range(ROUNDS))


def first_answer(length_bytes: int) -> float:
    code = FIRST_ANSWER.format(identifier=IDENTIFIERS[0], length_bytes=length_bytes)
    run = [sys.executable, "-c", code]
    return median(float(subprocess.run(run, capture_output=True, text=True, check=True).stdout) for _ in range(ROUNDS))


def look_ups(length_bytes: int) -> float:
    payloads = any_payload(length_bytes)
    return seconds(lambda: [longest_exact_bits(identifier, payloads) for identifier in IDENTIFIERS]) / len(IDENTIFIERS)


def as_declared() -> float:
    """Five fields of ten bits, each with a range that no round has had before, and 14 reserved bits."""
    fresh = count(900)

    def work() -> int:
        fields = [with_field(8, range(place, place + 10), [(0, next(fresh))]) for place in range(0, 50, 10)]
        return longest_exact_bits(IDENTIFIERS[0], all_of(*fields, with_bits(8, 0x3FFF << 50, 0)))

    return seconds(work)


def main() -> None:
    for length_bytes in (2, 8):
        for identifier in IDENTIFIERS[:3]:
            expected = forward_program(identifier, length_bytes)
            assert longest_exact_bits(identifier, any_payload(length_bytes)) == expected
            assert length_bytes != 2 or brute_force(identifier) == expected  # compiles, too

    baseline_2, baseline_8 = (seconds(partial(forward_program, IDENTIFIERS[0], length)) for length in (2, 8))
    for name, taken, baseline in (
        ("2 bytes: forward program", baseline_2, baseline_2),
        ("2 bytes: brute force, compiled", seconds(lambda: brute_force(IDENTIFIERS[0])), baseline_2),
        ("2 bytes: the first answer", first_answer(2), baseline_2),
        ("2 bytes: every further identifier", look_ups(2), baseline_2),
        ("8 bytes: forward program", baseline_8, baseline_8),
        ("8 bytes: the first answer", first_answer(8), baseline_8),
        ("8 bytes: every further identifier", look_ups(8), baseline_8),
        ("8 bytes: a frame that attains it", seconds(lambda: longest_frame(7, any_payload(8))), baseline_8),
        ("8 bytes: as declared, a new message", as_declared(), baseline_8),
    ):
        print(f"{name:38} {1e3 * taken:10.4f} ms {baseline / taken:10.1f} x")


if __name__ == "__main__":
    main()
