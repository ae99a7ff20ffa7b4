"""Frames that a controller has no room for: how many there may be, and how many there were in a run."""

from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING

from busdesign.analysis.receiving import most_between_reads
from busdesign.analysis.streams import WorstCase
from busdesign.catalogue.model import Catalogue, Node
from busdesign.findings import Finding, Severity, counted
from busdesign.units import format_duration

if TYPE_CHECKING:
    from busdesign.virtual.run import Run


def receive_findings(definition: Catalogue, cases: Mapping[str, WorstCase]) -> Iterator[Finding]:
    """Nodes to which more frames can come between two reads than their receive FIFO holds."""
    for node in definition.nodes.values():
        if node.receive is None:
            continue
        most, depth = most_between_reads(definition, node, cases), node.receive.depth
        if most > depth:
            text = (
                f"up to {counted(most, 'frame')} for `{node.name}` may come within {_read_every(node)}, "
                f"but its receive FIFO holds {depth}"
            )
            yield _overrun(node, text, f"`depth: {most}`, or read more often")


def overrun_findings(run: "Run") -> Iterator[Finding]:
    """Nodes that lost frames in ``run``."""
    for name, dropped in run.transmit_overruns.items():
        node = run.catalogue.nodes[name]
        if dropped and node.transmit:
            text = f"`{name}` dropped {counted(dropped, 'frame')}: its FIFO of {node.transmit.depth} was full"
            fix = "`busdesign check` on the catalogue says how deep it has to be"
            yield Finding("transmit-overrun", Severity.BROKEN, node.place, text, fix)
    for name, lost in run.receive_overruns.items():
        node = run.catalogue.nodes[name]
        if lost and node.receive:
            text = (
                f"`{name}` lost {counted(lost, 'frame')} that it had heard: its receive FIFO of {node.receive.depth} "
                f"was full, as it reads every {_read_every(node)}"
            )
            yield _overrun(node, text, "a deeper one, or read more often; `busdesign check` says how deep")


def _overrun(node: Node, text: str, fix: str) -> Finding:
    return Finding("receive-overrun", Severity.BROKEN, node.place, text, fix)


def _read_every(node: Node) -> str:
    assert node.receive is not None
    return format_duration(node.receive.read_every_ns)
