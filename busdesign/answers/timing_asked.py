"""What is asked of ``timing``: plain figures, and the two nodes with the wire between them that they speak of."""

from dataclasses import dataclass
from fractions import Fraction

from busdesign.findings import Refused
from busdesign.units import format_bit_rate
from busdesign.wire.bit_timing import Limits
from busdesign.wire.bit_timing_solver import OutOfReach
from busdesign.wire.delays import propagation_budget
from busdesign.wire.harness import TRUNK_M, Harness, Tap, Transceiver
from busdesign.wire.physical_layer import LOOP_DELAY_NS_MAX
from busdesign.wire.problems import Exact, outside, refuse

FASTEST_BIT_S = 10**6  # ISO 11898-2, flexible data rate aside
ENDS = ("one node", "the other node")


@dataclass(frozen=True, slots=True)
class Asked:
    """The figures as given; ratios are fractions of 1."""

    clock_hz: Fraction
    bit_rate_bit_s: Fraction
    sample_point: Fraction
    length_m: Exact | None
    given_node_delay_ns: Exact | None
    clock_tolerance: Exact
    limits: Limits
    registers: int | None = None  # BTR1 in the upper byte

    @property
    def has_delay(self) -> bool:
        """Whether a delay is asked for at all."""
        return self.length_m is not None or self.given_node_delay_ns is not None

    @property
    def node_delay_ns(self) -> Exact:
        """Of one node, transmit input to receive output."""
        return LOOP_DELAY_NS_MAX if self.given_node_delay_ns is None else self.given_node_delay_ns

    @property
    def harness(self) -> Harness:
        """Two nodes and the wire between them, whatever else is tied to it."""
        circuit = Transceiver(loop_delay_ns=self.node_delay_ns)
        far_m = 0 if self.length_m is None else self.length_m
        taps = (Tap(ENDS[0], 0, transceiver=circuit), Tap(ENDS[1], far_m, transceiver=circuit))
        return Harness(far_m or TRUNK_M[0], taps, ())

    @property
    def delay_ns(self) -> Fraction:
        """The longest way one way, line and nodes; 0 if none is asked for."""
        return propagation_budget(self.harness, 1).total_ns / 2 if self.has_delay else Fraction(0)

    def refuse_impossible(self, most: int) -> None:
        """What the solver would take, and no bus has."""
        if self.bit_rate_bit_s > FASTEST_BIT_S:
            raise OutOfReach(
                f"a bit rate of {format_bit_rate(self.bit_rate_bit_s)} is beyond a classical frame's",
                f"the nearest possible is {format_bit_rate(FASTEST_BIT_S)}",
                Fraction(FASTEST_BIT_S),
            )
        if self.length_m is not None:
            refuse(outside("length", self.length_m, *TRUNK_M, "m"))
        if self.given_node_delay_ns is not None:
            refuse(outside("delay", self.given_node_delay_ns, 0, 100_000, "ns"))
        if most < 1:
            raise Refused(f"{most} settings are none to show", "the nearest possible is 1")
