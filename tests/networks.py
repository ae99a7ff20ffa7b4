"""Random networks for property tests, and runs of them: catalogues built as objects, without YAML."""

from collections.abc import Mapping
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

from hypothesis import strategies as st

from busdesign.catalogue.model import Bus, Catalogue, Message, Node
from busdesign.scenario.model import PayloadChoice, Scenario
from busdesign.virtual.bus import simulate_bus
from busdesign.virtual.node import Node as Model
from busdesign.virtual.run import Run

BIT_RATES = [125_000, 250_000, 500_000, 1_000_000, 83_333]  # the last one's bit is no whole number of nanoseconds
PERIODS_MS = [2, 3, 5, 7, 10, 20, 50]
MS = 1_000_000


def message_of(name: str, identifier: int, sender: str, length_bytes: int, period_ns: int, **more: object) -> Message:
    """A message without signals: every byte is free."""
    return Message(
        name=name,
        identifier=identifier,
        extended=bool(more.pop("extended", False)),
        length_bytes=length_bytes,
        sender=sender,
        receivers=(),
        signals=(),
        period_ns=period_ns,
        **{"deadline_ns": period_ns, **more},  # type: ignore[arg-type]
    )


def catalogue_of(messages: list[Message], bit_rate: int, tolerances: Mapping[str, Fraction]) -> Catalogue:
    """A catalogue of ``messages`` whose nodes have the given clock tolerances."""
    bus = Bus(Fraction(bit_rate), Fraction(7, 8))
    nodes = {name: Node(name, tolerance=tolerance) for name, tolerance in tolerances.items()}
    return Catalogue("random", 1, bus, nodes, tuple(messages))


@st.composite
def catalogues(draw: st.DrawFn) -> Catalogue:
    """Two to twelve messages of two to four nodes; the load may be anything, above the whole included."""
    bit_rate = draw(st.sampled_from(BIT_RATES))
    tolerance = st.sampled_from([Fraction(0), Fraction(50, 10**6), Fraction(3, 1000), Fraction(15, 1000)])
    tolerances = {f"node{number}": draw(tolerance) for number in range(draw(st.integers(2, 4)))}
    identifiers = draw(st.lists(st.integers(0, 0x7FF), min_size=2, max_size=12, unique=True))
    messages = []
    for number, identifier in enumerate(identifiers):
        period_ns = draw(st.sampled_from(PERIODS_MS)) * MS
        extended = draw(st.integers(0, 4)) == 0
        messages.append(
            message_of(
                f"m{number}",
                identifier << 18 | draw(st.integers(0, 0x3FFFF)) if extended else identifier,
                draw(st.sampled_from(sorted(tolerances))),
                draw(st.integers(0, 8)),
                period_ns,
                extended=extended,
                jitter_ns=draw(st.sampled_from([0, 0, 300_000, MS, 3 * period_ns // 2])),
                offset_ns=draw(st.integers(0, period_ns)),
            )
        )
    return catalogue_of(messages, bit_rate, tolerances)


def scenario_of(catalogue: Catalogue, run_for_ns: int, **more: object) -> Scenario:
    """A scenario without models."""
    return replace(Scenario("random", "random.yaml", Path(), catalogue, run_for_ns), **more)  # type: ignore[arg-type]


def run_of(catalogue: Catalogue, run_for_ns: int, models: Mapping[str, Model] | None = None, **more: object) -> Run:
    """A run of ``catalogue``."""
    return simulate_bus(scenario_of(catalogue, run_for_ns, **more), models or {})


def fixed(payloads: Mapping[str, bytes]) -> PayloadChoice:
    """Every message named sends the same bytes each time."""
    return PayloadChoice("zero", payloads)
