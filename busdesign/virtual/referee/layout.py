"""Where things stand in the referee's one flat array: the memory of a node, a frame, a row of the log.

Everything is a whole number in one flat array, so that the same loop runs compiled over an array and plainly over a
list. One array, since a compiled call counts references for each that it is handed. A frame, a stretch of bits or of a
script is known by its place in the array.
"""

from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

Ints: TypeAlias = NDArray[np.int64]

NEXT_ROW, LATEST_LEVEL, FIRST_NODE = 0, 1, 8  # where the next row of the log goes; the memory of the first node

# The memory of one node, MEMORY numbers from ``base`` on.
(
    NODE,
    PHASE,
    TEC,
    REC,
    TRANSMITS,  # 1 from its start of frame (or joining one) until it loses, or the bus is idle
    CURRENT,  # the frame it is committed to, or NONE
    LAID_OUT,  # the frame whose bits stand at WIRE_FROM
    START,  # tick of the start of frame
    STARTS,  # starts of frame counted so far
    BIT,  # sampled since the latest start of frame, which is bit 0
    RUN,  # equal bits in a row
    LAST,  # the latest bit
    RAW,  # bits of the frame taken in, without stuff bits
    CRC,
    HEADER,
    DATA_FROM,  # in RAW
    RAW_END,  # in RAW
    HIGH,  # data, as a number of 32 bits each
    LOW,
    COUNT,  # of the bits of a field, a flag or a delimiter
    AFTER,  # which flag the node waits after
    DOMINANT,  # dominant bits after that flag
    UNCOUNTED,  # 1: a passive flag for a missing acknowledgement that has not raised TEC
    EXCUSED,  # 1: the stuff error does not raise TEC
    RECOVERS,  # 1: bus off, and counting towards its recovery
    RUNS,
    AUTOMATIC,  # 1: recovers without being asked
    ON_AT,  # tick
    WIRE_FROM,
    HEAP_FROM,
    HEAP_SIZE,
    NEXT_READY,  # in the order of becoming ready
    READY_END,
    REQUEST,  # in the script, as are the six below
    REQUEST_END,
    FLIP,
    FLIP_END,
    PLACED,
    PLACED_END,
    STUCK,
    STUCK_END,
    FLIP_AT,  # the next flip by time
    PLACED_START,  # the next flip by place: which start of frame, which bit
    PLACED_BIT,
    STUCK_FROM,
    STUCK_UNTIL,
    STUCK_LEVEL,
    DRIVES,  # the level now driven, before anything is stuck
    # The clockwork, in a run by quanta; times in ticks, segments in quanta.
    QUANTUM,
    TO_SAMPLE,
    AFTER_SAMPLE,
    JUMP,
    BEGIN,  # of the bit that is sampled next
    LOOK,  # when that is
    SYNCHRONISED,  # 1: no other synchronisation before the next sample
    LEVEL,  # as sampled last
    OUT,  # what the transmitter drives
    CHANGE_AT,  # when it changes, or FAR
    CHANGES,  # of OUT, so far
    RECENT_FROM,  # the ticks of the latest of them, RECENT numbers
    SEEN_DOMINANT,  # how many nodes are seen to drive dominant
    PAIRS_FROM,  # PAIR numbers for each sender
    NEXT_ARRIVAL,  # the soonest of them
    DUE,  # the next event: its tick times four, and its kind
    MEMORY,
) = range(65)

# Phases, in the order of a frame.
(
    IDLE,
    FRAME,
    CRC_DELIMITER,
    ACKNOWLEDGE_SLOT,
    ACKNOWLEDGE_DELIMITER,
    END_OF_FRAME,
    INTERMISSION,
    SUSPENDED,
    ACTIVE_FLAG,
    PASSIVE_FLAG,
    OVERLOAD_FLAG,
    AFTER_FLAG,
    DELIMITER,
    INTEGRATING,
    IS_BUS_OFF,
    SWITCHED_OFF,
) = range(16)

# One frame, FRAME_WIDTH numbers.
READY, IDENTIFIER, EXTENDED, REMOTE, LENGTH_CODE, DATA_HIGH, DATA_LOW, FRAME_WIDTH = range(8)

# One bit of a frame laid out: its level, and what it is.
STUFF_BIT, ARBITRATION = 2, 4
WIRE_ROOM = 192  # bits a node; the longest stuffed stretch, of an extended frame of 8 bytes, has 118 + 29

# What a node knows of a sender: the delay, how many of its changes have arrived, when the next does, or FAR.
DELAY, TAKEN, ARRIVES, PAIR = range(4)
FAR = 1 << 59  # ticks; times four still a machine word
RECENT = 64  # changes that are remembered until they have arrived

# One row of the log, ROW numbers: its kind, tick, node, the node's start of frame and bit, and four more.
ATTEMPT, RECEPTION, COUNTING, FLAG, LEVELS = range(5)
ROW = 9

# How an attempt ended, and which error a flag signals.
SENT, LOST, BIT_ERROR, STUFF_ERROR, CRC_ERROR, FORM_ERROR, ACKNOWLEDGE_ERROR, OVERLOAD = range(8)

NONE = -1
NEVER = 1 << 62  # ticks
DOMINANT_LEVEL, RECESSIVE_LEVEL = 0, 1
