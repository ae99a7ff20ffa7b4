"""Resistive networks: hand-worked circuits, and the same by numpy's linear algebra."""

from collections.abc import Hashable
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from busdesign.wire.network import Branch, Shunt, transfer_ohm, transfer_ohm_nearly


def test_a_divider() -> None:
    """10 ohm into 30 ohm to ground: the near port sees 40 ohm, the far one 30."""
    seen = transfer_ohm([Branch("near", "far", Fraction(10))], [Shunt("far", Fraction(30))], ["near", "far"])
    assert seen["near"]["near"] == 40
    assert seen["near"]["far"] == seen["far"]["near"] == seen["far"]["far"] == 30


def test_a_bus_with_two_terminations() -> None:
    """120 ohm, 4 ohm of wire, 120 ohm. At one end 120 || 124; of that the far end gets 120 / 124."""
    shunts = [Shunt(0, Fraction(120)), Shunt(1, Fraction(120))]
    seen = transfer_ohm([Branch(0, 1, Fraction(4))], shunts, [0])
    assert seen[0][0] == Fraction(120 * 124, 244)
    assert seen[0][1] == seen[0][0] * Fraction(120, 124)


def test_a_ring() -> None:
    """Three points in a ring of 1 ohm each, one of them grounded over 1 ohm: 1 + 1 || 2 from another."""
    ring = [Branch("a", "b", Fraction(1)), Branch("b", "c", Fraction(1)), Branch("c", "a", Fraction(1))]
    seen = transfer_ohm(ring, [Shunt("a", Fraction(1))], ["b"])
    assert seen["b"] == {"a": 1, "b": Fraction(5, 3), "c": Fraction(4, 3)}


def test_two_in_parallel() -> None:
    seen = transfer_ohm([Branch(0, 1, Fraction(6)), Branch(0, 1, Fraction(3))], [Shunt(1, Fraction(5))], [0])
    assert seen[0][0] == 2 + 5


@pytest.mark.parametrize(
    ("branches", "shunts", "ports", "said"),
    [
        ([Branch(0, 1, Fraction(1))], [], [0], "no way to the return wire"),
        ([Branch(0, 1, Fraction(1))], [Shunt(0, Fraction(0))], [0], "not above zero"),
        ([Branch(0, 1, Fraction(-1))], [Shunt(0, Fraction(1))], [0], "not above zero"),
        ([Branch(0, 1, Fraction(1))], [Shunt(0, Fraction(1))], [7], "not a point"),
    ],
)
def test_what_is_no_network(
    branches: list[Branch[Hashable]], shunts: list[Shunt[Hashable]], ports: list[Hashable], said: str
) -> None:
    with pytest.raises(ValueError, match=said):
        transfer_ohm(branches, shunts, ports)


OHMS = st.integers(1, 500).map(Fraction)


@settings(max_examples=40)
@given(st.integers(2, 6).flatmap(lambda n: st.tuples(st.just(n), st.lists(OHMS, min_size=n), st.data())))
def test_any_network_is_solved_as_numpy_does(drawn: tuple[int, list[Fraction], st.DataObject]) -> None:
    """A path through all points, so that it hangs together, and any chords and shunts."""
    count, ohms, data = drawn
    point = st.integers(0, count - 1)
    chords = data.draw(st.lists(st.tuples(point, point, OHMS).filter(lambda chord: chord[0] != chord[1]), max_size=6))
    shunts = data.draw(st.lists(st.builds(Shunt, point, OHMS), min_size=1, max_size=4))
    branches = [Branch(at, at + 1, ohms[at]) for at in range(count - 1)] + [Branch(*chord) for chord in chords]
    matrix = np.zeros((count, count))
    for branch in branches:
        for one, other in ((branch.one, branch.other), (branch.other, branch.one)):
            matrix[one, one] += 1 / float(branch.ohm)
            matrix[one, other] -= 1 / float(branch.ohm)
    for shunt in shunts:
        matrix[shunt.point, shunt.point] += 1 / float(shunt.ohm)
    expected = np.linalg.solve(matrix, np.eye(count))
    ports = list(range(count))
    for solved in (transfer_ohm(branches, shunts, ports), transfer_ohm_nearly(branches, shunts, ports)):
        found = [[float(solved[one][other]) for other in ports] for one in ports]
        assert found == pytest.approx(expected, rel=1e-7)
