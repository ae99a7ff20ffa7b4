"""What disturbs a node: a flip of what it samples, a transmitter that is stuck. And how long a node has nothing to do.

Each node reads its own stretches of ``script``, sorted by time, with a place in each.
"""

from busdesign.compiled import compiled_within
from busdesign.virtual.referee.layout import (
    BIT,
    DRIVES,
    FIRST_NODE,
    FLIP,
    FLIP_AT,
    FLIP_END,
    HEAP_SIZE,
    IDLE,
    IS_BUS_OFF,
    MEMORY,
    NEVER,
    ON_AT,
    PHASE,
    PLACED,
    PLACED_BIT,
    PLACED_END,
    PLACED_START,
    RECOVERS,
    REQUEST,
    REQUEST_END,
    STARTS,
    STUCK,
    STUCK_END,
    STUCK_FROM,
    STUCK_LEVEL,
    STUCK_UNTIL,
    SWITCHED_OFF,
    Ints,
)
from busdesign.virtual.referee.queueing import next_ready


@compiled_within
def _next_flip(m: Ints, base: int) -> None:
    place = m[base + FLIP]
    m[base + FLIP_AT] = m[place] if place < m[base + FLIP_END] else NEVER
    m[base + FLIP] = place + 1


@compiled_within
def _next_placed(m: Ints, base: int) -> None:
    place = m[base + PLACED]
    if place < m[base + PLACED_END]:
        m[base + PLACED_START], m[base + PLACED_BIT] = m[place], m[place + 1]
    else:
        m[base + PLACED_START] = NEVER
    m[base + PLACED] = place + 2


@compiled_within
def _next_stuck(m: Ints, base: int) -> None:
    place = m[base + STUCK]
    if place < m[base + STUCK_END]:
        m[base + STUCK_FROM], m[base + STUCK_UNTIL] = m[place], m[place + 1]
        m[base + STUCK_LEVEL] = m[place + 2]
    else:
        m[base + STUCK_FROM], m[base + STUCK_UNTIL] = NEVER, NEVER
    m[base + STUCK] = place + 3


@compiled_within
def first_disturbances(m: Ints, base: int) -> None:
    """Look up the first of each kind, before the run."""
    _next_flip(m, base)
    _next_placed(m, base)
    _next_stuck(m, base)


@compiled_within
def _flips_now(m: Ints, base: int, begin: int, end: int) -> int:
    flips = 0
    while m[base + FLIP_AT] < end:
        if m[base + FLIP_AT] >= begin:
            flips ^= 1
        _next_flip(m, base)
    start, bit = m[base + STARTS], m[base + BIT] + 1
    while m[base + PLACED_START] < start or (m[base + PLACED_START] == start and m[base + PLACED_BIT] <= bit):
        if m[base + PLACED_START] == start and m[base + PLACED_BIT] == bit:
            flips ^= 1
        _next_placed(m, base)
    return flips


@compiled_within
def sampled(m: Ints, base: int, level: int, begin: int, end: int) -> int:
    """What the node takes ``level`` for, in its bit from ``begin`` to ``end``."""
    if m[base + FLIP_AT] < end or m[base + PLACED_START] <= m[base + STARTS]:
        return level ^ int(_flips_now(m, base, begin, end))
    return level


@compiled_within
def driven(m: Ints, base: int, begin: int) -> int:
    """What the node's transmitter drives in the bit that begins at ``begin``."""
    while begin >= m[base + STUCK_UNTIL]:
        _next_stuck(m, base)
    return int(m[base + STUCK_LEVEL] if begin >= m[base + STUCK_FROM] else m[base + DRIVES])


@compiled_within
def calm_until(m: Ints, nodes: int) -> int:
    """The tick before which nothing disturbs a node; 0 if one may be disturbed at any time."""
    until = NEVER
    for node in range(nodes):
        base = FIRST_NODE + node * MEMORY
        if m[base + PLACED_START] != NEVER:
            return 0
        until = min(until, m[base + FLIP_AT], m[base + STUCK_FROM])
    return int(until)


@compiled_within
def quiet_until(m: Ints, base: int) -> int:
    """The tick before which the node does nothing, as long as the pair is recessive; 0 if it is busy."""
    phase, until = m[base + PHASE], NEVER
    if phase == IDLE and m[base + HEAP_SIZE] == 0:
        until = next_ready(m, base)
    elif phase == SWITCHED_OFF:
        until = m[base + ON_AT]
    elif phase == IS_BUS_OFF and not m[base + RECOVERS]:
        if m[base + REQUEST] < m[base + REQUEST_END]:
            until = m[m[base + REQUEST]]
    else:
        return 0
    return int(min(until, m[base + FLIP_AT], m[base + STUCK_FROM]))


@compiled_within
def all_quiet_until(m: Ints, nodes: int) -> int:
    """The tick before which no node does anything; 0 if one is busy."""
    until = NEVER
    for node in range(nodes):
        until = min(until, quiet_until(m, FIRST_NODE + node * MEMORY))
        if until == 0:
            return 0
    return int(until)
