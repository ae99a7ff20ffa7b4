"""Faults of a node's clock and bit timing."""

from busdesign.scenario.faults.kind import FaultKind

_SLIPS = (
    "own model: the error grows from edge to edge, each recessive-to-dominant edge takes back at most the node's sjw, "
    "and a bit is read wrong once the sample point lies in its neighbour; lengths on the pair stay nominal"
)

WRONG_BIT_RATE = FaultKind(
    name="wrong_bit_rate",
    meaning="the node is set to another bit rate than the bus",
    bus="it reads every frame wrong within a few bits and breaks it off, until it is error passive; its own never pass",
    counters="its own go up, and with its flags those of the others; it ends error passive, or bus off if it sends",
    assumed=_SLIPS,
    needs=("node", "bit_rate"),
)
OSCILLATOR = FaultKind(
    name="oscillator",
    meaning="the node's oscillator is off by `error`",
    bus="nothing, as long as its settings bear it; beyond, frames with long runs of equal bits fail first",
    counters="as after `wrong_bit_rate`, but only for the frames that fail",
    assumed=_SLIPS,
    needs=("node", "error"),
)
WRONG_SAMPLE_POINT = FaultKind(
    name="wrong_sample_point",
    meaning="the node samples at `sample_point` in place of where the catalogue says",
    bus="too early: it does not see the acknowledge of far nodes in time and sends again; too late: it bears less "
    "drift",
    counters="too early: those of a transmitter without acknowledge; too late: as after `oscillator`",
    assumed="the way to the furthest node and back is that of the harness (`wire.delays`), else nothing is too early; "
    + _SLIPS,
    needs=("node", "sample_point"),
    takes=("error",),
)

KINDS = (WRONG_BIT_RATE, OSCILLATOR, WRONG_SAMPLE_POINT)
