"""Faults of a node: its power, its transmitter, its controller."""

from busdesign.scenario.faults.kind import FaultKind

_ALONE = "Bosch CAN 2.0 (1991), fault confinement, exception for a transmitter without acknowledge, from memory"

SILENT = FaultKind(
    name="silent",
    meaning="the node sends nothing, but runs on and hears",
    bus="its messages stay away; all others have more room",
    counters="none of them changes",
    assumed="it still acknowledges: common practice, no source",
    needs=("node",),
)
RESET = FaultKind(
    name="reset",
    meaning="the node loses its power until `until`, and its model begins anew `restart` later",
    bus="its messages stay away, a frame of its own that is on the pair is cut off; others lack its acknowledge",
    counters="its own begin at 0 when it comes back; its message counters begin anew too",
    assumed="what it shows stays as it was until it begins anew: an assumption, for which a model may override "
    "`power_lost`",
    needs=("node",),
    takes=("restart",),
    more="restart: 300 ms",
)
BROWN_OUT = FaultKind(
    name="brown_out",
    meaning="the unit's voltage falls to `voltage`: below its `at_least` it is off and begins anew, else nothing "
    "happens",
    bus="as with `reset`, or nothing",
    counters="as with `reset`, or nothing",
    assumed="a unit whose `supply` is not in the catalogue does not bear it: an assumption",
    needs=("node", "voltage"),
    takes=("restart",),
)
BABBLING = FaultKind(
    name="babbling",
    meaning="the node floods the bus with frames of `id`, one every `every`",
    bus="everything of lower priority waits or is lost; an `id` of the catalogue is heard as that message",
    counters="none of them changes: every frame is in order",
    assumed="zeros as data; no bus guardian stops it",
    needs=("node", "id", "every"),
    takes=("extended", "bytes"),
)
STUCK_DOMINANT = FaultKind(
    name="stuck_dominant",
    meaning="the node's transmitter holds the pair dominant, for `time_out` at most where its transceiver has one",
    bus="nothing gets through while it lasts; after the time-out the node is cut off and the others go on",
    counters="all others count error after error: transmitters come to bus off, receivers to error passive",
    assumed="the time-out must outlast 11 bits (five dominant ones and a flag upon a flag), which sets a lowest bit "
    "rate: "
    "common practice, no source",
    needs=("node",),
    takes=("time_out",),
    more="time_out: 2 ms",
)
STUCK_RECESSIVE = FaultKind(
    name="stuck_recessive",
    meaning="the node's transmitter drives nothing: its frames, flags and acknowledges stay inside",
    bus="its messages stay away; where nobody else acknowledges, nothing gets through",
    counters="its own rises by 8 with each start of frame that it cannot see, up to bus off, in which it hears nothing",
    assumed="the others see none of its error flags; the first frames are worked out as error frames, so that others "
    "count them too: an assumption on the bad side",
    needs=("node",),
)
ALONE = FaultKind(
    name="alone",
    meaning="the node is off the bus by its plug: it hears nobody, and nobody acknowledges its frames",
    bus="its frames go on for ever on its own stub; the others miss its messages",
    counters="its transmit counter rises to 128, error passive, and stays there: a missing acknowledge never leads "
    "to bus off",
    assumed=_ALONE,
    needs=("node",),
)
FULL_BUFFER = FaultKind(
    name="full_buffer",
    meaning="the node is not ready for the next frame, and delays it by overload frames",
    bus="14 bits or more between two frames, up to 17 with the flags of the others",
    counters="none of them changes",
    assumed="one overload frame after each frame of others; two in a row are allowed (Bosch CAN 2.0, overload frame, "
    "from memory)",
    needs=("node",),
)

KINDS = (SILENT, RESET, BROWN_OUT, BABBLING, STUCK_DOMINANT, STUCK_RECESSIVE, ALONE, FULL_BUFFER)
