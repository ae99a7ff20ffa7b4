"""The differential voltage that arrives: any node drives, any other hears, over resistive wires.

Modelled (own model): direct current. The trunk is a ladder of its two conductors' resistance, with terminations and the
nodes' inputs across it and the driver as a voltage behind a resistance. Not modelled: echoes, edges, capacitance.
The answers are exact fractions; floats only choose what is worth solving for.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Literal, TypeVar

from busdesign.wire.circuit import Circuit
from busdesign.wire.harness import Harness, Tap, require_possible
from busdesign.wire.network import Number, transfer_ohm, transfer_ohm_nearly
from busdesign.wire.physical_layer import (
    DOMINANT_ABOVE_V,
    LEAST_LOAD,
    LEAST_LOAD_OHM,
    LEVEL_RESERVE,
    LEVELS,
    RESERVED_PART,
    RESERVED_THRESHOLD_V,
    Source,
)
from busdesign.wire.problems import Exact

Thing = TypeVar("Thing")

_SLACK = 1e-9  # floats err by less; what is this near to the worst is solved exactly


@dataclass(frozen=True, slots=True)
class PairLevel:
    """What ``hearer`` sees while ``driver`` drives: ``driver_v`` at its own pins, which see ``load_ohm``."""

    driver: str
    hearer: str
    level_v: Fraction
    driver_v: Fraction
    load_ohm: Fraction


@dataclass(frozen=True, slots=True)
class HighestLevel:
    """The highest level there is, at the pins of ``driver``; ``load_ohm`` is None where nothing draws."""

    driver: str
    level_v: Fraction
    load_ohm: Fraction | None


@dataclass(frozen=True, slots=True)
class LevelRule:
    """``found`` must be at least ``required``, in ``unit``. ``kind`` is "rule" for what is judged by."""

    kind: Literal["rule", "recommendation"]
    name: str
    unit: str
    found: Fraction
    required: Fraction
    source: Source

    @property
    def margin(self) -> Fraction:
        return self.found - self.required

    @property
    def holds(self) -> bool:
        return self.margin >= 0


@dataclass(frozen=True, slots=True)
class Levels:
    """The pair that hears least, the driver that bears most, the highest level, and the rules on them."""

    lowest: PairLevel
    least_load: PairLevel
    highest: HighestLevel
    loop_ohm_per_m: Fraction
    trunk_loop_ohm: Fraction
    terminations_ohm_min: tuple[Fraction, ...]
    rules: tuple[LevelRule, ...]

    @property
    def holds(self) -> bool:
        return all(rule.holds for rule in self.rules if rule.kind == "rule")


def levels(harness: Harness) -> Levels:
    """The lowest and the highest level on the bus and what they mean. Raises ValueError for an impossible harness."""
    lowest, loaded = lowest_level(harness), least_load(harness)
    reserved_v = reserved_level_v(min(tap.transceiver.driven_v_min for tap in harness.taps))
    least_ohm = Fraction(LEAST_LOAD_OHM)
    return Levels(
        lowest=lowest,
        least_load=loaded,
        highest=highest_level(harness),
        loop_ohm_per_m=harness.cable.loop_ohm_per_m,
        trunk_loop_ohm=harness.cable.loop_ohm_per_m * harness.trunk_m,
        terminations_ohm_min=tuple(termination.ohm_min for termination in harness.terminations),
        rules=(
            LevelRule("rule", "dominant at every receiver", "V", lowest.level_v, DOMINANT_ABOVE_V, LEVELS),
            LevelRule("recommendation", "dominant with a reserve", "V", lowest.level_v, reserved_v, LEVEL_RESERVE),
            LevelRule("recommendation", "load of the driver", "ohm", loaded.load_ohm, least_ohm, LEAST_LOAD),
        ),
    )


def reserved_level_v(driven_v_min: Exact, threshold_v: Exact = RESERVED_THRESHOLD_V) -> Fraction:
    """``threshold + (driven - threshold) / 5``: 1.1 V for a driver of 1.5 V (`physical_layer.LEVEL_RESERVE`)."""
    return threshold_v + RESERVED_PART * (driven_v_min - threshold_v)


def level_pairs(harness: Harness) -> tuple[PairLevel, ...]:
    """The lowest level for every driver and every other node as hearer.

    Weakest drivers, lowest terminations and inputs, the cable's resistance as given (that of the hottest day). Slow for
    many nodes, seconds for 100: see `lowest_level`. Raises ValueError for an impossible harness.
    """
    require_possible(harness)
    return _heard_from(harness, harness.taps)


def lowest_level(harness: Harness) -> PairLevel:
    """The lowest of `level_pairs`. Raises ValueError for an impossible harness."""
    require_possible(harness)
    drivers = _least(harness.taps, _lowest_nearly_v(harness))
    return min(_heard_from(harness, drivers), key=lambda pair: pair.level_v)


def lowest_levels(harnesses: Sequence[Harness]) -> tuple[int, PairLevel]:
    """The one of several harnesses that hears least, by its index, and how. Raises as `lowest_level`."""
    for harness in harnesses:
        require_possible(harness)
    roughly = [min(_lowest_nearly_v(harness)) for harness in harnesses]
    found = [(index, lowest_level(harnesses[index])) for index in _least(range(len(harnesses)), roughly)]
    return min(found, key=lambda each: each[1].level_v)


def least_load(harness: Harness) -> PairLevel:
    """The driver that sees the least resistance, and who hears it worst. Raises as `lowest_level`."""
    require_possible(harness)
    circuit = Circuit(harness, highest=False)
    nearly = transfer_ohm_nearly(circuit.branches, circuit.shunts, list(circuit.pins.values()))
    pins = [circuit.pins[tap.node] for tap in harness.taps]
    roughly = [_driven(tap, nearly[pin][pin])[1] for tap, pin in zip(harness.taps, pins, strict=True)]
    return min(_heard_from(harness, _least(harness.taps, roughly)), key=lambda pair: (pair.load_ohm, pair.level_v))


def highest_level(harness: Harness) -> HighestLevel:
    """The highest level, at the driver's own pins: strongest driver, highest terminations, inputs that draw nothing.

    Raises ValueError for an impossible harness.
    """
    require_possible(harness)
    if not harness.terminations:
        strongest = max(harness.taps, key=lambda tap: tap.transceiver.source_v_max)
        return HighestLevel(strongest.node, strongest.transceiver.source_v_max, None)
    circuit = Circuit(harness, highest=True)
    pins = [circuit.pins[tap.node] for tap in harness.taps]
    nearly = transfer_ohm_nearly(circuit.branches, circuit.shunts, pins)
    roughly = [-_at_pins_v(tap, nearly[pin][pin]) for tap, pin in zip(harness.taps, pins, strict=True)]
    found = []
    for tap in _least(harness.taps, roughly):
        pin = circuit.pins[tap.node]
        load_ohm = transfer_ohm(circuit.branches, circuit.shunts, [pin])[pin][pin]
        found.append(HighestLevel(tap.node, _at_pins_v(tap, load_ohm), load_ohm))
    return max(found, key=lambda highest: highest.level_v)


def _lowest_nearly_v(harness: Harness) -> list[float]:
    """For each node as driver the lowest level at any other."""
    circuit = Circuit(harness, highest=False)
    pins = [circuit.pins[tap.node] for tap in harness.taps]
    nearly = transfer_ohm_nearly(circuit.branches, circuit.shunts, pins)
    return [
        _driven(tap, nearly[pin][pin])[0] * min(nearly[pin][other] for other in pins[:index] + pins[index + 1 :])
        for index, (tap, pin) in enumerate(zip(harness.taps, pins, strict=True))
    ]


def _heard_from(harness: Harness, drivers: Sequence[Tap]) -> tuple[PairLevel, ...]:
    """Exactly, for the ``drivers`` only."""
    circuit = Circuit(harness, highest=False)
    seen = transfer_ohm(circuit.branches, circuit.shunts, [circuit.pins[tap.node] for tap in drivers])
    found = []
    for driver in drivers:
        row = seen[circuit.pins[driver.node]]
        own_ohm = row[circuit.pins[driver.node]]
        volt_per_ohm, load_ohm = _driven(driver, own_ohm)
        for hearer in harness.taps:
            if hearer is not driver:
                level_v = volt_per_ohm * row[circuit.pins[hearer.node]]
                found.append(PairLevel(driver.node, hearer.node, level_v, volt_per_ohm * own_ohm, load_ohm))
    return tuple(found)


def _driven(driver: Tap, own_ohm: Number) -> tuple[Number, Number]:
    """(volts anywhere per transfer resistance to there, what the driver's pins see), at the weakest.

    ``own_ohm`` has the driver's own input in it, which its stated voltage has allowed for: it is taken out again.
    """
    circuit = driver.transceiver
    others = 1 - own_ohm / circuit.input_ohm
    load_ohm = own_ohm / others
    return circuit.source_v_min / (circuit.output_ohm + load_ohm) / others, load_ohm


def _at_pins_v(driver: Tap, load_ohm: Number) -> Number:
    circuit = driver.transceiver
    return circuit.source_v_max * load_ohm / (circuit.output_ohm + load_ohm)


def _least(things: Sequence[Thing], roughly: Sequence[float]) -> list[Thing]:
    """Those whose rough figure may be the least."""
    limit = min(roughly) + abs(min(roughly)) * _SLACK
    return [thing for thing, figure in zip(things, roughly, strict=True) if figure <= limit]
