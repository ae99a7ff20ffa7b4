"""From a catalogue to what ``busdesign.wire`` computes with: its harness, each node's setting, and its supply.

Whatever the catalogue leaves open is assumed here, and every assumption is told in words.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import lru_cache
from typing import TypeAlias

from busdesign.catalogue.model import Bus, Catalogue, Node
from busdesign.catalogue.model_wires import Cable as CableWritten
from busdesign.catalogue.model_wires import Harness as HarnessWritten
from busdesign.wire.bit_timing import SMALL, Limits, Setting
from busdesign.wire.bit_timing_solver import OutOfReach, settings_for
from busdesign.wire.cable import REFERENCE_C, Cable, copper_ohm_per_m
from busdesign.wire.harness import Harness, Tap, Termination, Transceiver
from busdesign.wire.oscillator import Assessment
from busdesign.wire.physical_layer import CABLE_DELAY_NS_PER_M, CABLE_IMPEDANCE_OHM, CABLE_OHM_PER_M, TERMINATION_OHM
from busdesign.wire.problems import spelt
from busdesign.wire.supply import Unit

Assumed: TypeAlias = tuple[str, ...]  # what was taken for granted, a sentence each


@dataclass(frozen=True, slots=True)
class NodeSetting:
    """A node's bit timing: ``is_given`` by the catalogue, else the best that its clock and controller can make."""

    node: str
    assessment: Assessment
    limits: Limits
    is_given: bool
    assumed: Assumed

    @property
    def setting(self) -> Setting:
        return self.assessment.setting


def harness_of(catalogue: Catalogue) -> tuple[Harness, Assumed] | None:
    """The wires, and what was assumed of them; None where no trunk is given, or fewer than two nodes are on it.

    It may be one that cannot be, if the catalogue was not read from a file: see `harness.harness_problems`.
    """
    return harness_from(catalogue.bus, catalogue.nodes)


def harness_from(bus: Bus, nodes: Mapping[str, Node]) -> tuple[Harness, Assumed] | None:
    """`harness_of` for parts of a catalogue. Raises ValueError for copper that cannot be (`cable.copper_problems`)."""
    written = bus.harness
    if written.trunk_m is None or (written.stubs is None and len(nodes) < 2):
        return None
    cable, of_cable = _cable(written.cable)
    taps, of_taps = _taps(written, nodes)
    terminations, of_terminations = _terminations(written)
    bare = [tap.node for tap in taps if tap.node in nodes and nodes[tap.node].transceiver is None]
    assumed = (*of_taps, *of_terminations, *of_cable, *_of_transceivers(bare))
    return Harness(written.trunk_m, taps, terminations, cable), assumed


def setting_of(node: Node, bus: Bus, delay_ns: int | Fraction = 0) -> NodeSetting | None:
    """The setting of ``node`` for a longest way of ``delay_ns``, line and nodes; None for a node without a clock.

    Of settings with one margin it is the one with most room for propagation. Where none both carries the delay and
    bears the clock, it is of those that bear the clock the one that carries most: ``delay_slack_ns`` is below 0 then.
    Raises OutOfReach, a ValueError, for a clock that cannot make the rate.
    """
    if node.clock_hz is None:
        return None
    limits = node.controller or SMALL
    assumed = () if node.controller or node.timing else (f"a controller of the limits `{SMALL.name}`: {node.name}",)
    if node.timing is not None:
        setting = Setting(node.clock_hz, node.timing.prescaler, node.timing.segments)
    else:
        wanted = _Wanted(node.clock_hz, node.tolerance, bus.bit_rate_bit_s, bus.sample_point, limits)
        setting = _best(wanted, Fraction(delay_ns))
    assessment = Assessment(setting, bus.bit_rate_bit_s, delay_ns, node.tolerance)
    return NodeSetting(node.name, assessment, limits, node.timing is not None, assumed)


def units_of(catalogue: Catalogue) -> tuple[Unit, ...]:
    """The supply of every node that has one; none where ``bus.supply`` does not say the voltage."""
    return units_from(catalogue.bus, catalogue.nodes)


def units_from(bus: Bus, nodes: Mapping[str, Node]) -> tuple[Unit, ...]:
    """`units_of` for parts of a catalogue."""
    if bus.supply_v is None:
        return ()
    supplied = [(name, node.supply) for name, node in nodes.items() if node.supply is not None]
    return tuple(
        Unit(name, supply.power, supply.ground, supply.peak_a, bus.supply_v, supply.at_least_v, supply.idle_a)
        for name, supply in supplied
    )


@dataclass(frozen=True, slots=True)
class _Wanted:
    clock_hz: Fraction
    tolerance: Fraction
    bit_rate_bit_s: Fraction
    sample_point: Fraction
    limits: Limits

    def settings(self, delay_ns: Fraction) -> tuple[Assessment, ...]:
        return settings_for(
            self.clock_hz,
            self.bit_rate_bit_s,
            self.limits,
            sample_point=self.sample_point,
            delay_ns=delay_ns,
            clock_tolerance=self.tolerance,
        )


