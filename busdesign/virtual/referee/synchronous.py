"""The pair bit by bit, all nodes on one clock and at one place: all drive, the pair is wired-AND, all sample."""

from busdesign.compiled import compiled, compiled_within
from busdesign.virtual.referee.disturbances import all_quiet_until, calm_until, driven, first_disturbances, sampled
from busdesign.virtual.referee.layout import (
    DRIVES,
    FIRST_NODE,
    FRAME,
    IDLE,
    LATEST_LEVEL,
    LEVELS,
    MEMORY,
    NEXT_ROW,
    NONE,
    PHASE,
    RECESSIVE_LEVEL,
    Ints,
)
from busdesign.virtual.referee.machine import add_row, offer, step


@compiled_within
def _offer_all(m: Ints, now: int, nodes: int) -> None:
    for node in range(nodes):
        base = FIRST_NODE + node * MEMORY
        if m[base + PHASE] == IDLE:
            m[base + DRIVES] = offer(m, base, now)


@compiled
def play_bits(m: Ints, now: int, until: int, bit: int, join: int, nodes: int, full: int, with_levels: int) -> int:
    """Play from tick ``now`` on, until ``until`` or until the log is ``full``; the tick reached.

    A bit is ``bit`` ticks long, and sampled ``join`` ticks after its start. Where nobody has anything to do, time
    goes on to the next tick at which somebody has, and bits are counted from there: all nodes synchronise hard on it.
    """
    if now == 0:
        for node in range(nodes):
            first_disturbances(m, FIRST_NODE + node * MEMORY)
        m[LATEST_LEVEL] = NONE
        _offer_all(m, now, nodes)
    idles, calm = now == 0, calm_until(m, nodes)
    while m[NEXT_ROW] < full:
        if idles:
            quiet = min(until, all_quiet_until(m, nodes))
            if quiet > now:
                now = quiet
                _offer_all(m, now, nodes)
        if now >= until:
            break
        end, level = now + bit, RECESSIVE_LEVEL
        for node in range(nodes):
            base = FIRST_NODE + node * MEMORY
            level &= m[base + DRIVES] if end <= calm else driven(m, base, now)
        if with_levels and level != m[LATEST_LEVEL]:
            m[LATEST_LEVEL] = level
            at = add_row(m, FIRST_NODE, now)
            m[at], m[at + 5] = LEVELS, level
        for node in range(nodes):
            base = FIRST_NODE + node * MEMORY
            seen = level if end <= calm else sampled(m, base, level, now, end)
            m[base + DRIVES] = step(m, base, seen, now, now + join, end)
        now = end
        if calm < now:
            calm = calm_until(m, nodes)
        idles = level == RECESSIVE_LEVEL and m[FIRST_NODE + PHASE] != FRAME
    return now
