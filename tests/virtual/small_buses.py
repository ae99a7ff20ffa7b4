"""Small buses for stories about one rule: up to three boards at 250 kbit/s, which is four microseconds a bit."""

from collections.abc import Iterable, Mapping
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

from busdesign.catalogue.model import Catalogue, Message, Signal
from busdesign.catalogue.values import Value
from busdesign.scenario.model import Fault, Scenario, Step
from busdesign.virtual.bus import simulate_bus
from busdesign.virtual.node import Arrival, Node
from busdesign.virtual.run import Run
from busdesign.wire.frame import Frame, lay_out
from tests.networks import MS, catalogue_of, fixed, message_of, scenario_of

BIT_RATE = 250_000
BIT_NS = 4_000
JOIN_NS = 3_500  # seven eighths of a bit
FAR_NS = 1_000 * MS


def message(
    name: str,
    identifier: int,
    sender: str,
    *,
    length: int = 1,
    period: int = FAR_NS,
    to: Iterable[str] = (),
    signals: Iterable[Signal] = (),
    **more: object,
) -> Message:
    """A message; times are in nanoseconds."""
    made = message_of(name, identifier, sender, length, period, **more)
    return replace(made, receivers=tuple(to), signals=tuple(signals))


def byte(name: str = "value", start_bit: int = 0, **more: object) -> Signal:
    """A signal of eight bits."""
    return Signal(name, start_bit, 8, **more)  # type: ignore[arg-type]


def bus(
    *messages: Message,
    nodes: Iterable[str] = ("a", "b", "c"),
    bit_rate: int = BIT_RATE,
    sample_point: Fraction = Fraction(7, 8),
    tolerance: Fraction = Fraction(0),
) -> Catalogue:
    """A catalogue of ``messages``."""
    made = catalogue_of(list(messages), bit_rate, dict.fromkeys(nodes, tolerance))
    return replace(made, bus=replace(made.bus, sample_point=sample_point))


def played(catalogue: Catalogue, run_for_ns: int, models: Mapping[str, Node] | None = None, **more: object) -> Run:
    """A run in which every payload without a model is zero, unless told otherwise."""
    return simulate_bus(story(catalogue, run_for_ns, **more), named(models or {}))


def story(catalogue: Catalogue, run_for_ns: int, **more: object) -> Scenario:
    """Its scenario. The root lies nowhere, so that what a model raises comes out as it is."""
    return scenario_of(catalogue, run_for_ns, **{"payload": fixed({}), "root": Path("nowhere"), **more})


def named(models: Mapping[str, Node]) -> Mapping[str, Node]:
    """``models``, each knowing its name."""
    for name, node in models.items():
        node.name = name
    return models


def silent(node: str, at_ns: int, until_ns: int | None = None) -> Fault:
    """A silent transmitter."""
    return Fault("silent", node, at_ns, until_ns)


def step(at_ns: int, **sets: object) -> Step:
    """A step; the node's name and the word are joined by two underscores."""
    return Step(at_ns, {name.replace("__", "."): value for name, value in sets.items()})  # type: ignore[misc]


def bits_of(message: Message, data: bytes | None = None) -> int:
    """The bits of a frame on the wire, counted on the plain layout of the standard; zeros if no data is given."""
    assert message.identifier is not None
    sent = bytes(message.length_bytes) if data is None else data
    return lay_out(Frame(message.identifier, sent, extended=message.extended)).length_bits


def order(run: Run) -> list[str]:
    """The names of the frames in the order of the wire."""
    names = [message.name for message in run.catalogue.messages]
    return [names[index] for index in run.message_index]


def rows(run: Run, name: str) -> list[int]:
    """The rows of one message."""
    return [row for row, found in enumerate(order(run)) if found == name]


def data(run: Run, name: str) -> list[bytes]:
    """What the frames of one message carried."""
    return [run.traffic.data(row) for row in rows(run, name)]


def ends(run: Run, name: str) -> list[int]:
    """The ends of the frames of one message."""
    return [int(run.traffic.end_ns[row]) for row in rows(run, name)]


def half_up(time_ns: Fraction) -> int:
    """Rounded to the nearest nanosecond, a half upwards."""
    return int((time_ns + Fraction(1, 2)) // 1)


class Ear(Node):
    """Writes down what it hears and misses, and when."""

    def begin(self) -> None:
        self.arrivals: list[tuple[int, str]] = []
        self.contents: list[dict[str, Value]] = []
        self.absences: list[tuple[int, str]] = []

    def heard(self, message: Arrival) -> None:
        self.arrivals.append((self.now_ns, message.name))
        self.contents.append(message.values())

    def missed(self, message: Message) -> None:
        self.absences.append((self.now_ns, message.name))
