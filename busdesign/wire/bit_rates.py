"""Bit rates that several clocks can make alike: exactly, each within the limits of its own controller."""

from collections.abc import Sequence
from fractions import Fraction

from busdesign.wire.bit_timing import Limits


def nearest_common_rate_bit_s(
    boards: Sequence[tuple[int | Fraction, Limits]], wanted_bit_s: int | Fraction, most_bit_s: int | Fraction
) -> Fraction | None:
    """The rate up to ``most_bit_s`` nearest to the wanted one that every board makes without an error.

    ``boards`` are clocks [Hz] with the limits of their controllers. Of two rates as near the lower one. None if there
    is no such rate, or no board. A rate divides a clock by prescaler times quanta, so only whole such numbers count.
    """
    if not boards:
        return None
    clock_hz, limits = min(boards, key=lambda board: len(board[1].prescalers) * board[1].quanta_range[1])
    fewest, most = limits.quanta_range
    cycles = {prescaler * quanta for prescaler in limits.prescalers for quanta in range(fewest, most + 1)}
    rates = (Fraction(clock_hz) / bit for bit in cycles)
    ranked = sorted(
        (rate for rate in rates if rate <= most_bit_s), key=lambda rate: (abs(rate - Fraction(wanted_bit_s)), rate)
    )
    return next((rate for rate in ranked if all(makes(rate, *board) for board in boards)), None)


def makes(bit_rate_bit_s: Fraction, clock_hz: int | Fraction, limits: Limits) -> bool:
    """Whether a bit of that rate is a whole number of quanta, and of cycles of the clock, within the limits."""
    cycles = Fraction(clock_hz) / bit_rate_bit_s
    if cycles.denominator != 1:
        return False
    fewest, most = limits.quanta_range
    return any(
        cycles % prescaler == 0 and fewest <= cycles / prescaler <= most
        for prescaler in limits.prescalers
        if prescaler * fewest <= cycles
    )
