"""How much faster than real time a run is: trivial nodes at 2,000 frames/s, random payloads, and the demo.

Run with ``python tests/benchmarks/bench_simulation.py``. Baseline, in the same run: the straightforward bus below, with
cantools for every payload, a priority queue, and every frame laid out bit by bit to know its length. Part of the ratio
is a better algorithm, part is less work for each frame.
"""

import heapq
import random
import time
from collections.abc import Callable
from itertools import count
from pathlib import Path
from typing import Any

import cantools

from busdesign.answers.simulate import simulate
from busdesign.answers.starter import demo_scenarios, starter_root
from busdesign.catalogue.model import Catalogue
from busdesign.catalogue.reader import parse_catalogue
from busdesign.export.dbc import render
from busdesign.scenario.model import Scenario
from busdesign.virtual.bus import simulate_bus
from busdesign.virtual.node import Arrival, Node, Number
from busdesign.wire.frame import Frame, lay_out

NODES, MESSAGES, PERIOD_MS, RUN_S = 6, 20, 10, 20
SIGNALS = "a: {bits: 12}, b: {bits: 10, signed: true}, k: {bits: 4, counts: 1}, c: {bits: 8, crc: crc8-j1850}"


def network() -> Catalogue:
    """Twenty messages of six nodes, 2,000 frames/s on 500 kbit/s, each heard by one node."""
    lines = ["catalogue: bench", "bus: {bit_rate: 500 kbit/s}", "nodes:"]
    lines += [f"  n{node}: {{}}" for node in range(NODES)]
    lines += ["messages:"]
    for number in range(MESSAGES):
        ends = f"from: n{number % NODES}, to: n{(number + 1) % NODES}"
        timing = f"every: {PERIOD_MS} ms, offset: {number * 300} us, lost_after: 50 ms"
        lines += [f"  m{number}: {{id: {0x100 + number}, {ends}, {timing}, signals: {{{SIGNALS}}}}}"]
    return parse_catalogue("\n".join(lines))


class Trivial(Node):
    """Publishes a new value every period, so that no payload repeats, and decodes one signal of what it hears."""

    seen = Number()

    def begin(self) -> None:
        self._turn = 0
        self._own: list[str] = []
        self.each(f"{PERIOD_MS} ms", self.duty)

    def heard(self, message: Arrival) -> None:
        self.seen = message["a"]

    def duty(self) -> None:
        self._turn += 1
        for message in self._own:
            self.publish(message, a=self._turn % 4096)


def ours(catalogue: Catalogue, *, modelled: bool) -> Callable[[], int]:
    """One run of ``catalogue``; returns its number of frames."""

    def once() -> int:
        nodes: dict[str, Node] = {}
        for name in catalogue.nodes if modelled else ():
            node = Trivial()
            node.name = name
            nodes[name] = node
        story = Scenario("bench", "bench.yaml", Path(), catalogue, RUN_S * 1_000_000_000)
        original = Trivial.begin

        def begin(self: Trivial) -> None:
            original(self)
            self._own = [message.name for message in catalogue.sent_by(self.name)]

        Trivial.begin = begin  # type: ignore[method-assign]
        try:
            return len(simulate_bus(story, nodes).traffic)
        finally:
            Trivial.begin = original  # type: ignore[method-assign]

    return once


