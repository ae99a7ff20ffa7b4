"""Thousands of random sets for each way of queueing: does a run ever exceed its bound, and how close does it come?

    python -m tests.benchmarks.bench_bounds --sets 2000
    python -m tests.benchmarks.bench_bounds --kind fifo --sets 10000 --seed 7

Each set is a network of two to nine messages with base and extended identifiers, length codes up to 15 and now and then
one that a remote frame asks for; each is simulated once, with phases, jitter and drift drawn. Half of the sets are
*pressed*: all is released at once but for the most urgent message, which comes a little later to the node that sends
the least urgent one. What has no bound is not judged. The last column tells how many of these sets would show it if the
analysis had been told that all nodes are plain priority queues. It ends with 1 if a run exceeds its bound.
"""

import argparse
import random
import sys
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from fractions import Fraction
from time import perf_counter
from typing import Any

from busdesign.analysis.frame_lengths import longest_frames
from busdesign.analysis.streams import WorstCase, worst_cases
from busdesign.catalogue.model import Catalogue, Message
from busdesign.catalogue.model_controllers import Queue, Transmit
from tests.networks import BIT_RATES, MS, catalogue_of, message_of, run_of

RUN_NS = 120 * MS
PERIODS_MS = (3, 5, 7, 10, 20, 50)
TOLERANCES = (Fraction(0), Fraction(50, 10**6), Fraction(3, 1000), Fraction(15, 1000))
Draw = Callable[[random.Random], Transmit | None]


def _fifo(rng: random.Random) -> Transmit:
    return Transmit(Queue.FIFO, depth=rng.choice([4, 30, 200, 200]))


def _kept(rng: random.Random) -> Transmit:
    return Transmit(Queue.BUFFERS, buffers=rng.randint(1, 4))


def _aborted(rng: random.Random) -> Transmit:
    return Transmit(Queue.BUFFERS, buffers=rng.randint(3, 4), abort=True)


def _plain(rng: random.Random) -> Transmit | None:
    return rng.choice([None, Transmit()])


def _mixed(rng: random.Random) -> Transmit | None:
    return rng.choice([_fifo, _kept, _aborted, _plain])(rng)


KINDS: Mapping[str, Draw] = {
    "priority": _plain,
    "fifo": _fifo,
    "kept-buffers": _kept,
    "aborted-buffers": _aborted,
    "a-mix": _mixed,
}


@dataclass
class Tally:
    """What came of the sets of one kind. ``closest`` is of a response and its bound."""

    sets: int = 0
    bounds: int = 0
    extended: int = 0
    remote: int = 0
    long_codes: int = 0
    exceeded: int = 0
    closest: float = 0.0
    wrong: int = 0  # sets in which a run exceeds a bound of plain priority queues
    example: str = ""


def network(rng: random.Random, draw: Draw) -> Catalogue:
    """Two to eight messages of two to four nodes, below the whole load by a rough count."""
    names = [f"node{number}" for number in range(rng.randint(2, 4))]
    numbers = rng.sample(range(0x800), 9)
    is_pressed = rng.random() < 0.5
    messages = [_message(rng, f"m{place}", numbers[place], names) for place in range(rng.randint(2, 8))]
    if is_pressed:
        messages = [*_pressed(rng, messages, names)]
    if rng.random() < 0.3:
        messages = _asked(rng, messages, numbers[8], names)
    made = catalogue_of(messages, rng.choice(BIT_RATES), {name: rng.choice(TOLERANCES) for name in names})
    return replace(made, nodes={name: replace(node, transmit=draw(rng)) for name, node in made.nodes.items()})


