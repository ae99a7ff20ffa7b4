"""How late a replay hands over its frames, beside python-can's own loop, in one run on its `virtual` interface.

    PYTHONPATH=. python tests/benchmarks/bench_replay.py [ROUNDS]      4 rounds unless told

2 500 frames at 1 000 a second. Lateness is from the moment at which a frame is due to the one at which `send` is
called; `beside` the median takes away what is the same for every frame, as a sleep that always ends late is. What
adapter and bus add is in neither. Tails belong to the machine: the figures are for a quiet one.
"""

import sys
import tempfile
import threading
import time
from array import array
from pathlib import Path
from statistics import median

import can

from busdesign.answers.replay import Manners, replay
from busdesign.bench.pace import wait_until
from busdesign.traffic.files import write_traffic
from busdesign.traffic.frames import Traffic

FRAMES, GAP_NS = 2500, 1_000_000


def spread(late_ns: "array[int] | list[int]") -> str:
    ordered = sorted(late_ns)
    middle = ordered[len(ordered) // 2]
    beside = sorted(abs(one - middle) for one in ordered)
    at99 = -(-99 * (len(ordered) - 1) // 100)
    figures = [middle, ordered[at99], ordered[-1], beside[at99], beside[-1]]
    return "".join(f"{figure / 1000:12.1f}" for figure in figures)


def by_the_library(messages: list[can.Message]) -> list[int]:
    """MessageSync, which yields each message when it is due."""
    late_ns = []
    with can.Bus(interface="virtual", channel="library") as bus, can.Bus(interface="virtual", channel="library"):
        began_ns = 0
        for number, message in enumerate(can.MessageSync(messages, gap=0.0001)):
            now_ns = time.perf_counter_ns()
            began_ns = began_ns or now_ns
            bus.send(message)
            late_ns.append(now_ns - began_ns - number * GAP_NS)
    least_ns = min(late_ns)  # its own first frame may have been late itself
    return [one - least_ns for one in late_ns]


def by_nothing_else() -> list[int]:
    """Our wait alone, in a process that does nothing beside: what this machine leaves to be had just now."""
    began_ns, never = time.perf_counter_ns() + GAP_NS, threading.Event()
    moments = [began_ns + number * GAP_NS for number in range(FRAMES)]
    return [wait_until(due_ns, never) - due_ns for due_ns in moments]


def by_us(file: Path, record: Path | None) -> "array[int]":
    found = replay(file, "virtual:ours", manners=Manners(record=None if record is None else str(record)))
    assert found.frames_sent == FRAMES
    return found.late_ns


def main(rounds: int) -> None:
    messages = [
        can.Message(arbitration_id=0x100 + row % 7, is_extended_id=False, data=bytes(8), timestamp=row * GAP_NS / 1e9)
        for row in range(FRAMES)
    ]
    rows = [(row * GAP_NS, 0x100 + row % 7, 0, 8, 0, 0) for row in range(FRAMES)]
    print(f"{'us':26}{'median':>12}{'99 %':>12}{'worst':>12}{'99 % beside':>12}{'worst beside':>13}")
    with tempfile.TemporaryDirectory() as name:
        file = Path(name, "run.log")
        write_traffic(Traffic.of_rows(rows), file)
        tails: dict[str, list[float]] = {"library": [], "replay": []}
        for number in range(rounds):
            library, ours = by_the_library(messages), by_us(file, None)
            both = by_us(file, Path(name, f"kept{number}.log"))
            for what, late in (("library", library), ("replay", ours)):
                tails[what].append(sorted(late)[99 * FRAMES // 100] / 1000)
            print(f"{'python-can, MessageSync':26}{spread(library)}")
            print(f"{'waiting, sending nothing':26}{spread(by_nothing_else())}")
            print(f"{'replay':26}{spread(ours)}")
            print(f"{'replay, and recording it':26}{spread(both)}")
    print(f"99 % of frames, median of {rounds} rounds: replay {median(tails['replay']):.1f} us, ", end="")
    print(f"python-can {median(tails['library']):.1f} us")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 4)
