"""Exact time for a run: a tick so fine that every drifted clock and every bit is a whole number of them.

With no drift and a bit rate that divides a second into whole nanoseconds a tick is a nanosecond; otherwise ticks are
finer, and Python's integers carry them without rounding.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from math import ceil, lcm
from random import Random
from typing import Any

from busdesign.catalogue.model import Catalogue
from busdesign.chance import stream

PPM = Fraction(1, 1_000_000)


def half_up(ticks: Any, ticks_per_ns: int) -> Any:
    """``ticks``, a number or a column, in nanoseconds: the one rounding of every time that leaves the kernel."""
    return ticks if ticks_per_ns == 1 else (2 * ticks + ticks_per_ns) // (2 * ticks_per_ns)


@dataclass(frozen=True, slots=True)
class TimeBase:
    """How many ticks make a true nanosecond, and what each node's own clock makes of that."""

    ticks_per_ns: int
    node_ticks_per_ns: Mapping[str, int]  # ticks in what the node believes to be a nanosecond
    bit_ticks: Mapping[str, int]  # one bit, sent by that node
    join_ticks: int  # start of frame to sample point, rounded up: ready before this joins the arbitration


def drifts_of(catalogue: Catalogue, drift: str | Mapping[str, Fraction], seed: int) -> dict[str, Fraction]:
    """Each node's clock error as a fraction of one (positive: fast).

    ``none``: all zero. ``random``: uniform within each node's tolerance, in whole ppm. ``worst``: every sender fast by
    its whole tolerance, which makes its periods shortest. A mapping: as given, the others zero.
    """
    if isinstance(drift, str):
        return {
            name: _drift(drift, node.tolerance, stream(seed, "drift", name)) for name, node in catalogue.nodes.items()
        }
    return {name: drift.get(name, Fraction(0)) for name in catalogue.nodes}


def _drift(kind: str, tolerance: Fraction, rng: Random) -> Fraction:
    if kind == "random":
        most = int(tolerance / PPM)
        return rng.randint(-most, most) * PPM
    return tolerance if kind == "worst" else Fraction(0)


def time_base(catalogue: Catalogue, drifts: Mapping[str, Fraction]) -> TimeBase:
    """The coarsest tick in which all clocks of ``catalogue`` count whole numbers."""
    slowness = {name: 1 / (1 + error) for name, error in drifts.items()}
    bit_ns = catalogue.bus.bit_ns
    per_ns = lcm(*(factor.denominator for factor in slowness.values()))
    per_ns = lcm(per_ns, *((bit_ns * factor).denominator for factor in slowness.values()))
    return TimeBase(
        ticks_per_ns=per_ns,
        node_ticks_per_ns={name: int(per_ns * factor) for name, factor in slowness.items()},
        bit_ticks={name: int(per_ns * bit_ns * factor) for name, factor in slowness.items()},
        join_ticks=ceil(per_ns * bit_ns * catalogue.bus.sample_point),
    )
