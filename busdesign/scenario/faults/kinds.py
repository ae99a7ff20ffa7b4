"""All kinds of fault, by their names: the one list that the reader, the schema and the guide go by."""

from collections.abc import Mapping
from types import MappingProxyType

from busdesign.scenario.faults import applications, bits, clocks, nodes, wires
from busdesign.scenario.faults.kind import FaultKind

FAMILIES: Mapping[str, tuple[FaultKind, ...]] = MappingProxyType(
    {
        "nodes": nodes.KINDS,
        "bits": bits.KINDS,
        "wires": wires.KINDS,
        "clocks": clocks.KINDS,
        "applications": applications.KINDS,
    }
)
KINDS: Mapping[str, FaultKind] = MappingProxyType({kind.name: kind for family in FAMILIES.values() for kind in family})
