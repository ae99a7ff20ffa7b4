"""Faults of single bits: what some nodes read wrong, whoever is to blame."""

from busdesign.scenario.faults.kind import FaultKind

SEEN_BY = "all"  # who reads it wrong, where an entry does not say

FLIPPED_BIT = FaultKind(
    name="flipped_bit",
    meaning="one bit of the n-th frame of a message is read wrong, by all or by the nodes in `seen_by`",
    bus="an error frame, and the frame is sent again; in the last bits of the end of frame as `end_of_frame_error` "
    "says",
    counters="the sender's transmit counter rises by 8, the receive counters of those that saw it first by 1 or 9; "
    "each "
    "good frame takes 1 back",
    assumed="Bosch CAN 2.0 (1991), error handling and fault confinement, from memory; the bit is read wrong, not "
    "sent wrong",
    needs=("message", "frame", "bit"),
    takes=("field", "attempts", "seen_by"),
    has_end=False,
)
FLIPPED_BITS = FaultKind(
    name="flipped_bits",
    meaning="every bit on the pair is read wrong with the probability `rate`, independently",
    bus="error frames and repetitions at random; the load rises with the rate",
    counters="as after `flipped_bit`, again and again: above some rate nodes become error passive, then bus off",
    assumed="independent bits: an assumption, real disturbances come in bursts",
    needs=("rate",),
    takes=("seed", "seen_by"),
    more="seed: 3",
)
BURST = FaultKind(
    name="burst",
    meaning="every bit within `lasts` is read wrong, once or every so often (`every`)",
    bus="nothing gets through while it lasts; frames that were hit are sent again behind it",
    counters="the sender that was hit counts 8 for the frame and for each error flag that is disturbed in its turn",
    assumed="all bits are turned over: the worst burst there is, an assumption",
    needs=("lasts",),
    takes=("every", "seen_by"),
    more="every: 100 ms",
)
END_OF_FRAME_ERROR = FaultKind(
    name="end_of_frame_error",
    meaning="the nodes in `seen_by` read a dominant level in the last but one bit of the end of frame",
    bus="the others have taken the frame already when it is sent again: they hear it twice, or, if the sender falls "
    "silent before, those in `seen_by` not at all",
    counters="the sender counts 8, those that read it wrong 1; the others have a good frame, then the repetition",
    assumed="receivers take a frame after the last but one bit of its end, the transmitter after the last one: Bosch "
    "CAN "
    "2.0 (1991), message validation, from memory",
    needs=("message", "frame", "seen_by"),
    takes=("attempts",),
    has_end=False,
)

KINDS = (FLIPPED_BIT, FLIPPED_BITS, BURST, END_OF_FRAME_ERROR)
