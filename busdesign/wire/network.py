"""Networks of resistances at direct current, solved exactly in fractions.

A network is `branches` between points and `shunts` from a point to the return wire. One ampere into a port raises a
voltage at every port: those transfer resistances say all that is needed of a passive network.
"""

from collections.abc import Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Generic, TypeAlias, TypeVar

Point = TypeVar("Point", bound=Hashable)
Number = TypeVar("Number", Fraction, float)


@dataclass(frozen=True, slots=True)
class Branch(Generic[Point]):
    """A resistance above zero between two points."""

    one: Point
    other: Point
    ohm: Fraction


@dataclass(frozen=True, slots=True)
class Shunt(Generic[Point]):
    """A resistance above zero from a point to the return wire."""

    point: Point
    ohm: Fraction


@dataclass(frozen=True, slots=True)
class _Step(Generic[Point, Number]):
    """One point taken out: what it was joined to when its turn came."""

    point: Point
    pivot: Number
    joined: Mapping[Point, Number]


def transfer_ohm(
    branches: Iterable[Branch[Point]], shunts: Iterable[Shunt[Point]], ports: Sequence[Point]
) -> dict[Point, dict[Point, Fraction]]:
    """``[a][b]``: the voltage at point b per ampere into port a; ``[a][a]`` is what port a sees. ``[a][b] == [b][a]``.

    Kirchhoff's current law at every point, by elimination, points of few neighbours first: a ladder or a tree with n
    points takes n steps, any other network works too. Raises ValueError for a resistance not above zero, for a port
    that is no point, and where some point has no way to the return wire.
    """
    return _solved(_conductances(branches, shunts), ports)


def transfer_ohm_nearly(
    branches: Iterable[Branch[Point]], shunts: Iterable[Shunt[Point]], ports: Sequence[Point]
) -> dict[Point, dict[Point, float]]:
    """`transfer_ohm` in floats, a hundred times as fast on a long ladder: to see which ports are worth solving for."""
    own, joined = _conductances(branches, shunts)
    own_float = {point: float(siemens) for point, siemens in own.items()}
    joined_float = {
        point: {other: float(siemens) for other, siemens in neighbours.items()} for point, neighbours in joined.items()
    }
    return _solved((own_float, joined_float), ports)


_Conductances: TypeAlias = tuple[dict[Point, Number], dict[Point, dict[Point, Number]]]


def _solved(conductances: _Conductances[Point, Number], ports: Sequence[Point]) -> dict[Point, dict[Point, Number]]:
    steps = _eliminate(*conductances)
    known = {step.point for step in steps}
    unknown = [port for port in ports if port not in known]
    if unknown:
        raise ValueError(f"{unknown[0]} is not a point of the network")
    return {port: _raised_by(port, steps) for port in ports}


def _conductances(branches: Iterable[Branch[Point]], shunts: Iterable[Shunt[Point]]) -> _Conductances[Point, Fraction]:
    """Each point's own conductance, and those to its neighbours."""
    own: dict[Point, Fraction] = {}
    joined: dict[Point, dict[Point, Fraction]] = {}
    for branch in branches:
        siemens = _siemens(branch.ohm)
        for point, across in ((branch.one, branch.other), (branch.other, branch.one)):
            own[point] = own.get(point, 0) + siemens
            neighbours = joined.setdefault(point, {})
            neighbours[across] = neighbours.get(across, 0) + siemens
    for shunt in shunts:
        own[shunt.point] = own.get(shunt.point, 0) + _siemens(shunt.ohm)
        joined.setdefault(shunt.point, {})
    return own, joined


def _siemens(ohm: Fraction) -> Fraction:
    if ohm <= 0:
        raise ValueError(f"a resistance of {ohm} ohm is not above zero")
    return 1 / Fraction(ohm)


def _eliminate(own: dict[Point, Number], joined: dict[Point, dict[Point, Number]]) -> list[_Step[Point, Number]]:
    steps = []
    while joined:
        point = min(joined, key=lambda candidate: len(joined[candidate]))
        neighbours, pivot = joined.pop(point), own[point]
        if pivot == 0:
            raise ValueError("a part of the network has no way to the return wire")
        steps.append(_Step(point, pivot, neighbours))
        for one, siemens in neighbours.items():
            del joined[one][point]
            own[one] -= siemens * siemens / pivot
            for other, across in neighbours.items():
                if other != one:
                    joined[one][other] = joined[one].get(other, 0) + siemens * across / pivot
    return steps


def _raised_by(port: Point, steps: Sequence[_Step[Point, Number]]) -> dict[Point, Number]:
    """The voltages that one ampere into ``port`` raises: currents forward through the steps, voltages back."""
    ampere: dict[Point, Number | int] = {port: 1}
    for step in steps:
        flowing = ampere.get(step.point, 0)
        if flowing:
            for neighbour, siemens in step.joined.items():
                ampere[neighbour] = ampere.get(neighbour, 0) + flowing * siemens / step.pivot
    volt: dict[Point, Number] = {}
    for step in reversed(steps):
        drawn = sum(siemens * volt[neighbour] for neighbour, siemens in step.joined.items())
        volt[step.point] = (ampere.get(step.point, 0) + drawn) / step.pivot
    return volt