def _message(rng: random.Random, name: str, number: int, names: list[str]) -> Message:
    period_ns = rng.choice(PERIODS_MS) * MS
    extended = rng.random() < 0.25
    identifier = number << 18 | rng.randrange(1 << 18) if extended else number
    length = rng.choice([8, 8, 8, rng.randint(0, 7)])
    return message_of(
        name,
        identifier,
        rng.choice(names),
        length,
        period_ns,
        extended=extended,
        jitter_ns=rng.choice([0, 0, 300_000, MS, 3 * period_ns // 2]),
        offset_ns=rng.randrange(period_ns),
        long_code=rng.choice([None, *range(9, 16)]) if length == 8 else None,
    )


def _pressed(rng: random.Random, messages: list[Message], names: list[str]) -> Iterator[Message]:
    """All at once, but the most urgent one a little later than what its node has queued before."""
    ranked = sorted(messages, key=lambda message: _base(message))
    for message in messages:
        later_ns = rng.choice([100_000, 300_000]) if message is ranked[0] else rng.choice([0, 0, 50_000])
        sender = names[0] if message is ranked[0] or message is ranked[-1] else message.sender
        yield replace(message, offset_ns=later_ns, jitter_ns=0, sender=sender, period_ns=max(message.period_ns, 7 * MS))


def _base(message: Message) -> int:
    assert message.identifier is not None
    return message.identifier >> 18 if message.extended else message.identifier


def _asked(rng: random.Random, messages: list[Message], number: int, names: list[str]) -> list[Message]:
    """One message more, that is sent when it is asked for, half as often as it declares that it may come."""
    period_ns = rng.choice([20, 50]) * MS
    answer = message_of("answer", number, rng.choice(names), 8, period_ns // 2, irregular=True)
    asker = rng.choice([name for name in names if name != answer.sender])
    request = replace(answer, name="ask", sender=asker, requests="answer", irregular=False, period_ns=period_ns)
    return [*messages, answer, replace(request, deadline_ns=period_ns)]


def _asked_in_time(catalogue: Catalogue, cases: Mapping[str, WorstCase]) -> bool:
    """Whether no two answers can come closer to each other than declared: else no bound is promised."""
    for message in catalogue.messages:
        if message.requests:
            response_ns = cases[message.name].response_ns
            fastest = 1 + catalogue.nodes[message.sender].tolerance
            apart_ns = catalogue.message(message.requests).period_ns
            if response_ns is None or apart_ns > message.period_ns / fastest - response_ns:
                return False
    return True


def judge(rng: random.Random, draw: Draw, tally: Tally) -> None:
    """One set more, unless it has nothing to judge."""
    catalogue = network(rng, draw)
    lengths = longest_frames(catalogue)
    cases = worst_cases(catalogue, lengths).cases
    if not _asked_in_time(catalogue, cases) or all(case.response_ns is None for case in cases.values()):
        return
    way: dict[str, Any] = {
        "phases": rng.choice(["declared", "declared", "random", "aligned"]),
        "jitter": rng.choice(["none", "random", "worst"]),
        "drift": rng.choice(["none", "random", "worst"]),
        "seed": rng.randrange(1 << 32),
    }
    run = run_of(catalogue, RUN_NS, **way)
    plain = {name: replace(node, transmit=None) for name, node in catalogue.nodes.items()}
    wrong = worst_cases(replace(catalogue, nodes=plain), lengths).cases
    tally.sets += 1
    tally.extended += any(message.extended for message in catalogue.messages)
    tally.remote += any(message.requests for message in catalogue.messages)
    tally.long_codes += any(message.long_code for message in catalogue.messages)
    is_beyond_wrong = False
    for index, message in enumerate(catalogue.messages):
        found = run.response_ns[run.message_index == index]
        bound_ns, wrong_ns = cases[message.name].response_ns, wrong[message.name].response_ns
        if not len(found) or bound_ns is None:
            continue
        taken_ns = int(found.max())
        tally.bounds += 1
        tally.closest = max(tally.closest, taken_ns / bound_ns)
        is_beyond_wrong |= wrong_ns is not None and taken_ns > wrong_ns
        if taken_ns > bound_ns:
            tally.exceeded += 1
            tally.example = tally.example or f"{message.name}: {taken_ns} ns, bound {bound_ns} ns, {way}, {catalogue}"
    tally.wrong += is_beyond_wrong


def main() -> int:
    parser = argparse.ArgumentParser(description="Runs beside their bounds, for each way of queueing.")
    parser.add_argument("--sets", type=int, default=2000, help="of each kind")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--kind", choices=KINDS, help="one kind only")
    chosen = parser.parse_args()
    print(
        "kind              sets   bounds  29-bit  remote  codes 9-15  exceeded  closest  beyond a plain queue's      s"
    )
    examples = []
    for kind in [chosen.kind] if chosen.kind else KINDS:
        rng, tally, start = random.Random(f"{chosen.seed} {kind}"), Tally(), perf_counter()
        while tally.sets < chosen.sets:
            judge(rng, KINDS[kind], tally)
        print(
            f"{kind:16} {tally.sets:5} {tally.bounds:8} {tally.extended:7} {tally.remote:7} {tally.long_codes:11}"
            f" {tally.exceeded:9} {tally.closest:8.4f} {tally.wrong:23} {perf_counter() - start:6.0f}",
            flush=True,
        )
        examples += [tally.example] * bool(tally.example)
    print(*examples, sep="\n", end="")
    return 1 if examples else 0


if __name__ == "__main__":
    sys.exit(main())
