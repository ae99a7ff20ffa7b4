"""Recommended lengths by bit rate, as printed elsewhere: to be shown beside our own figures, never to check them.

They do not follow from a loop delay of 255 ns, and they contradict one another: each assumes transceivers and bit
timings of its own. A rate between two rows takes the row of the next faster rate, which is the stricter.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction

from busdesign.wire.physical_layer import Source
from busdesign.wire.problems import Exact


@dataclass(frozen=True, slots=True)
class LengthRecommendation:
    """``trunk_m`` as printed for ``bit_rate_bit_s``, the rate asked for or the next faster of the table."""

    bit_rate_bit_s: int
    trunk_m: Fraction
    source: Source
    note: str = ""


@dataclass(frozen=True, slots=True)
class StubRecommendation:
    """The longest stub, and all stubs together where the table has that, for ``bit_rate_bit_s``."""

    bit_rate_bit_s: int
    stub_m: Fraction
    all_stubs_m: Fraction | None
    source: Source


CIA_1995 = Source("a hardware manual quoting the CiA recommendations 07/95", "confirmed")
CIA_DS_102 = Source("a controller manual quoting CiA DS-102", "confirmed")
FIELD_BUS = Source("a fieldbus hardware manual", "confirmed")
ISO_REFERENCE = Source("ISO 11898-2, as quoted in TI SLLS804D and SLLSEC4B", "confirmed")
J1939 = Source("J1939, as quoted in an engine installation manual", "confirmed")
DEVICENET = Source("DeviceNet, as quoted in two drive manuals", "confirmed")
CANOPEN = Source("CANopen, as quoted in a device manual", "confirmed")

_TRUNK_M_BY_KBIT_S: tuple[tuple[Source, str, Mapping[int, int]], ...] = (
    (ISO_REFERENCE, "", {1000: 40}),
    (
        CIA_1995,
        "",
        {1000: 25, 800: 50, 500: 100, 250: 250, 125: 500, 100: 650, 50: 1000, 20: 2500, 10: 5000},
    ),
    (CIA_DS_102, "", {1000: 30, 800: 50, 500: 100, 250: 200, 125: 500, 50: 1000, 20: 2500, 10: 5000}),
    (
        FIELD_BUS,
        "40 m at 1 Mbit/s does not hold with optocouplers",
        {1000: 20, 500: 100, 250: 250, 125: 500, 50: 1000, 20: 2500, 10: 5000},
    ),
    (CANOPEN, "with its stubs", {1000: 25, 800: 50, 500: 100, 250: 250, 125: 500, 50: 1000}),
    (J1939, "", {250: 40}),
    (DEVICENET, "thick cable", {500: 100, 250: 250, 125: 500}),
    (DEVICENET, "thin cable", {500: 100, 250: 100, 125: 100}),
)
_STUB_M_BY_KBIT_S: tuple[tuple[Source, Mapping[int, tuple[str, str | None]]], ...] = (
    (ISO_REFERENCE, {1000: ("0.3", None)}),
    (
        CANOPEN,
        {
            1000: ("1.5", "7.5"),
            800: ("2.5", "12.5"),
            500: ("5.5", "27.5"),
            250: ("11", "55"),
            125: ("22", "110"),
            50: ("55", "275"),
        },
    ),
    (J1939, {250: ("1", None)}),
    (DEVICENET, {500: ("6", "39"), 250: ("6", "78"), 125: ("6", "156")}),
)


def recommended_lengths(bit_rate_bit_s: Exact) -> tuple[LengthRecommendation, ...]:
    """Every table's trunk for that rate; a table that ends below the rate has none."""
    return tuple(
        LengthRecommendation(1000 * kbit_s, Fraction(rows[kbit_s]), source, note)
        for source, note, rows in _TRUNK_M_BY_KBIT_S
        if (kbit_s := _row(rows, bit_rate_bit_s)) is not None
    )


def recommended_stubs(bit_rate_bit_s: Exact) -> tuple[StubRecommendation, ...]:
    """Every table's stubs for that rate; a table that ends below the rate has none."""
    found = []
    for source, rows in _STUB_M_BY_KBIT_S:
        kbit_s = _row(rows, bit_rate_bit_s)
        if kbit_s is not None:
            each, together = rows[kbit_s]
            all_m = None if together is None else Fraction(together)
            found.append(StubRecommendation(1000 * kbit_s, Fraction(each), all_m, source))
    return tuple(found)


def mixed_trunk_m(bit_rate_bit_s: int, thick_m: Exact, thin_m: Exact) -> tuple[Fraction, Fraction]:
    """DeviceNet's rule for a trunk of two cables: (the length that counts, the limit), both in metres of thick cable.

    ``thick + 5 thin <= 500`` at 125 kbit/s, ``thick + 2.5 thin <= 250`` at 250, ``thick + thin <= 100`` at 500
    (confirmed in two drive manuals). Raises ValueError for another rate.
    """
    factors = {125_000: (Fraction(5), 500), 250_000: (Fraction(5, 2), 250), 500_000: (Fraction(1), 100)}
    if bit_rate_bit_s not in factors:
        raise ValueError(f"{bit_rate_bit_s} bit/s is not one of 125000, 250000 and 500000, the rates of the rule")
    thin_counts, limit_m = factors[bit_rate_bit_s]
    return thick_m + thin_counts * thin_m, Fraction(limit_m)


def _row(rows: Mapping[int, object], bit_rate_bit_s: Exact) -> int | None:
    return min((kbit_s for kbit_s in rows if 1000 * kbit_s >= bit_rate_bit_s), default=None)
