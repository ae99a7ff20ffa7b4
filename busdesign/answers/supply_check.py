"""The supply of the nodes in the answer of ``check``: what is left at its peak, how far grounds drift apart."""

from dataclasses import dataclass
from fractions import Fraction

from busdesign.wire.supply import GroundShift, SupplyDrop


@dataclass(frozen=True, slots=True)
class SupplyAnswer:
    """One node at its peak current: the drop of both wires, and what is left at its terminals."""

    node: str
    peak_a: float
    wire_ohm: float
    drop_v: float
    node_v: float
    at_least_v: float
    margin_v: float
    holds: bool
    source: str


@dataclass(frozen=True, slots=True)
class GroundAnswer:
    """For a node that hears, the driver whose ground lies furthest off; the wires over the hearer's own ground."""

    driver: str
    hearer: str
    shift_v: float
    common_mode_v: tuple[float, ...]
    limit_v: tuple[float, ...]
    margin_v: float
    holds: bool
    source: str


def supply_answers(drops: tuple[SupplyDrop, ...]) -> tuple[SupplyAnswer, ...]:
    """Every node with a supply of its own."""
    return tuple(
        SupplyAnswer(
            node=drop.unit,
            peak_a=float(drop.peak_a),
            wire_ohm=float(drop.power_ohm + drop.ground_ohm),
            drop_v=float(drop.power_drop_v + drop.ground_drop_v),
            node_v=float(drop.unit_v),
            at_least_v=float(drop.minimum_v),
            margin_v=float(drop.margin_v),
            holds=drop.holds,
            source=str(drop.source),
        )
        for drop in drops
    )


def ground_answers(shifts: tuple[GroundShift, ...]) -> tuple[GroundAnswer, ...]:
    """Every node that hears, the worst first."""
    return tuple(
        GroundAnswer(
            driver=shift.driver,
            hearer=shift.hearer,
            shift_v=float(shift.shift_v),
            common_mode_v=_floats(shift.common_mode_v),
            limit_v=_floats(shift.limit_v),
            margin_v=float(shift.margin_v),
            holds=shift.holds,
            source=str(shift.source),
        )
        for shift in shifts
    )


def _floats(pair: tuple[Fraction, Fraction]) -> tuple[float, ...]:
    return float(pair[0]), float(pair[1])
