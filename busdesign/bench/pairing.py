"""Which frame of one recording is which of another: the frames of one identifier, in their order.

Two frames can be one if they lie no further apart than half of the message's usual distance. A frame between two of
the other recording goes to the nearer one. Importing this module loads numba.
"""

import numpy as np
from numpy.typing import NDArray

from busdesign.compiled import compiled

NOTHING = -1
GAIN = 0.125  # how quickly a message's own phase is followed


@compiled
def pair(
    old_ns: NDArray[np.int64],
    new_ns: NDArray[np.int64],
    until_ns: int,
    reach_ns: int,
    follows: bool,
    phase: NDArray[np.float64],
    pairs: NDArray[np.int64],
    apart_ns: NDArray[np.int64],
) -> tuple[int, int, int]:
    """Pair ascending times up to ``until_ns``; return how many of each were used up, and how many rows were filled.

    ``pairs`` [n, 2]: places in the two, NOTHING for a frame that is in one only; ``apart_ns`` [n]: how much later the
    second one came. ``phase`` [2]: where ``follows``, how much later the message comes in the second recording anyway,
    which is followed slowly from its first pair on; and whether it is known.
    """
    one, other, rows = 0, 0, 0
    while True:
        has_one = one < old_ns.size and old_ns[one] <= until_ns
        has_other = other < new_ns.size and new_ns[other] <= until_ns
        if not has_one and not has_other:
            break
        first, second = NOTHING, NOTHING
        apart = 0
        if one < old_ns.size and other < new_ns.size:
            apart = new_ns[other] - old_ns[one] - np.int64(phase[0])
            if apart > reach_ns:
                first = one
            elif apart < -reach_ns:
                second = other
            elif one + 1 < old_ns.size and abs(apart - (old_ns[one + 1] - old_ns[one])) < abs(apart):
                first = one
            elif other + 1 < new_ns.size and abs(apart + (new_ns[other + 1] - new_ns[other])) < abs(apart):
                second = other
            else:
                first, second = one, other
        elif one < old_ns.size:
            first = one
        else:
            second = other
        if (first == NOTHING and not has_other) or (second == NOTHING and not has_one):
            break
        is_first_pair = follows and phase[1] == 0.0
        pairs[rows, 0], pairs[rows, 1], apart_ns[rows] = first, second, 0 if is_first_pair else apart
        rows += 1
        one += first != NOTHING
        other += second != NOTHING
        if follows and first != NOTHING and second != NOTHING:
            phase[0] += apart * (GAIN if phase[1] else 1.0)
            phase[1] = 1.0
    return one, other, rows
