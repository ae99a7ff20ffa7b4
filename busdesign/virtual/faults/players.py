"""One player for each kind of fault."""

from collections.abc import Callable, Mapping
from types import MappingProxyType

from busdesign.scenario.model import Fault, Scenario
from busdesign.virtual.faults import applications, bits, clocks, nodes, wires
from busdesign.virtual.faults.stage import Stage

Player = Callable[[Fault, Stage], None]

PLAYERS: Mapping[str, Player] = MappingProxyType(
    {
        player.__name__: player
        for player in (
            nodes.silent,
            nodes.reset,
            nodes.brown_out,
            nodes.babbling,
            nodes.stuck_dominant,
            nodes.stuck_recessive,
            nodes.alone,
            nodes.full_buffer,
            bits.flipped_bit,
            bits.flipped_bits,
            bits.burst,
            bits.end_of_frame_error,
            wires.wires_open,
            wires.one_wire_open,
            wires.pair_shorted,
            wires.wire_to_ground,
            wires.wire_to_supply,
            wires.ground_lost,
            wires.dead_unit,
            wires.termination_missing,
            clocks.wrong_bit_rate,
            clocks.oscillator,
            clocks.wrong_sample_point,
            applications.late,
            applications.jittering,
            applications.duplicate_identifier,
            applications.corrupted,
            applications.repeated,
            applications.lost,
            applications.swapped,
            applications.stale,
        )
    }
)


def staged(scenario: Scenario) -> Stage:
    """Everything that the faults of ``scenario`` come to."""
    stage = Stage(scenario)
    for fault in scenario.faults:
        PLAYERS[fault.kind](fault, stage)
    return stage
