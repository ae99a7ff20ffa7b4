"""Signals per second of decoding a recording, beside cantools decoding it frame by frame, in one run on one thread.

    python tests/benchmarks/bench_decode.py

40 messages of 8 signals (both byte orders, signed and unsigned, scaled), random payloads. Both sides decode all signals
to physical values, and agree before a figure is printed. The ratio compares whole columns with one frame at a time, so
it is one of method as much as of code. Each figure is the median of several rounds.
"""

import random
from collections.abc import Callable
from statistics import median
from time import perf_counter
from typing import Any

import numpy as np
from cantools.database.can import Message as OtherMessage
from cantools.database.can import Signal as OtherSignal
from cantools.database.conversion import BaseConversion

from busdesign.catalogue.model import ByteOrder, Message, Signal
from busdesign.traffic.decode import decode
from busdesign.traffic.frames import Traffic

MESSAGES = 40
WIDTHS_BITS = (16, 12, 4, 8, 3, 5, 1, 15)  # 64 in all; each pair or single fills whole bytes
STARTS_BITS = (0, 16, 28, 32, 40, 43, 48, 49)
COLUMN_FRAMES = 1_000_000
SINGLE_FRAMES = 10_000
ROUNDS = 5


def design(number: int) -> Message:
    """Odd messages are extended and big-endian; every other signal is signed."""
    order = ByteOrder.BIG if number % 2 else ByteOrder.LITTLE
    signals = tuple(
        Signal(f"s{index}", _start(first, order), width, order, signed=index % 2 == 1, factor=0.1, offset=-5.0)
        for index, (first, width) in enumerate(zip(STARTS_BITS, WIDTHS_BITS, strict=True))
    )
    return Message(f"m{number}", 0x100 + number, number % 2 == 1, 8, "node", (), signals, period_ns=10**7)


def _start(first: int, order: ByteOrder) -> int:
    return first if order is ByteOrder.LITTLE else 8 * (first // 8) + 7 - first % 8


def recording(messages: list[Message], count: int) -> Traffic:
    rng = np.random.default_rng(1)
    number = rng.integers(0, len(messages), count)
    identifiers = np.array([message.identifier for message in messages], np.uint32)
    return Traffic(
        np.arange(count) * 200_000,
        identifiers[number],
        (number % 2).astype(np.uint8),
        np.full(count, 8, np.uint8),
        np.zeros(count, np.uint8),
        rng.integers(0, 2**64, count, dtype=np.uint64),
    )


def of_cantools(message: Message) -> Any:
    signals = [
        OtherSignal(
            signal.name,
            signal.start_bit,
            signal.length_bits,
            "big_endian" if signal.byte_order is ByteOrder.BIG else "little_endian",
            signal.signed,
            conversion=BaseConversion.factory(signal.factor, signal.offset),
        )
        for signal in message.signals
    ]
    return OtherMessage(message.identifier or 0, message.name, 8, signals, is_extended_frame=message.extended)


def by_columns(traffic: Traffic, messages: list[Message]) -> dict[str, dict[str, Any]]:
    decoded = {}
    for message in messages:
        columns = decode(traffic, message)
        decoded[message.name] = {signal.name: columns.physical(signal.name) for signal in message.signals}
    return decoded


def frame_by_frame(frames: list[tuple[int, bytes]], readers: dict[int, Any]) -> list[Any]:
    return [readers[identifier].decode(data, decode_choices=False) for identifier, data in frames]


def seconds_of(work: Callable[[], object]) -> float:
    def once() -> float:
        start = perf_counter()
        work()
        return perf_counter() - start

    return median(once() for _ in range(ROUNDS))


def require_agreement(frames: list[tuple[int, bytes]], values: list[Any], columns: dict[str, dict[str, Any]]) -> None:
    seen = dict.fromkeys(columns, 0)
    for (identifier, _), expected in zip(frames, values, strict=True):
        name = f"m{identifier - 0x100}"
        assert {signal: column[seen[name]] for signal, column in columns[name].items()} == expected
        seen[name] += 1


def main() -> None:
    messages = [design(number) for number in range(MESSAGES)]
    traffic = recording(messages, COLUMN_FRAMES)
    readers = {message.identifier or 0: of_cantools(message) for message in messages}
    few = traffic[:SINGLE_FRAMES]
    frames = [(int(few.identifier[row]), few.data(row)) for row in range(SINGLE_FRAMES)]
    require_agreement(frames, frame_by_frame(frames, readers), by_columns(few, messages))

    signals = len(WIDTHS_BITS)
    one, name = random.Random(1).choice(messages), f"s{random.Random(1).randrange(signals)}"
    rows = len(decode(traffic, one))
    baseline = SINGLE_FRAMES * signals / seconds_of(lambda: frame_by_frame(frames, readers))
    whole = COLUMN_FRAMES * signals / seconds_of(lambda: by_columns(traffic, messages))
    chosen = decode(traffic, one)
    single = rows / seconds_of(lambda: chosen.physical(name))
    for what, rate in (
        ("cantools, frame by frame", baseline),
        ("columns, all signals", whole),
        (f"one signal of {rows} frames", single),
    ):
        print(f"{what:30} {rate / 1e6:9.2f} million signals/s {rate / baseline:8.1f} x")


if __name__ == "__main__":
    main()
