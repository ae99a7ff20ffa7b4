"""Run the referee: on one common clock bit by bit, or with every station's own clock and distance.

Long runs are compiled. The same loops also run as plain Python (``plainly``), slowly, and must say the same.
"""

from collections.abc import Callable, Sequence
from fractions import Fraction
from math import lcm
from typing import Any

import numpy as np

from busdesign.virtual.referee import layout
from busdesign.virtual.referee.arrays import Arrays, arrays_of
from busdesign.virtual.referee.interpreted import interpreted
from busdesign.virtual.referee.layout import FAR, FIRST_NODE, MEMORY, NEXT_ROW, PAIR, ROW, Ints
from busdesign.virtual.referee.model import Clockwork, Flip, FlipInFrame, Station, Stuck
from busdesign.virtual.referee.outcome import Refereed, refereed
from busdesign.virtual.referee.quanta import play_quanta
from busdesign.virtual.referee.synchronous import play_bits
from busdesign.wire.confinement import Counters

ROWS = 1 << 14  # of the log that the loops fill before they hand it over
ROWS_A_BIT = 8  # the most that one station adds in one bit, and more
FINEST_TICKS_PER_NS = 100_000  # beyond, a quantum is rounded to the nearest tick
LONGEST_DELAY_BITS = 8


def run(
    stations: Sequence[Station],
    until: int,
    *,
    bit: int = 1,
    join: int | None = None,
    flips: Sequence[Flip | FlipInFrame] = (),
    stuck: Sequence[Stuck] = (),
    with_levels: bool = False,
    plainly: bool = False,
) -> Refereed:
    """Play all stations on one clock, without delay, up to tick ``until``.

    A bit is ``bit`` ticks long; without more, all times are in bits. A frame that is ready less than ``join`` ticks
    (by default all the bit) after the start of a foreign start of frame takes part in that arbitration. On an idle bus
    a frame starts in the very tick in which it is ready, and bits are counted from there.

    Raises ValueError if the times of a bit are impossible, or a disturbance names no station.
    """
    join = bit if join is None else join
    if not 0 < join <= bit:
        raise ValueError(f"a sample point {join} ticks into a bit of {bit} is not within it")
    arrays = arrays_of(stations, flips, stuck, ticks=1, log_rows=_log_rows(stations))

    def play(loop: Callable[..., Any], memory: Any, now: int, full: int) -> Any:
        return loop(memory, now, until, bit, join, len(stations), full, int(with_levels))

    return _play(play, play_bits, stations, arrays, until=until, ticks_per_ns=1, plainly=plainly)


def run_in_quanta(
    stations: Sequence[Station],
    until_ns: int,
    clockworks: Sequence[Clockwork],
    *,
    delays_ns: Sequence[Sequence[int | Fraction]] | None = None,
    flips: Sequence[Flip | FlipInFrame] = (),
    stuck: Sequence[Stuck] = (),
    with_levels: bool = False,
    plainly: bool = False,
) -> Refereed:
    """Play all stations, each with its clock and bit timing, up to ``until_ns``.

    A tick of ``stations`` and of the disturbances is a nanosecond here. ``delays_ns[receiver][sender]`` is the way from
    a sender's transmitter to a receiver, its own included; without them there is no delay. The result's ticks are so
    fine that every quantum and delay is a whole number of them, or a hundred thousandth of a nanosecond; then quanta
    and delays are rounded to ticks.

    Raises ValueError if the numbers of stations, clocks and delays differ, or a delay is below 0 or above 8 bits.
    """
    nodes = len(stations)
    delays = [[0] * nodes for _ in range(nodes)] if delays_ns is None else delays_ns
    _require_timing(nodes, clockworks, delays)
    times = [*(clock.quantum_ns for clock in clockworks), *(clock.quantum_ns * clock.offset for clock in clockworks)]
    exact = [*times, *(Fraction(delay) for row in delays for delay in row)]
    ticks = min(lcm(*(time.denominator for time in exact)), FINEST_TICKS_PER_NS)
    if until_ns * ticks >= FAR:
        raise ValueError(f"a run of {until_ns} ns is too long for a tick of 1/{ticks} ns")
    arrays = arrays_of(stations, flips, stuck, ticks=ticks, log_rows=_log_rows(stations))
    _wind_up(arrays.memory, clockworks, delays, ticks)

    def play(loop: Callable[..., Any], memory: Any, now: int, full: int) -> Any:
        return loop(memory, now, until_ns * ticks, nodes, full, int(with_levels))

    return _play(play, play_quanta, stations, arrays, until=until_ns * ticks, ticks_per_ns=ticks, plainly=plainly)


