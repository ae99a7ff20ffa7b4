"""Frames per second of an audit, beside a plain loop with cantools over a part of them, in one run on one thread.

    python tests/benchmarks/bench_audit.py [million frames]

40 messages at 500 kbit/s fill some 60 % of the bus; a simulated run of them is repeated. The audit does all that it
does of a file: identifiers, lengths, distances, values, counters, checks, loads in sliding windows, gaps. The loop
decodes, compares with the range, follows the counter, computes the check and keeps the distances, frame by frame.
Processor time is taken; reading a file is not in it. Both must find nothing in the run before a figure is printed.
"""

import sys
from collections.abc import Callable, Iterator
from fractions import Fraction
from pathlib import Path
from time import process_time
from typing import Any

import cantools
import numpy as np

from busdesign.answers.audit_limits import limits_and_bounds
from busdesign.bench.audit import Audit
from busdesign.bench.limits import Limits, Recorder
from busdesign.catalogue.checksums import checksum_of
from busdesign.catalogue.model import Catalogue
from busdesign.catalogue.reader import parse_catalogue
from busdesign.export import dbc
from busdesign.scenario.model import Scenario
from busdesign.traffic.frames import Traffic
from busdesign.virtual.bus import simulate_bus

MESSAGES, NODES = 40, 5
PERIODS_MS = (5, 10, 10, 20, 20, 20, 50, 100)
RUN_NS = 16 * 10**9
BLOCK_FRAMES = 1 << 18
PART_FRAMES = 20_000
SIGNALS = (
    "{a: {bits: 12, factor: 0.1, range: [0, 300]}, b: {bits: 3, codes: {0: x, 1: y, 2: z}}, "
    "c: {bits: 16, signed: true, range: [-30000, 30000]}, d: {bits: 10, range: [0, 1000]}, "
    "counter: {bits: 4, counts: 1}, check: {bits: 8, crc: crc8-j1850}}"
)


def catalogue() -> Catalogue:
    lines = ["catalogue: busy", "bus: {bit_rate: 500 kbit/s}"]
    lines += ["nodes: {" + ", ".join(f"n{node}: {{}}" for node in range(NODES)) + "}", "messages:"]
    for number in range(MESSAGES):
        period = PERIODS_MS[number % len(PERIODS_MS)]
        lines.append(
            f"  m{number}: {{id: 0x{0x100 + number:X}, from: n{number % NODES}, every: {period} ms, jitter: 1 ms, "
            f"offset: {number * 0.37 % period:.2f} ms, lost_after: {4 * period} ms, signals: {SIGNALS}}}"
        )
    return parse_catalogue("\n".join(lines) + "\n")


def blocks_of(traffic: Traffic, count: int) -> Iterator[Traffic]:
    """``traffic`` again and again, until there are ``count`` frames."""
    names = ("identifier", "flags", "length", "channel", "payload")
    columns = {name: getattr(traffic, name) for name in names}
    for turn in range(-(-count // len(traffic))):
        yield Traffic(end_ns=traffic.end_ns + turn * RUN_NS, channels=traffic.channels, **columns)


def audited(definition: Catalogue, limits: Limits, traffics: Iterator[Traffic]) -> Audit:
    seen = Audit(definition, limits)
    seen.take(traffics)
    return seen


def loop(traffic: Traffic, database: Any, periods_ns: dict[int, int]) -> dict[str, int]:
    """As somebody would write it: frame by frame."""
    found = dict.fromkeys(("unknown", "range", "counter", "check", "late"), 0)
    readers = {message.frame_id: message for message in database.messages}
    checks = {message.frame_id: message.get_signal_by_name("check").start // 8 for message in database.messages}
    counters: dict[int, int] = {}
    last: dict[int, int] = {}
    rows = zip(traffic.identifier.tolist(), traffic.end_ns.tolist(), range(len(traffic)), strict=True)
    for identifier, end_ns, row in rows:
        message = readers.get(identifier)
        if message is None:
            found["unknown"] += 1
            continue
        data = traffic.data(row)
        values = message.decode(data, decode_choices=False)
        for signal in message.signals:
            if signal.maximum is not None and not signal.minimum <= values[signal.name] <= signal.maximum:
                found["range"] += 1
        before = counters.get(identifier)
        if before is not None and values["counter"] != (before + 1) % 16:
            found["counter"] += 1
        counters[identifier] = values["counter"]
        place = checks[identifier]
        if checksum_of("crc8-j1850", data[:place] + data[place + 1 :]) != values["check"]:
            found["check"] += 1
        if identifier in last and end_ns - last[identifier] > 2 * periods_ns[identifier]:
            found["late"] += 1
        last[identifier] = end_ns
    return found


def seconds_of(work: Callable[[], Any]) -> tuple[float, Any]:
    start = process_time()
    result = work()
    return process_time() - start, result


def main() -> None:
    count = int(float(sys.argv[1]) * 1e6) if len(sys.argv) > 1 else 2_000_000
    definition = catalogue()
    limits, _ = limits_and_bounds(definition, Recorder())
    run = simulate_bus(Scenario("busy", "busy", Path(), definition, RUN_NS, drift={"n0": Fraction(0)}), {})
    traffic = run.traffic
    part = traffic[:PART_FRAMES]
    database = cantools.database.load_string(dbc.render(definition).text, "dbc")
    periods = {message.identifier or 0: message.period_ns for message in definition.messages}

    baseline_s, told = seconds_of(lambda: loop(part, database, periods))
    assert told == dict.fromkeys(told, 0), told
    assert not list(audited(definition, limits, iter([part])).sightings())
    parts = np.array_split(np.arange(len(traffic)), max(len(traffic) // BLOCK_FRAMES, 1))
    assert not list(audited(definition, limits, (traffic[rows] for rows in parts)).sightings())

    audit_s, seen = seconds_of(lambda: audited(definition, limits, blocks_of(traffic, count)))
    rate, slow = seen.frames / audit_s, len(part) / baseline_s
    print(f"{'loop with cantools':30} {slow / 1e6:9.3f} million frames/s")
    print(f"{'audit':30} {rate / 1e6:9.3f} million frames/s {rate / slow:8.1f} x")
    print(f"{seen.frames} frames, load {seen.loads.mean():.1%}, in {audit_s:.2f} s of processor time")


if __name__ == "__main__":
    main()