def straightforward(catalogue: Catalogue, run_s: int) -> Callable[[], int]:
    """The same traffic the plain way: cantools, closures, one heap, lengths bit by bit; checks are left out."""
    database: Any = cantools.database.load_string(render(catalogue).text)

    def once() -> int:
        bit_ns, now, order, sent, seen = 2_000, 0, count(), 0, [0]
        heap: list[Any] = []
        listeners: dict[int, list[Callable[[Any], None]]] = {}
        for number, message in enumerate(catalogue.messages):
            heapq.heappush(heap, (message.offset_ns, next(order), message, 0))
            frame_id = 0x100 + number

            def heard(data: bytes, frame_id: int = frame_id) -> None:
                seen[0] = database.decode_message(frame_id, data)["a"]

            listeners[frame_id] = [heard]
        pending: list[Any] = []
        while heap[0][0] < run_s * 1_000_000_000:
            while heap[0][0] <= now or not pending:
                due, _, message, turn = heapq.heappop(heap)
                now = max(now, due) if not pending else now
                values = {"a": turn % 4096, "b": -(turn % 500), "k": turn % 16, "c": 0}
                data = database.encode_message(message.identifier, values)
                heapq.heappush(pending, (message.identifier, next(order), bytes(data)))
                heapq.heappush(heap, (due + message.period_ns, next(order), message, turn + 1))
            identifier, _, data = heapq.heappop(pending)
            now += bit_ns * lay_out(Frame(identifier, data)).length_bits
            sent += 1
            for listener in listeners[identifier]:
                listener(data)
        return sent

    return once


def plain_kernel(frames: int = 200_000) -> Callable[[], int]:
    """Two heaps, twenty random periods, sampled lengths, the longest wait: a bus without nodes, payloads and records.

    It tells how fast Python is on this machine just now: 0.48 us a frame where a prototype took 3.7 us for all.
    """
    rng = random.Random(1)
    periods = [rng.choice([5, 10, 20, 50]) * 1000 for _ in range(MESSAGES)]
    lengths = [[rng.randint(100, 130) for _ in range(256)] for _ in range(MESSAGES)]
    first = [(rng.randrange(period), number) for number, period in enumerate(periods)]

    def once() -> int:
        events, longest = list(first), [0] * MESSAGES
        heapq.heapify(events)
        pending: list[tuple[int, int]] = []
        now = sent = 0
        while sent < frames:
            while events[0][0] <= now:
                due, number = events[0]
                heapq.heappush(pending, (number, due))
                heapq.heapreplace(events, (due + periods[number], number))
            if not pending:
                now = events[0][0]
                continue
            number, due = heapq.heappop(pending)
            now += lengths[number][sent & 255]
            longest[number] = max(longest[number], now - due)
            sent += 1
        return sent

    return once


def seconds(once: Callable[[], int], runs: int = 9) -> tuple[float, int]:
    """Least wall time of ``runs`` runs, as neighbours on the machine only ever add to it, and the frames of one."""
    times, frames = [], 0
    for _ in range(runs):
        began = time.perf_counter()
        frames = once()
        times.append(time.perf_counter() - began)
    return min(times), frames


def main() -> None:
    """Print the table."""
    catalogue = network()
    loop_s, loops = seconds(plain_kernel())
    loop_us = loop_s / loops * 1e6
    print(f"plain kernel                 {loop_us:7.2f} us/frame   (no nodes, no payloads, nothing kept)")
    plain_run_s = 2
    plain_s, plain_frames = seconds(straightforward(catalogue, plain_run_s), 3)
    plain_us = plain_s / plain_frames * 1e6
    print(
        f"straightforward (baseline)   {plain_us:7.2f} us/frame   {plain_run_s / plain_s:6.0f}x real time   ratio   1.0"
    )
    for name, modelled in (("trivial nodes", True), ("random payloads, no models", False)):
        wall_s, frames = seconds(ours(catalogue, modelled=modelled))
        us = wall_s / frames * 1e6
        times = f"{RUN_S / wall_s:6.0f}x real time   ratio {plain_us / us:5.1f}"
        print(f"{name:27}  {us:7.2f} us/frame   {times}   {us / loop_us:.1f} plain kernels")
    for file in demo_scenarios(starter_root()):
        story_s = simulate(file).duration_s
        wall_s, frames = seconds(lambda file=file: simulate(file).frames)  # type: ignore[misc]
        us = wall_s / frames * 1e6
        print(f"demo, {file.stem:21}  {us:7.2f} us/frame   {story_s / wall_s:6.0f}x real time   (whole answer)")


if __name__ == "__main__":
    main()
