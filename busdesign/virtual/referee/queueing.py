"""The frames that a node has ready: a heap, the most urgent first, equals in the order in which they became ready.

Frames stand in the array in that very order, node by node, so that the heap holds and compares their places.
"""

from busdesign.compiled import compiled_within
from busdesign.virtual.referee.layout import (
    HEAP_FROM,
    HEAP_SIZE,
    NEVER,
    NEXT_READY,
    READY,
    READY_END,
    Ints,
)


@compiled_within
def push(m: Ints, base: int, frame: int) -> None:
    """Put ``frame`` into the queue of the node."""
    first, place = m[base + HEAP_FROM], m[base + HEAP_SIZE]
    m[base + HEAP_SIZE] = place + 1
    while place > 0:
        above = (place - 1) // 2
        if m[first + above] <= frame:
            break
        m[first + place] = m[first + above]
        place = above
    m[first + place] = frame


@compiled_within
def pop(m: Ints, base: int) -> int:
    """Take the most urgent frame out of the queue of the node, which must not be empty."""
    first, size = m[base + HEAP_FROM], m[base + HEAP_SIZE] - 1
    m[base + HEAP_SIZE] = size
    taken, moved = m[first], m[first + size]
    place = 0
    while 2 * place + 1 < size:
        below = 2 * place + 1
        if below + 1 < size and m[first + below + 1] < m[first + below]:
            below += 1
        if m[first + below] >= moved:
            break
        m[first + place] = m[first + below]
        place = below
    m[first + place] = moved
    return int(taken)


@compiled_within
def next_ready(m: Ints, base: int) -> int:
    """When the node's next frame becomes ready, or NEVER."""
    place = m[base + NEXT_READY]
    if place >= m[base + READY_END]:
        return NEVER
    return int(m[m[place] + READY])


@compiled_within
def take_ready(m: Ints, base: int, limit: int) -> bool:
    """Queue all frames of the node that are ready before ``limit``; whether any is queued then."""
    while next_ready(m, base) < limit:
        push(m, base, m[m[base + NEXT_READY]])
        m[base + NEXT_READY] += 1
    return bool(m[base + HEAP_SIZE] > 0)
