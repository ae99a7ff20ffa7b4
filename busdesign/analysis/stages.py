"""The stages of a way: what each node, each wait for a release, each frame and each read may take."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

from busdesign.analysis.frame_lengths import shortest_frame_bits
from busdesign.analysis.receiving import most_between_reads
from busdesign.analysis.streams import WorstCase
from busdesign.catalogue.model import Catalogue, Message
from busdesign.catalogue.paths import Hop, Way, longest_in_receive_fifo_ns
from busdesign.findings import counted
from busdesign.wire.frame import INTERMISSION_BITS

What = Literal["processing", "wait", "response", "reading"]


@dataclass(frozen=True, slots=True)
class Stage:
    """One part of the way: the processing of a node, the wait for a message's release or its response, or the wait
    until a node reads its receive FIFO.

    ``most_ns`` is None where no bound exists, and ``why_not`` says why.
    """

    what: What
    of: str
    most_ns: Fraction | None
    least_ns: Fraction = Fraction(0)
    why_not: str = ""


def most_of(stages: Iterable[Stage]) -> Fraction | None:
    """The most that they take one after the other; None if one of them has no bound."""
    total = Fraction(0)
    for stage in stages:
        if stage.most_ns is None:
            return None
        total += stage.most_ns
    return total


def least_of(stages: Iterable[Stage]) -> Fraction:
    """The least that they take one after the other."""
    return sum((stage.least_ns for stage in stages), Fraction(0))


def longest_period_ns(message: Message, catalogue: Catalogue) -> Fraction:
    """Its period on the slowest clock that its sender may have: T / (1 - d)."""
    return message.period_ns / (1 - catalogue.nodes[message.sender].tolerance)


class StagesOf:
    """The stages of ways through ``catalogue``; each message and each receive FIFO is looked at once."""

    def __init__(self, catalogue: Catalogue, cases: Mapping[str, WorstCase]) -> None:
        self.catalogue, self.cases = catalogue, cases
        self._responses: dict[str, Stage] = {}
        self._readings: dict[str, Stage] = {}

    def way(self, way: Way) -> list[list[Stage]]:
        """In a list of their own those up to the end of each message, and those after the last one."""
        parts: list[list[Stage]] = []
        reader = ""
        for hop, next_reader in zip(way.hops, way.readers, strict=True):
            parts.append([*self._reading(reader), *self._processing(hop.passes), *self._hop(hop)])
            reader = next_reader
        return [*parts, [*self._reading(reader), *self._processing(way.acts)]]

    def _hop(self, hop: Hop) -> list[Stage]:
        message, name = hop.message, hop.message.name
        found = []
        periods = hop.frames if hop.passes else hop.frames - 1
        if message.irregular and hop.frames > 1:
            why = f"`{name}` is irregular, and believed only once {hop.frames} good frames have come"
            found.append(Stage("wait", name, None, why_not=why))
        elif not message.irregular and periods:
            least = (hop.frames - 1) * message.period_ns / (1 + self.catalogue.nodes[message.sender].tolerance)
            least = max(least - message.jitter_ns, Fraction(0))
            found.append(Stage("wait", name, periods * longest_period_ns(message, self.catalogue), least))
        if name not in self._responses:
            self._responses[name] = self._response(message, self.cases.get(name))
        return [*found, self._responses[name]]

    def _response(self, message: Message, case: WorstCase | None) -> Stage:
        name = message.name
        bit_ns = self.catalogue.bus.bit_ns / (1 + self.catalogue.nodes[message.sender].tolerance)
        least = (shortest_frame_bits(message) - INTERMISSION_BITS) * bit_ns
        if case is None:
            return Stage("response", name, None, least, f"`{name}` has no identifier, so no response time")
        if case.response_ns is None:
            return Stage("response", name, None, least, f"`{name}` has no bound: {case.why_not}")
        return Stage("response", name, Fraction(case.response_ns), least)

    def _processing(self, node: str) -> list[Stage]:
        return [Stage("processing", node, Fraction(self.catalogue.nodes[node].processing_ns))] if node else []

    def _reading(self, node: str) -> list[Stage]:
        if not node or self.catalogue.nodes[node].receive is None:
            return []
        if node not in self._readings:
            self._readings[node] = self._in_fifo(node)
        return [self._readings[node]]

    def _in_fifo(self, name: str) -> Stage:
        node = self.catalogue.nodes[name]
        assert node.receive is not None
        most = most_between_reads(self.catalogue, node, self.cases)
        if most > node.receive.depth:
            why = (
                f"up to {counted(most, 'frame')} may come between two reads of `{name}`, and its receive FIFO loses "
                f"what comes after {node.receive.depth}"
            )
            return Stage("reading", name, None, why_not=why)
        return Stage("reading", name, Fraction(longest_in_receive_fifo_ns(node)))