def _require_timing(nodes: int, clockworks: Sequence[Clockwork], delays_ns: Sequence[Sequence[int | Fraction]]) -> None:
    if len(clockworks) != nodes or len(delays_ns) != nodes or any(len(row) != nodes for row in delays_ns):
        raise ValueError(f"{nodes} stations need {nodes} clockworks, and {nodes} times {nodes} delays")
    longest = LONGEST_DELAY_BITS * min(clock.setting.bit_ns for clock in clockworks)
    for row in delays_ns:
        for delay in row:
            if not 0 <= delay <= longest:
                raise ValueError(
                    f"a delay of {delay} ns is not within 0..{float(longest):.9g} ns, {LONGEST_DELAY_BITS} bits"
                )


def _wind_up(
    memory: Ints, clockworks: Sequence[Clockwork], delays_ns: Sequence[Sequence[int | Fraction]], ticks: int
) -> None:
    """Set the clockwork of every node, and its delays."""
    for number, (clock, delays) in enumerate(zip(clockworks, delays_ns, strict=True)):
        node = memory[FIRST_NODE + number * MEMORY : FIRST_NODE + (number + 1) * MEMORY]
        segments, quantum = clock.setting.segments, round(clock.quantum_ns * ticks)
        node[layout.QUANTUM] = quantum
        node[layout.TO_SAMPLE], node[layout.AFTER_SAMPLE] = segments.sample_quanta, segments.phase_seg2
        node[layout.JUMP] = segments.sjw
        node[layout.BEGIN] = round(clock.quantum_ns * clock.offset * ticks)
        node[layout.LOOK] = node[layout.BEGIN] + segments.sample_quanta * quantum
        node[layout.LEVEL] = node[layout.OUT] = layout.RECESSIVE_LEVEL
        node[layout.CHANGE_AT] = node[layout.NEXT_ARRIVAL] = FAR
        for sender, delay in enumerate(delays):
            pair = node[layout.PAIRS_FROM] + sender * PAIR
            memory[pair + layout.DELAY], memory[pair + layout.ARRIVES] = round(delay * ticks), FAR


def _log_rows(stations: Sequence[Station]) -> int:
    return ROWS + len(stations) * ROWS_A_BIT


def _play(
    play: Callable[..., Any],
    loop: Callable[..., Any],
    stations: Sequence[Station],
    arrays: Arrays,
    *,
    until: int,
    ticks_per_ns: int,
    plainly: bool,
) -> Refereed:
    """Play on until the end, and gather the rows of the log."""
    memory: Any = arrays.memory.tolist() if plainly else arrays.memory  # a list is what plain Python is fast on
    loop = interpreted(loop) if plainly else loop
    first, reached, parts = arrays.log_from, 0, [np.empty(0, np.int64)]
    while reached < until:
        memory[NEXT_ROW] = first
        reached = int(play(loop, memory, reached, first + ROWS * ROW))
        parts.append(np.array(memory[first : int(memory[NEXT_ROW])], np.int64))
    nodes = range(FIRST_NODE, FIRST_NODE + len(stations) * MEMORY, MEMORY)
    counters = tuple(Counters(int(memory[at + layout.TEC]), int(memory[at + layout.REC])) for at in nodes)
    return refereed(
        tuple(station.name for station in stations), ticks_per_ns, reached, np.concatenate(parts), arrays, counters
    )
