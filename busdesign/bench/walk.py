"""The distances of all messages in one compiled pass: what `periods` makes sense of.

Importing this module loads numba.
"""

import numpy as np
from numpy.typing import NDArray

from busdesign.compiled import compiled

# Columns of the state, one row a message.
COUNT, FIRST_END, LAST_END, LAST_START, STAMP_LEAST, STAMP_MOST = range(6)
STEPS, STEPS_SUM, STEP_LEAST, STEP_MOST, GOOD, GOOD_SUM, GOOD_RUNS, WAS_GOOD = range(6, 14)
STATE_COLUMNS = 14
# Columns of the rules, one row a message; a period of 0 says that the message is irregular.
PERIOD, SHORTEST, LONGEST, REACH = range(4)
RULE_COLUMNS = 4

NEVER_LESS, NEVER_MORE = np.iinfo(np.int64).min, np.iinfo(np.int64).max


def new_state(messages: int) -> NDArray[np.int64]:
    """Nothing seen yet."""
    state = np.zeros((messages, STATE_COLUMNS), np.int64)
    state[:, [STAMP_LEAST, STEP_LEAST]] = NEVER_MORE
    state[:, [STAMP_MOST, STEP_MOST]] = NEVER_LESS
    return state


@compiled
def walk(
    which: NDArray[np.int16],
    start_ns: NDArray[np.int64],
    end_ns: NDArray[np.int64],
    state: NDArray[np.int64],
    rules: NDArray[np.int64],
    histogram: NDArray[np.int64],
    origin_ns: int,
    bin_ns: int,
    least: NDArray[np.int64],
    most: NDArray[np.int64],
    odd_rows: NDArray[np.int64],
    odd_distances: NDArray[np.int64],
) -> int:
    """Go over the frames of a block; return how many distances lie beyond the rules, having put them into the last two.

    ``least`` and ``most`` [message, bin] are the least and greatest distance that ended in each bin from
    ``origin_ns`` on; all bins that are needed are there.
    """
    odd = 0
    middle_bins = histogram.shape[1]
    for row in range(which.size):
        message = which[row]
        if message < 0:
            continue
        own, rule = state[message], rules[message]
        start, end = start_ns[row], end_ns[row]
        own[COUNT] += 1
        if own[COUNT] == 1:
            own[FIRST_END] = end
        else:
            stamp, distance = end - own[LAST_END], start - own[LAST_START]
            own[STAMP_LEAST] = min(own[STAMP_LEAST], stamp)
            own[STAMP_MOST] = max(own[STAMP_MOST], stamp)
            place = max(end - origin_ns, 0) // bin_ns
            least[message, place] = min(least[message, place], distance)
            most[message, place] = max(most[message, place], distance)
            period = rule[PERIOD]
            if period:
                if period < 2 * distance < 3 * period:
                    own[STEPS] += 1
                    own[STEPS_SUM] += distance
                    own[STEP_LEAST] = min(own[STEP_LEAST], distance)
                    own[STEP_MOST] = max(own[STEP_MOST], distance)
                reach = rule[REACH]
                away = min(max(distance - period + reach, 0), 2 * reach)
                histogram[message, away * middle_bins // (2 * reach + 1)] += 1
            is_good = rule[SHORTEST] <= distance <= rule[LONGEST]
            if is_good:
                own[GOOD] += 1
                own[GOOD_SUM] += distance
                own[GOOD_RUNS] += 1 - own[WAS_GOOD]
                own[WAS_GOOD] = 1
            else:
                own[WAS_GOOD] = 0
                odd_rows[odd], odd_distances[odd] = row, distance
                odd += 1
        own[LAST_END], own[LAST_START] = end, start
    return odd
