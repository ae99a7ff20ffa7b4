"""Faults of an application: every frame is in order on the wire, and what it says, or when, is not."""

from busdesign.scenario.faults.kind import FaultKind

_GATE = "a receiver with `accept` judges it; one without believes it"

LATE = FaultKind(
    name="late",
    meaning="the message's releases are late by `by`, all of them, or the node's",
    bus="frames come later; nothing else",
    counters="none of them changes",
    assumed="the application's deadline is missed before the controller has the frame",
    needs=("by",),
    takes=("node", "message"),
    more="message: leg_demand",
)
JITTERING = FaultKind(
    name="jittering",
    meaning="the message's releases, or the node's, are late by a random part of `by`",
    bus="frames come unevenly; they stay in order",
    counters="none of them changes",
    assumed="uniform from 0 to `by`, an assumption",
    needs=("by",),
    takes=("node", "message", "seed"),
    more="node: panel",
)
DUPLICATE_IDENTIFIER = FaultKind(
    name="duplicate_identifier",
    meaning="the node sends frames with the message's identifier too, every `every` (else as often as the message)",
    bus="receivers cannot tell them apart; where both start at once both win, and the first bit in which they "
    "differ is an error, again and again",
    counters="collisions add 8 to the transmit counter of the sender that is followed, up to error passive",
    assumed="zeros as data; the second sender of a collision counts as a receiver of it: coarser than the wire",
    needs=("node", "message"),
    takes=("every",),
    more="message: lamp_report",
)
CORRUPTED = FaultKind(
    name="corrupted",
    meaning="bits of the payload are turned over before it is sent: one of them, or one at random in each frame",
    bus="nothing: the frame's own CRC fits",
    counters="none of them changes: only the application's check can tell",
    assumed=_GATE,
    needs=("message",),
    takes=("payload_bit", "seed"),
    more="payload_bit: 3",
)
REPEATED = FaultKind(
    name="repeated",
    meaning="every frame of the message goes out twice, one behind the other",
    bus="twice the load of the message",
    counters="none of them changes: the message's own counter does not move on",
    assumed=_GATE,
    needs=("message",),
)
LOST = FaultKind(
    name="lost",
    meaning="the message's frames do not go out, while its counter goes on; with `one_in` only each so many-th",
    bus="its frames are missing",
    counters="none of them changes: the message's own counter moves on by more than it should",
    assumed=_GATE,
    needs=("message",),
    takes=("one_in",),
    more="one_in: 4",
)
SWAPPED = FaultKind(
    name="swapped",
    meaning="of each two frames of the message the second one goes out before the first",
    bus="two frames at once, a period late",
    counters="none of them changes: the message's own counter jumps to and fro",
    assumed=_GATE,
    needs=("message",),
)
STALE = FaultKind(
    name="stale",
    meaning="the message goes on with the payload that it had, counter and all: the application hangs, its "
    "controller goes on",
    bus="nothing: frames come as ever",
    counters="none of them changes: the message's own counter stands still",
    assumed=_GATE,
    needs=("message",),
)

KINDS = (LATE, JITTERING, DUPLICATE_IDENTIFIER, CORRUPTED, REPEATED, LOST, SWAPPED, STALE)
