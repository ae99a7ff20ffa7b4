"""Values and raw numbers: exact decimals at the edges, factors that fall, ranges that do not end on a step."""

import math
from decimal import Decimal
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from busdesign.catalogue.model import Role, Signal
from busdesign.catalogue.values import allowed_raws, initial_raw, raw_limits, to_number, to_raw, to_value

PERCENT = Signal("p", 0, 12, factor=0.05, minimum=0, maximum=100, unit="%")


@pytest.mark.parametrize(
    ("signal", "limits"),
    [
        (Signal("s", 0, 8), (0, 255)),
        (Signal("s", 0, 8, signed=True), (-128, 127)),
        (Signal("s", 0, 1, signed=True), (-1, 0)),
        (Signal("s", 0, 64), (0, 2**64 - 1)),
        (PERCENT, (0, 2000)),
        (Signal("s", 0, 10, factor=0.1, minimum=0.3, maximum=0.7), (3, 7)),  # in floats 0.7 / 0.1 is below 7
        (Signal("s", 0, 8, factor=-1, offset=100, minimum=0, maximum=100), (0, 100)),
        (Signal("s", 0, 8, factor=-0.5, minimum=-10, maximum=-2), (4, 20)),
        (Signal("s", 0, 8, signed=True, factor=-1, minimum=-5, maximum=9), (-9, 5)),
        (Signal("s", 0, 8, factor=0.6, minimum=0, maximum=1), (0, 1)),
        (Signal("s", 0, 4, role=Role.COUNTER, modulo=15), (0, 14)),
    ],
)
def test_raw_limits(signal: Signal, limits: tuple[int, int]) -> None:
    assert raw_limits(signal) == limits


@pytest.mark.parametrize(
    ("factor", "offset", "value", "raw"),
    [
        (0.1, 0, 0.3, 3),
        (0.1, 0, 0.15, 2),  # a tie in decimals, though 0.15 / 0.1 is below 1.5 in floats: to the even one
        (0.1, 0, 0.25, 2),
        (0.1, 0, 0.35, 4),
        (0.05, 0, 0.125, 2),
        (1, 0, 0.5, 0),
        (1, 0, 1.5, 2),
        (0.1, -40, -39.95, 0),
        (0.1, -40, -39.85, 2),
        (-1, 100, 42, 58),
    ],
)
def test_ties_are_those_of_the_decimals(factor: float, offset: float, value: float, raw: int) -> None:
    assert to_raw(Signal("s", 0, 16, factor=factor, offset=offset), value) == raw


def test_edges_of_a_range() -> None:
    assert to_raw(PERCENT, 100) == 2000
    assert to_raw(PERCENT, 100.02) == 2000  # less than half a step beyond
    assert to_raw(PERCENT, -0.02) == 0
    for beyond in (100.03, -0.03, 1e300, -1e300, 10**30):
        with pytest.raises(ValueError, match="0 to 100 % is allowed"):
            to_raw(PERCENT, beyond)


def test_end_of_a_range_between_two_steps_is_the_last_step() -> None:
    signal = Signal("s", 0, 8, factor=0.6, minimum=0, maximum=1)
    assert to_raw(signal, 1) == 1
    with pytest.raises(ValueError, match=r"0 to 0\.6 is allowed"):
        to_raw(signal, 1.01)


def test_64_bits_exact_from_whole_numbers_and_near_from_floats() -> None:
    signal = Signal("s", 0, 64)
    for raw in (2**63 + 1, 2**64 - 1, 2**53 + 1):
        assert to_raw(signal, raw) == raw
    assert to_raw(signal, to_number(signal, 2**64 - 1)) == 2**64 - 1
    with pytest.raises(ValueError, match="out of range"):
        to_raw(signal, 2**64)


@given(st.integers(1, 30), st.booleans(), st.data())
def test_rounding_is_that_of_exact_arithmetic(bits: int, signed: bool, data: st.DataObject) -> None:
    factor = data.draw(st.decimals("-10", "10", places=3).filter(lambda number: number != 0))
    offset = data.draw(st.decimals("-1000", "1000", places=2))
    signal = Signal("s", 0, bits, signed=signed, factor=float(factor), offset=float(offset))
    raw = data.draw(st.integers(signal.raw_min, signal.raw_max))
    between = data.draw(
        st.sampled_from([Decimal("0"), Decimal("0.5"), Decimal("-0.5"), Decimal("0.49"), Decimal("0.3")])
    )
    value = (raw + between) * factor + offset
    nearest = round((Fraction(value) - Fraction(offset)) / Fraction(factor))
    if signal.raw_min <= nearest <= signal.raw_max and Fraction(repr(float(value))) == Fraction(value):
        assert to_raw(signal, float(value)) == nearest


@given(st.integers(1, 64), st.booleans())
def test_every_raw_number_comes_back_from_its_value(bits: int, signed: bool) -> None:
    signal = Signal("s", 0, bits, signed=signed)
    for raw in {signal.raw_min, signal.raw_max, 0, signal.raw_max // 3}:
        value = to_number(signal, raw)
        assert math.isclose(to_raw(signal, value), raw, rel_tol=2.0**-52)
        assert to_raw(signal, raw) == raw


def test_numbers_of_numpy_and_booleans_are_numbers() -> None:
    signal = Signal("s", 0, 8, factor=0.5)
    for value in (np.float64(2.5), np.float32(2.5), Fraction(5, 2)):
        assert to_raw(signal, value) == 5
    assert to_raw(signal, np.int16(3)) == 6
    assert to_raw(Signal("b", 0, 1), True) == 1


def test_codes_outside_the_range_may_be_said() -> None:
    signal = Signal("s", 0, 8, minimum=0, maximum=200, codes={255: "invalid"})
    assert (to_raw(signal, "invalid"), to_raw(signal, 255)) == (255, 255)
    assert (to_value(signal, 255), to_value(signal, 200)) == ("invalid", 200.0)
    with pytest.raises(ValueError, match="0 to 200 is allowed"):
        to_raw(signal, 254)


def test_allowed_and_initial_raws() -> None:
    assert allowed_raws(Signal("s", 0, 4, codes={3: "x", 1: "y"})) == (1, 3)
    assert initial_raw(Signal("s", 0, 4, codes={3: "x", 1: "y"})) == 1
    assert initial_raw(Signal("s", 0, 4, codes={3: "x", 0: "y"}, initial="x")) == 3
    assert allowed_raws(PERCENT) == range(2001)
    assert initial_raw(Signal("s", 0, 8, minimum=5, maximum=9)) == 5
    assert initial_raw(Signal("s", 0, 8, signed=True, minimum=-9, maximum=-5)) == -5
    assert initial_raw(Signal("s", 0, 8, factor=0.5, initial=4)) == 8
    assert initial_raw(Signal("s", 0, 4, role=Role.COUNTER, modulo=16)) == 0
