"""Milliseconds for the worst-case response times of a whole network, in three ways, in one run on one thread.

    python tests/benchmarks/bench_response.py

The straightforward loop starts every recurrence from its first term, as it is written in the paper; the plain version
starts from what it knows already; the compiled one does the same over columns. The last also takes a search's view: the
columns are there, and one asks again. All must agree, message by message, before a figure is printed. Each figure is
the median of several rounds; the first call, which compiles or loads the loop, is told apart.
"""

import random
from collections.abc import Callable
from functools import partial
from statistics import median
from time import perf_counter

from busdesign.analysis.response import Bound, Disturbance, Stream, response_bounds

BIT = 1
PERIODS_BITS = (2_500, 5_000, 10_000, 25_000, 50_000, 100_000, 250_000)
ROUNDS = 9


def network(count: int, load: float) -> list[Stream]:
    rng = random.Random(count)
    lengths = [rng.randint(55, 135) for _ in range(count)]
    periods = sorted(rng.choice(PERIODS_BITS) for _ in range(count))
    stretch = sum(length / period for length, period in zip(lengths, periods, strict=True)) / load
    return [
        Stream(f"m{rank}", rank, round(period * stretch), rng.choice([0, 100]), round(period * stretch), length)
        for rank, (length, period) in enumerate(zip(lengths, periods, strict=True))
    ]


def straightforward(streams: list[Stream]) -> list[int]:
    """Davis et al. 2007 as it stands there; highest priority first, below the whole load."""
    answers = []
    for rank, own in enumerate(streams):
        above = streams[:rank]
        blocking = max((lower.length for lower in streams[rank + 1 :]), default=0)
        busy, before = own.length, 0
        while busy != before:
            before = busy
            busy = blocking + sum(-(-(before + each.jitter) // each.period) * each.length for each in (*above, own))
        worst = 0
        for instance in range(-(-(busy + own.jitter) // own.period)):
            waits, before = blocking + instance * own.length, -1
            while waits != before:
                before = waits
                waits = blocking + instance * own.length
                waits += sum(-(-(before + each.jitter + BIT) // each.period) * each.length for each in above)
            worst = max(worst, own.jitter + waits - instance * own.period + own.length)
        answers.append(worst)
    return answers


def milliseconds(work: Callable[[], object], rounds: int = ROUNDS) -> float:
    def once() -> float:
        start = perf_counter()
        work()
        return (perf_counter() - start) * 1e3

    return median(once() for _ in range(rounds))


def main() -> None:
    start = perf_counter()
    from busdesign.analysis.fast import columns_of

    columns_of(network(5, 0.5), bit=BIT).response(bit=BIT)
    print(f"the compiler's import and the first call: {(perf_counter() - start) * 1e3:.0f} ms\n")
    print("messages  load   straightforward     plain      compiled   ratios      with errors, plain")
    for count, load in ((100, 0.7), (100, 0.9), (100, 0.98), (1000, 0.7), (1000, 0.9), (1000, 0.98)):
        streams = network(count, load)
        columns = columns_of(streams, bit=BIT)
        expected = straightforward(streams)
        plain = [bound.response for bound in response_bounds(streams, bit=BIT) if isinstance(bound, Bound)]
        assert plain == columns.response(bit=BIT).tolist() == expected
        baseline = milliseconds(partial(straightforward, streams), 1 if count > 100 else ROUNDS)
        warm = milliseconds(partial(response_bounds, streams, bit=BIT))
        compiled = milliseconds(partial(columns.response, bit=BIT), 51)
        errors = milliseconds(partial(response_bounds, streams, bit=BIT, disturbances=[Disturbance(50_000, 31)]), 3)
        print(
            f"{count:8} {load:5.0%} {baseline:14.2f} ms {warm:9.2f} ms {compiled:8.3f} ms"
            f"   1 : {baseline / warm:.1f} : {baseline / compiled:.0f}   {errors:9.2f} ms"
        )


if __name__ == "__main__":
    main()
