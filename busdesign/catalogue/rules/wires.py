"""The wires as described: what cannot be, or is said in two ways, with the nearest possible value."""

from collections.abc import Iterator, Mapping

from busdesign.catalogue.freeze_wires import bus_of, places_of, wired_nodes
from busdesign.catalogue.model import Bus, Node
from busdesign.catalogue.parts import Draft
from busdesign.catalogue.wires import harness_from, units_from
from busdesign.catalogue.wires_places import HARNESS, place_of, told
from busdesign.findings import Finding, Place, error
from busdesign.wire.cable import REFERENCE_C, copper_problems
from busdesign.wire.harness import Harness, Tap, harness_problems
from busdesign.wire.physical_layer import RECESSIVE_BIAS_V_MAX, RECESSIVE_BIAS_V_MIN
from busdesign.wire.problems import Problem
from busdesign.wire.supply import supply_problems


def harness_said_twice(draft: Draft) -> Iterator[Finding]:
    """The short and the long form of one thing, or two resistances of one cable."""
    if draft.bus is None:
        return
    wires, cable = draft.bus.harness, draft.bus.harness.cable
    pairs = [
        ("longest_stub", "stubs", wires.longest_stub is not None and wires.stubs is not None, HARNESS),
        ("termination", "terminations", wires.termination is not None and wires.terminations is not None, HARNESS),
    ]
    if cable is not None:
        both = cable.resistance is not None and cable.cross_section is not None
        pairs.append(("resistance", "cross_section", both, (*HARNESS, "cable")))
        if cable.temperature is not None and cable.cross_section is None:
            where = draft.source.of_key((*HARNESS, "cable", "temperature"))
            text = "`temperature` is that of the copper, whose `cross_section` is not given"
            yield error("harness", where, text, "add `cross_section: 0.25 mm2`, or remove `temperature`")
    for one, other, is_twice, at in pairs:
        if is_twice:
            text = f"`{one}` and `{other}` say the same thing in two ways"
            yield error("harness", draft.source.of_key((*at, other)), text, "keep one of the two")


def impossible_harness(draft: Draft) -> Iterator[Finding]:
    """What `harness_problems` finds: lengths, places, resistances and delays that cannot be."""
    if draft.bus is None or any(harness_said_twice(draft)):
        return
    bus, nodes = bus_of(draft.bus, draft.source), wired_nodes(draft.nodes, draft.source)
    for where, text, fix in _told(_problems(bus, nodes), bus, draft):
        yield error("harness", where, text, fix)


def impossible_supply(draft: Draft) -> Iterator[Finding]:
    """What `supply_problems` finds, and a supply of nodes whose source is not given."""
    if draft.bus is None:
        return
    bus, nodes = bus_of(draft.bus, draft.source), wired_nodes(draft.nodes, draft.source)
    supplied = [name for name, node in nodes.items() if node.supply is not None]
    if supplied and bus.supply_v is None:
        where = draft.source.of_key(("nodes", supplied[0], "supply"))
        text = f"`{supplied[0]}` has a `supply`, but nothing says the voltage at its source"
        yield error("supply", where, text, "add `supply: {voltage: 12 V}` under `bus`")
    units = units_from(bus, nodes)
    for where, text, fix in _told(supply_problems(units) if units else [], bus, draft):
        yield error("supply", where, text, fix)


def impossible_common_mode(draft: Draft) -> Iterator[Finding]:
    """A common-mode range upside down, or without the level at which the wires lie anyway."""
    for name, node in wired_nodes(draft.nodes, draft.source).items():
        least_v, most_v = node.common_mode_v or (RECESSIVE_BIAS_V_MIN, RECESSIVE_BIAS_V_MAX)
        if least_v > RECESSIVE_BIAS_V_MIN or most_v < RECESSIVE_BIAS_V_MAX:
            where = draft.source.of_value(("nodes", name, "transceiver", "common_mode"))
            lies = f"{RECESSIVE_BIAS_V_MIN} to {RECESSIVE_BIAS_V_MAX} V"
            text = f"without any shift of ground the wires lie at {lies}, which `common_mode` must contain"
            yield error("harness", where, text, "write its least value first, such as `[-2 V, 7 V]`")


def _problems(bus: Bus, nodes: Mapping[str, Node]) -> list[Problem]:
    cable = bus.harness.cable
    if cable is not None and cable.cross_section_mm2 is not None:
        temperature_c = REFERENCE_C if cable.temperature_c is None else cable.temperature_c
        problems = copper_problems("copper", cable.cross_section_mm2, temperature_c)
        if problems:
            return problems
    found = harness_from(bus, nodes)
    problems = _of_what_is_written(harness_problems(found[0]) if found else [], bus)
    placed = {tap.node for tap in found[0].taps} if found else set()
    return [*problems, *_off_the_trunk([node for name, node in nodes.items() if name not in placed])]


def _of_what_is_written(problems: list[Problem], bus: Bus) -> list[Problem]:
    """Without those of places that were assumed along a trunk that cannot be."""
    of_trunk = [found for found in problems if found.part == "trunk_m"]
    return of_trunk if of_trunk and bus.harness.stubs is None else problems


def _off_the_trunk(nodes: list[Node]) -> list[Problem]:
    """What is wrong with the transceivers of nodes whose places are not known."""
    taps = tuple(Tap(node.name, 0, 0, node.transceiver) for node in nodes if node.transceiver is not None)
    return [found for found in harness_problems(Harness(1, taps, ())) if found.part != "taps"]


def _told(problems: list[Problem], bus: Bus, draft: Draft) -> Iterator[tuple[Place, str, str]]:
    places = dict(places_of(draft.source)) if problems else {}
    for problem in problems:
        where = place_of(problem.part, bus.harness, places) or draft.source.of_key(HARNESS)
        yield where, told(problem.part, bus.harness, problem.text), problem.fix
