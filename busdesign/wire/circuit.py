"""A harness as a network of resistances: its wires as a tree, with terminations and inputs across it."""

from fractions import Fraction
from itertools import pairwise

from busdesign.wire.harness import Harness
from busdesign.wire.network import Branch, Shunt


class Circuit:
    """`branches` of wire (both conductors in one), `shunts` across them, and every node's point in `pins`.

    Places with no wire between them are one point. With ``highest``, terminations are at the top of their tolerance and
    inputs draw nothing; else terminations are at the bottom, and every node's input draws.
    """

    def __init__(self, harness: Harness, *, highest: bool) -> None:
        self.branches: list[Branch[int]] = []
        self._points = 1
        loop = harness.cable.loop_ohm_per_m
        at_m = [*(tap.at_m for tap in harness.taps), *(each.at_m for each in harness.terminations)]
        places = sorted(map(Fraction, set(at_m)))
        of_place = {places[0]: 0}
        for before, after in pairwise(places):
            of_place[after] = self._wired(of_place[before], loop * (after - before))
        self.pins = {tap.node: self._wired(of_place[Fraction(tap.at_m)], loop * tap.stub_m) for tap in harness.taps}
        self.shunts = [
            Shunt(of_place[Fraction(each.at_m)], each.ohm_max if highest else each.ohm_min)
            for each in harness.terminations
        ]
        if not highest:
            self.shunts += [Shunt(self.pins[tap.node], Fraction(tap.transceiver.input_ohm)) for tap in harness.taps]

    def _wired(self, point: int, ohm: Fraction) -> int:
        """The point at the other end of a wire from ``point``."""
        if ohm == 0:
            return point
        end = self._points
        self._points += 1
        self.branches.append(Branch(point, end, ohm))
        return end