@lru_cache(maxsize=256)
def _best(wanted: _Wanted, delay_ns: Fraction) -> Setting:
    limits, free = wanted.limits, wanted.settings(Fraction(0))
    try:
        carrying = wanted.settings(delay_ns)
    except OutOfReach:  # only for the delay: without one there are settings
        carrying = ()
    if carrying and carrying[0].margin >= 0:
        return with_most_room(carrying[0].setting, limits)
    bearing = [with_most_room(one.setting, limits) for one in free if one.margin >= 0]
    if bearing:
        return max(bearing, key=lambda setting: setting.longest_delay_ns)
    return with_most_room((carrying or free)[0].setting, limits)


def with_most_room(setting: Setting, limits: Limits) -> Setting:
    """As much of phase_seg1 for propagation as is beyond phase_seg2: no published condition asks for it there."""
    segments = setting.segments
    kept = max(limits.phase1_range[0], segments.phase_seg2)
    moved = min(segments.phase_seg1 - kept, limits.prop_range[1] - segments.prop_seg)
    if moved <= 0:
        return setting
    roomier = replace(segments, prop_seg=segments.prop_seg + moved, phase_seg1=segments.phase_seg1 - moved)
    return replace(setting, segments=roomier)


def _cable(written: CableWritten | None) -> tuple[Cable, Assumed]:
    said = written or CableWritten()
    assumed = []
    if said.delay_ns_per_m is None:
        assumed.append(f"a cable of {spelt(CABLE_DELAY_NS_PER_M, 'ns/m')}")
    if said.cross_section_mm2 is not None:
        temperature_c = REFERENCE_C if said.temperature_c is None else said.temperature_c
        ohm_per_m = copper_ohm_per_m(said.cross_section_mm2, temperature_c)
        if said.temperature_c is None:
            assumed.append(f"copper of the cable at {spelt(temperature_c, 'degC')}")
    elif said.ohm_per_m is None:
        ohm_per_m = CABLE_OHM_PER_M
        assumed.append(f"a cable of {spelt(1000 * CABLE_OHM_PER_M, 'mohm/m')} in each conductor")
    else:
        ohm_per_m = said.ohm_per_m
    cable = Cable(
        CABLE_DELAY_NS_PER_M if said.delay_ns_per_m is None else said.delay_ns_per_m,
        ohm_per_m,
        CABLE_IMPEDANCE_OHM if said.impedance_ohm is None else said.impedance_ohm,
    )
    return cable, tuple(assumed)


def _taps(written: HarnessWritten, nodes: Mapping[str, Node]) -> tuple[tuple[Tap, ...], Assumed]:
    if written.stubs is not None:
        return tuple(Tap(stub.node, stub.at_m, stub.length_m, _circuit(nodes, stub.node)) for stub in written.stubs), ()
    assert written.trunk_m is not None
    stub_m = Fraction(0) if written.longest_stub_m is None else written.longest_stub_m
    slowest = sorted(nodes, key=lambda name: _delay_ns(_circuit(nodes, name)), reverse=True)
    first, last = slowest[0], slowest[1]
    between = [name for name in nodes if name not in (first, last)]
    order = [first, *between, last]
    step_m = written.trunk_m / (len(order) - 1)
    taps = tuple(Tap(name, step_m * place, stub_m, _circuit(nodes, name)) for place, name in enumerate(order))
    stubs = "" if written.longest_stub_m is None else f", each on a stub of {spelt(stub_m, 'm')}"
    return taps, (f"{first} and {last} at the ends of the trunk, the other nodes evenly between{stubs}",)


def _terminations(written: HarnessWritten) -> tuple[tuple[Termination, ...], Assumed]:
    if written.terminations is not None:
        return written.terminations, ()
    if written.termination_ohm is None and written.stubs is not None:
        return (), ()
    assert written.trunk_m is not None
    ohm = Fraction(TERMINATION_OHM) if written.termination_ohm is None else written.termination_ohm
    both = Termination(Fraction(0), ohm), Termination(written.trunk_m, ohm)
    return both, (f"a termination of {spelt(ohm, 'ohm')} at each end of the trunk",)


def _of_transceivers(bare: list[str]) -> Assumed:
    if not bare:
        return ()
    circuit = Transceiver()
    limits = f"loop delay {spelt(circuit.loop_delay_ns, 'ns')}, input {spelt(circuit.input_ohm, 'ohm')}"
    return (f"transceivers by the published limits ({limits}): {', '.join(bare)}",)


def _circuit(nodes: Mapping[str, Node], name: str) -> Transceiver:
    node = nodes.get(name)
    return Transceiver() if node is None or node.transceiver is None else node.transceiver


def _delay_ns(circuit: Transceiver) -> Fraction:
    return Fraction(circuit.loop_delay_ns + 2 * circuit.isolator_ns)
