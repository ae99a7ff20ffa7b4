"""The pair in time: every node by its own clock, with its own bit timing, at its own distance from the others.

Event by event: a node samples, it changes what it drives, a change of another node arrives at it. What a node does in
its quanta is that of `wire.sampling`: it hard-synchronises on an edge to dominant while the bus is idle, integrating,
suspended or in the second and third bit of intermission; it resynchronises on one such edge between two samples, if
the sample before was recessive; the quantum in which the edge fell becomes, or moves towards, the sync segment. A node
that drives dominant itself does not lengthen its bit (ISO 11898-1:2015, 11.3.2, number from memory). An edge is
noticed at the end of its quantum, so that what the node drives after an early one begins there at the soonest.

Two things of one tick happen in this order: samples, changes of what is driven, arrivals.
"""

from busdesign.compiled import compiled, compiled_within
from busdesign.virtual.referee.disturbances import all_quiet_until, driven, first_disturbances, sampled
from busdesign.virtual.referee.layout import (
    AFTER_SAMPLE,
    ARRIVES,
    BEGIN,
    CHANGE_AT,
    CHANGES,
    COUNT,
    DELAY,
    DOMINANT_LEVEL,
    DRIVES,
    DUE,
    FAR,
    FIRST_NODE,
    FRAME,
    IDLE,
    INTEGRATING,
    INTERMISSION,
    IS_BUS_OFF,
    JUMP,
    LEVEL,
    LEVELS,
    LOOK,
    MEMORY,
    NEXT_ARRIVAL,
    NEXT_ROW,
    OUT,
    PAIR,
    PAIRS_FROM,
    PHASE,
    QUANTUM,
    RAW,
    RECENT,
    RECENT_FROM,
    RECESSIVE_LEVEL,
    SEEN_DOMINANT,
    SUSPENDED,
    SWITCHED_OFF,
    SYNCHRONISED,
    TAKEN,
    TO_SAMPLE,
    Ints,
)
from busdesign.virtual.referee.machine import add_row, offer, step

SAMPLE, CHANGE, ARRIVAL = range(3)


@compiled_within
def _set_due(m: Ints, base: int) -> None:
    """Find the node's next event."""
    own = min(m[base + LOOK] * 4 + SAMPLE, m[base + CHANGE_AT] * 4 + CHANGE)
    m[base + DUE] = min(own, m[base + NEXT_ARRIVAL] * 4 + ARRIVAL)


@compiled_within
def _may_synchronise_hard(m: Ints, base: int) -> bool:
    phase = m[base + PHASE]
    if phase == INTERMISSION:
        return bool(m[base + COUNT] > 0)
    if phase == FRAME:  # about to send its start of frame
        return bool(m[base + RAW] == 0 and m[base + OUT] == RECESSIVE_LEVEL)
    return phase in (IDLE, SUSPENDED, INTEGRATING, IS_BUS_OFF, SWITCHED_OFF)


@compiled_within
def _edge(m: Ints, base: int, tick: int) -> None:
    """An edge to dominant reaches the node."""
    if m[base + SYNCHRONISED] or m[base + LEVEL] != RECESSIVE_LEVEL:
        return
    quantum, begin = m[base + QUANTUM], m[base + BEGIN]
    late = (tick - begin) // quantum  # in quanta; below 0: early
    noticed = begin + (late + 1) * quantum
    if _may_synchronise_hard(m, base):
        m[base + BEGIN] = begin + late * quantum
        m[base + LOOK] = m[base + BEGIN] + m[base + TO_SAMPLE] * quantum
        if m[base + CHANGE_AT] != FAR:
            m[base + CHANGE_AT] = min(m[base + CHANGE_AT], noticed)
    elif late >= 0:
        if late > 0 and m[base + OUT] == DOMINANT_LEVEL:
            return
        m[base + LOOK] += min(late, m[base + JUMP]) * quantum
    else:
        jump = min(-late, m[base + JUMP]) * quantum
        m[base + BEGIN] -= jump
        m[base + LOOK] -= jump
        if m[base + CHANGE_AT] != FAR:
            m[base + CHANGE_AT] = max(m[base + BEGIN], noticed)
    m[base + SYNCHRONISED] = 1


@compiled_within
def _change(m: Ints, base: int, node: int, nodes: int, tick: int) -> None:
    """The node's transmitter changes its level; the change is on its way to all nodes, itself among them."""
    m[base + OUT], m[base + CHANGE_AT] = 1 - m[base + OUT], FAR
    m[m[base + RECENT_FROM] + m[base + CHANGES] % RECENT] = tick
    m[base + CHANGES] += 1
    for other in range(nodes):
        receiver = FIRST_NODE + other * MEMORY
        pair = m[receiver + PAIRS_FROM] + node * PAIR
        if m[base + CHANGES] - m[pair + TAKEN] == 1:  # none is on its way before it
            m[pair + ARRIVES] = tick + m[pair + DELAY]
            m[receiver + NEXT_ARRIVAL] = min(m[receiver + NEXT_ARRIVAL], m[pair + ARRIVES])
            _set_due(m, receiver)


