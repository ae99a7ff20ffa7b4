"""The bit-level referee, compiled, against the same loops as plain Python; and against the simulator, set by set.

    python -m tests.benchmarks.bench_referee [SETS]

Five nodes on a saturated bus, frames of 8 bytes; in quanta 16 to a bit, clocks up to 1500 ppm off, a line in between.
Both ways must have seen the same before a figure is printed. Times are CPU times of one thread, without the building of
arrays; each is the best of several rounds. Then SETS random catalogues (2000 unless told) are simulated frame by frame
and refereed bit by bit, and every frame is compared.
"""

import random
import sys
from collections.abc import Callable
from fractions import Fraction
from time import process_time

from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from busdesign.catalogue.model import Catalogue
from busdesign.scenario.model import PayloadChoice
from busdesign.virtual.referee.model import Clockwork, Offer, Station
from busdesign.virtual.referee.outcome import SENT, Refereed
from busdesign.virtual.referee.running import run, run_in_quanta
from busdesign.wire.bit_timing import Segments, Setting
from busdesign.wire.frame import Frame
from tests.networks import MS, catalogues, run_of
from tests.refereed_runs import refereed_rows, simulated_rows
from tests.virtual.refereed import everything_in

NODES = 5
BITS, PLAIN_BITS = 1_000_000, 10_000
BIT_NS = 1_000
ROUNDS = 9
SETS = 2_000

Loop = Callable[[int, bool], Refereed]


def saturating(bit: int) -> list[Station]:
    """More frames than fit, ready at random times; a bit is ``bit`` ticks."""
    rng = random.Random(1)
    return [
        Station(
            f"node{node}",
            tuple(
                Offer(rng.randrange(BITS) * bit, Frame(rng.randrange(400) * NODES + node, rng.randbytes(8)))
                for _ in range(BITS // 500)
            ),
        )
        for node in range(NODES)
    ]


def loops() -> dict[str, Loop]:
    """What is timed: a run of so many bits, plainly or compiled."""
    rng = random.Random(2)
    setting = Setting(16_000_000, 1, Segments(7, 4, 4, 3))
    clocks = [
        Clockwork(setting, Fraction(rng.randint(-1500, 1500), 10**6), Fraction(rng.randrange(16), 16))
        for _ in range(NODES)
    ]
    delays = [[50 + 30 * abs(here - there) for there in range(NODES)] for here in range(NODES)]
    in_bits, in_ns = saturating(1), saturating(BIT_NS)
    return {
        "bit by bit": lambda bits, plainly: run(in_bits, bits, plainly=plainly),
        "in quanta": lambda bits, plainly: run_in_quanta(
            in_ns, bits * BIT_NS, clocks, delays_ns=delays, plainly=plainly
        ),
    }


def seconds(loop: Loop, bits: int, *, plainly: bool) -> float:
    """The time of ``bits`` alone: with it, less without."""

    def once(so_many: int) -> float:
        start = process_time()
        loop(so_many, plainly)
        return process_time() - start

    rounds = 2 if plainly else ROUNDS
    return min(once(bits) for _ in range(rounds)) - min(once(1) for _ in range(rounds))


def speeds() -> None:
    for name, loop in loops().items():
        assert everything_in(loop(PLAIN_BITS, False)) == everything_in(loop(PLAIN_BITS, True))  # compiles, too
        seen = loop(BITS, False)
        sent = int((seen.attempts.outcome == SENT).sum())
        plain = PLAIN_BITS / seconds(loop, PLAIN_BITS, plainly=True)
        fast = BITS / seconds(loop, BITS, plainly=False)
        print(
            f"{name:12} {sent} frames sent, {len(seen.flags.kind)} errors; plain {plain / 1e6:7.4f} Mbit/s, "
            f"compiled {fast / 1e6:6.2f} Mbit/s, {fast / plain:6.1f} x"
        )


def agreement(sets: int) -> None:
    compared = [0, 0]

    @given(
        catalogue=catalogues(),
        jitter=st.sampled_from(["none", "worst"]),
        payload=st.sampled_from([PayloadChoice("zero", {}), PayloadChoice("random", {})]),
        seed=st.integers(0, 2**32),
    )
    @settings(
        max_examples=sets,
        deadline=None,
        database=None,
        phases=[Phase.generate],
        suppress_health_check=list(HealthCheck),
    )
    def compare(catalogue: Catalogue, jitter: str, payload: PayloadChoice, seed: int) -> None:
        simulated = run_of(catalogue, 40 * MS, jitter=jitter, seed=seed, payload=payload)
        rows = refereed_rows(simulated, jitter)
        assert rows == simulated_rows(simulated)
        compared[0] += 1
        compared[1] += len(rows)

    compare()
    print(f"{compared[0]} random catalogues, {compared[1]} frames: winner, start and end as in the simulator")


if __name__ == "__main__":
    speeds()
    agreement(int(sys.argv[1]) if len(sys.argv) > 1 else SETS)
