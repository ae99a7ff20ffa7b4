"""Faults of the wires: open, shorted, a termination gone, a unit that loads them. The harness says what they do."""

from busdesign.scenario.faults.kind import FaultKind

_LEVELS = (
    "direct-current levels of `wire.levels` say whether dominant is still heard; what echoes do they cannot tell, so "
    "where the levels carry, `error_rate` (0 if left out) is assumed for each bit"
)
_NOTHING = "own model: no level gets across"
_OLD = "ISO 11898 (1993), bus failure modes, from memory; where it goes on, `error_rate` (0 if left out) is assumed"

WIRES_OPEN = FaultKind(
    name="wires_open",
    meaning="both wires are open at a place of the trunk, or a node's stub is",
    bus="the nodes on either side are buses of their own; each keeps one termination and goes on if its levels carry",
    counters="a node that is left alone ends error passive; on a side whose levels do not carry nobody hears anybody",
    assumed=_LEVELS,
    takes=("position", "between", "node", "error_rate"),
    more="between: [air_data, strut_left]",
)
ONE_WIRE_OPEN = FaultKind(
    name="one_wire_open",
    meaning="one of the two wires is open at a place of the trunk",
    bus="as with `wires_open`: beyond the break both wires go up and down together, and the difference is gone",
    counters="as with `wires_open`",
    assumed="nothing gets across; some transceivers hear some of it: an assumption on the bad side",
    needs=("wire",),
    takes=("position", "between", "node", "error_rate"),
    more="position: 5 m",
)
PAIR_SHORTED = FaultKind(
    name="pair_shorted",
    meaning="the two wires touch, with `ohm` between them (0 if left out)",
    bus="the pair stays recessive and nothing gets through; over some resistance the levels may still carry",
    counters="each sender sees its start of frame read back recessive: up to bus off",
    assumed=_LEVELS,
    takes=("ohm", "position", "error_rate"),
    more="ohm: 0 ohm",
)
WIRE_TO_GROUND = FaultKind(
    name="wire_to_ground",
    meaning="the high or the low wire touches ground",
    bus="low: goes on with less room for disturbance; high: the pair stays recessive, nothing gets through",
    counters="high: as with `pair_shorted`; low: as with `flipped_bits` at `error_rate`",
    assumed=_OLD,
    needs=("wire",),
    takes=("error_rate",),
)
WIRE_TO_SUPPLY = FaultKind(
    name="wire_to_supply",
    meaning="the high or the low wire touches the supply",
    bus="high: goes on if the supply is within the common-mode range of all transceivers; low: nothing gets through",
    counters="as with `pair_shorted`, or as with `flipped_bits` at `error_rate`",
    assumed=_OLD + "; a common-mode range that the catalogue does not give is -2 to 7 V",
    needs=("wire",),
    takes=("error_rate",),
)
GROUND_LOST = FaultKind(
    name="ground_lost",
    meaning="a unit loses its ground: it has no power, and its transceiver hangs on the supply",
    bus="as with `reset`; with `ohm` it also loads the pair",
    counters="as with `reset`",
    assumed="no current finds another way to ground, such as a shield: an assumption; " + _LEVELS,
    needs=("node",),
    takes=("ohm", "restart", "error_rate"),
)
DEAD_UNIT = FaultKind(
    name="dead_unit",
    meaning="a unit is off, and its transceiver loads the pair with `ohm`",
    bus="as with `reset`; the others go on if their levels carry",
    counters="as with `reset`, or as with `pair_shorted` where they do not",
    assumed=_LEVELS,
    needs=("node", "ohm"),
    takes=("restart", "error_rate"),
)
TERMINATION_MISSING = FaultKind(
    name="termination_missing",
    meaning="the termination at `position` is missing",
    bus="on a short bus dominant is heard even better; echoes disturb, as much as `error_rate` says",
    counters="as with `flipped_bits` at `error_rate`",
    assumed=_LEVELS,
    needs=("position",),
    takes=("error_rate",),
    more="position: 9 m, error_rate: 20 ppm",
)

KINDS = (
    WIRES_OPEN,
    ONE_WIRE_OPEN,
    PAIR_SHORTED,
    WIRE_TO_GROUND,
    WIRE_TO_SUPPLY,
    GROUND_LOST,
    DEAD_UNIT,
    TERMINATION_MISSING,
)