@compiled_within
def _arrive(m: Ints, base: int, nodes: int, tick: int) -> None:
    """All changes that reach the node at ``tick``; an edge is what the pair shows after them."""
    was_recessive, soonest = m[base + SEEN_DOMINANT] == 0, FAR
    for node in range(nodes):
        sender, pair = FIRST_NODE + node * MEMORY, m[base + PAIRS_FROM] + node * PAIR
        while m[pair + ARRIVES] == tick:
            taken = m[pair + TAKEN] + 1
            m[base + SEEN_DOMINANT] += 1 if taken % 2 else -1  # the first change is to dominant
            m[pair + TAKEN], m[pair + ARRIVES] = taken, FAR
            if taken < m[sender + CHANGES]:
                m[pair + ARRIVES] = m[m[sender + RECENT_FROM] + taken % RECENT] + m[pair + DELAY]
        soonest = min(soonest, m[pair + ARRIVES])
    m[base + NEXT_ARRIVAL] = soonest
    if was_recessive and m[base + SEEN_DOMINANT]:
        _edge(m, base, tick)


@compiled_within
def _skip_idle_bits(m: Ints, until: int, nodes: int) -> None:
    """Where nobody has anything to do, move every node on by whole bits of its own clock."""
    quiet = min(until, all_quiet_until(m, nodes))
    if quiet == 0:
        return
    for node in range(nodes):
        base = FIRST_NODE + node * MEMORY
        if m[base + DUE] != m[base + LOOK] * 4 or m[base + SEEN_DOMINANT]:
            return
    for node in range(nodes):
        base = FIRST_NODE + node * MEMORY
        bit = (m[base + TO_SAMPLE] + m[base + AFTER_SAMPLE]) * m[base + QUANTUM]
        skipped = max(0, (quiet - m[base + LOOK]) // bit - 1) * bit
        m[base + BEGIN] += skipped
        m[base + LOOK] += skipped
        m[base + DUE] += skipped * 4


@compiled_within
def _begin(m: Ints, nodes: int) -> None:
    """Let the nodes that are on the bus offer what they have, in their first bit."""
    for node in range(nodes):
        base = FIRST_NODE + node * MEMORY
        begin = m[base + BEGIN]
        first_disturbances(m, base)
        if m[base + PHASE] == IDLE:
            m[base + DRIVES] = offer(m, base, begin)
        if driven(m, base, begin) != m[base + OUT]:
            m[base + CHANGE_AT] = begin
        _set_due(m, base)


@compiled_within
def _sample(m: Ints, base: int, tick: int) -> None:
    """The node samples, makes of it what it makes, and knows its next bit."""
    begin, end = m[base + BEGIN], tick + m[base + AFTER_SAMPLE] * m[base + QUANTUM]
    level = DOMINANT_LEVEL if m[base + SEEN_DOMINANT] else RECESSIVE_LEVEL
    seen = sampled(m, base, level, begin, end)
    m[base + DRIVES] = step(m, base, seen, begin, tick, end)
    m[base + BEGIN], m[base + LOOK] = end, end + m[base + TO_SAMPLE] * m[base + QUANTUM]
    m[base + SYNCHRONISED], m[base + LEVEL] = 0, seen
    m[base + CHANGE_AT] = end if driven(m, base, end) != m[base + OUT] else FAR


@compiled
def play_quanta(m: Ints, now: int, until: int, nodes: int, full: int, with_levels: int) -> int:
    """Play on from tick ``now`` until tick ``until``, or until the log is ``full``; the tick reached."""
    if now == 0:
        _begin(m, nodes)
    while m[NEXT_ROW] < full:
        soonest, node = m[FIRST_NODE + DUE], 0
        for other in range(1, nodes):
            due = m[FIRST_NODE + other * MEMORY + DUE]
            if due < soonest:
                soonest, node = due, other
        tick, kind, base = soonest >> 2, soonest & 3, FIRST_NODE + node * MEMORY
        if tick >= until:
            return int(tick)
        if kind == SAMPLE:
            _sample(m, base, tick)
        elif kind == ARRIVAL:
            _arrive(m, base, nodes, tick)
        else:
            _change(m, base, node, nodes, tick)
            if with_levels:
                at = add_row(m, base, tick)
                m[at], m[at + 5] = LEVELS, m[base + OUT]
        _set_due(m, base)
        if node == 0 and kind == SAMPLE and m[base + PHASE] != FRAME:
            _skip_idle_bits(m, until, nodes)
    return int(soonest >> 2)
