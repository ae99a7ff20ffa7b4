"""Quantities as people write them, and what is said of those that are none."""

import re
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from busdesign.units import (
    MAX_DURATION_NS,
    NS_PER_S,
    QuantityError,
    UnitError,
    duration_ns,
    format_bit_rate,
    format_duration,
    format_ratio,
    positive,
    positive_duration_ns,
    read_quantity,
)


@pytest.mark.parametrize(
    ("written", "kind", "value"),
    [
        ("50 ms", "duration", Fraction(1, 20)),
        ("50ms", "duration", Fraction(1, 20)),
        ("  50   ms ", "duration", Fraction(1, 20)),
        ("1.5 us", "duration", Fraction(3, 2_000_000)),
        ("1.5 \u00b5s", "duration", Fraction(3, 2_000_000)),
        ("1.5 \u03bcs", "duration", Fraction(3, 2_000_000)),
        (".5 min", "duration", Fraction(30)),
        ("2. h", "duration", Fraction(7200)),
        ("-3e2 ms", "duration", Fraction(-3, 10)),
        ("250 kbit/s", "bit rate", Fraction(250_000)),
        ("0.1 Mbit/s", "bit rate", Fraction(100_000)),
        ("16 MHz", "frequency", Fraction(16_000_000)),
        ("0.25 m", "length", Fraction(1, 4)),
        ("25 cm", "length", Fraction(1, 4)),
        ("120 ohm", "resistance", Fraction(120)),
        ("120 Ω", "resistance", Fraction(120)),
        ("0.12 k\u03a9", "resistance", Fraction(120)),
        ("87.5 %", "ratio", Fraction(7, 8)),
        ("87.5%", "ratio", Fraction(7, 8)),
        ("50 ppm", "ratio", Fraction(1, 20_000)),
        ("+0.3 %", "ratio", Fraction(3, 1000)),
        ("12 V", "voltage", Fraction(12)),
        ("-250 mV", "voltage", Fraction(-1, 4)),
        ("3 A", "current", Fraction(3)),
        ("50mA", "current", Fraction(1, 20)),
        ("0.34 mm2", "cross-section", Fraction(34, 100)),
        ("0.34 mm\u00b2", "cross-section", Fraction(34, 100)),
        ("70 mohm/m", "resistance per metre", Fraction(7, 100)),
        ("0.07 \u03a9/m", "resistance per metre", Fraction(7, 100)),
        ("70 m\u2126/m", "resistance per metre", Fraction(7, 100)),
        ("5.5 ns/m", "delay per metre", Fraction(11, 2)),
        ("-40 degC", "temperature", Fraction(-40)),
        ("70 \u00b0C", "temperature", Fraction(70)),
        ("20 kohm", "resistance", Fraction(20_000)),
    ],
)
def test_exact_value(written: str, kind: str, value: Fraction) -> None:
    assert read_quantity(written, kind) == value


@pytest.mark.parametrize(
    ("written", "kind", "text", "fix"),
    [
        ("50", "duration", "`50` has no unit", "a duration is written like `50 ms`"),
        (50, "duration", "`50` has no unit", "a duration is written like `50 ms`"),
        (0.875, "ratio", "`0.875` has no unit", "write `87.5 %` or `0.875 %`"),
        (50, "ratio", "`50` has no unit", "write `50 %` or `50 ppm`"),
        (0, "ratio", "`0` has no unit", "write `0 %`"),
        (1e-9, "ratio", "`1e-09` has no unit", "a ratio is written like `87.5 %`"),
        (
            "5 m",
            "duration",
            "`5 m` is not a duration: `m` measures a length",
            "allowed: `s`, `ms`, `us`, `ns`, `min`, `h`",
        ),
        ("5 MS", "duration", "`5 MS` is not a duration: `MS` is not a unit of it", "did you mean `ms`?"),
        ("500 kbps", "bit rate", "`500 kbps` is not a bit rate: `kbps` is not a unit of it", "did you mean `kbit/s`?"),
        ("16 mhz", "frequency", "`16 mhz` is not a frequency: `mhz` is not a unit of it", "did you mean `MHz`?"),
        (
            "1 GHz",
            "frequency",
            "`1 GHz` is not a frequency: `GHz` is not a unit of it",
            "allowed: `Hz`, `kHz`, `MHz`",
        ),
        ("12 v", "voltage", "`12 v` is not a voltage: `v` is not a unit of it", "did you mean `V`?"),
        ("12 A", "voltage", "`12 A` is not a voltage: `A` measures a current", "allowed: `V`, `mV`"),
        (
            "5 ns",
            "delay per metre",
            "`5 ns` is not a delay per metre: `ns` measures a duration",
            "allowed: `ns/m`",
        ),
        (
            "70 mohm",
            "resistance per metre",
            "`70 mohm` is not a resistance per metre: `mohm` measures a resistance",
            "allowed: `ohm/m`, `mohm/m`",
        ),
        ("70 C", "temperature", "`70 C` is not a temperature: `C` is not a unit of it", "allowed: `degC`"),
        (
            "1 Mohm",
            "resistance",
            "`1 Mohm` is not a resistance: `Mohm` is not a unit of it",
            "allowed: `ohm`, `mohm`, `kohm`",
        ),
    ],
)
def test_missing_or_wrong_unit(written: object, kind: str, text: str, fix: str) -> None:
    with pytest.raises(UnitError) as refused:
        read_quantity(written, kind)
    assert (refused.value.text, refused.value.fix) == (text, fix)
    assert str(refused.value) == f"{text}; {fix}"


@pytest.mark.parametrize(
    ("written", "found"),
    [
        (None, "nothing"),
        (True, "`true`"),
        ([50], "a list"),
        ({"ms": 50}, "a mapping"),
        ("", "``"),
        ("soon", "`soon`"),
        ("ms 50", "`ms 50`"),
        ("5 ms\nand more", r"`5 ms\nand more`"),
        ("٥ ms", "`٥ ms`"),
        ("9" * 5000 + " ms", "`" + "9" * 57 + "...`"),
        pytest.param(10**5000, "a number of more than 60 digits", id="5000 digits"),
        (float("nan"), "`nan`"),
    ],
)
def test_no_quantity_at_all(written: object, found: str) -> None:
    with pytest.raises(QuantityError) as refused:
        read_quantity(written, "duration")
    assert refused.value.text == f"expected a duration such as `50 ms`, found {found}"


@given(st.decimals(-1000, 1000, places=3))
def test_a_hint_for_a_ratio_names_only_what_is_likely(written: object) -> None:
    def is_likely(ratio: Fraction) -> bool:
        return abs(ratio) < Fraction(1, 10)

    with pytest.raises(UnitError) as refused:
        read_quantity(str(written), "ratio", is_likely)
    hinted = re.findall("`([^`]*)`", refused.value.fix.removeprefix("write "))
    assert hinted
    assert all(is_likely(read_quantity(way, "ratio")) for way in hinted)


def test_durations_are_whole_nanoseconds() -> None:
    assert duration_ns("0 s") == 0
    assert duration_ns("1.5 us") == 1500
    assert duration_ns("0.1 us") == 100
    assert duration_ns(f"{MAX_DURATION_NS // NS_PER_S} s") == MAX_DURATION_NS
    assert positive_duration_ns("1 ns") == 1


@pytest.mark.parametrize(
    ("written", "says"),
    [
        ("-1 ms", "`-1 ms` is negative; a duration here is zero or more"),
        ("1.5 ns", "`1.5 ns` is not a whole number of nanoseconds; write `2 ns`"),
        ("0.1 ns", "`0.1 ns` is not a whole number of nanoseconds; one nanosecond is the finest step of time here"),
        ("40 h", None),
        ("1,5 ms", "`1,5 ms` has a decimal comma; write `1.5 ms`: a decimal point, not a comma"),
        ("1e9 h", "`1e9 h` is too long; 1000000000 s is the most there is"),
    ],
)
def test_durations_out_of_bounds(written: str, says: str | None) -> None:
    if says is None:
        assert duration_ns(written) == 40 * 3600 * NS_PER_S
        return
    with pytest.raises(QuantityError) as refused:
        duration_ns(written)
    assert str(refused.value) == says


def test_what_must_be_above_zero() -> None:
    assert positive("8 MHz", "frequency") == 8_000_000
    with pytest.raises(QuantityError, match="`0 MHz` must be above zero; write a frequency such as `16 MHz`"):
        positive("0 MHz", "frequency")
    with pytest.raises(QuantityError, match="`0 ms` must be longer than zero"):
        positive_duration_ns("0 ms")


@pytest.mark.parametrize(
    ("time_ns", "said"),
    [
        (0, "0 ns"),
        (999, "999 ns"),
        (540_000, "540 us"),
        (1_540_000, "1.54 ms"),
        (-1_540_000, "-1.54 ms"),
        (Fraction(1, 3), "0.333333 ns"),
        (Fraction(2_000_000, 3), "666.666667 us"),
        (12 * NS_PER_S, "12 s"),
        (100 * NS_PER_S, "100 s"),
    ],
)
def test_durations_for_people(time_ns: int | Fraction, said: str) -> None:
    assert format_duration(time_ns) == said


@given(st.integers(1, 10**15))
def test_a_duration_for_people_reads_back_to_six_decimals(time_ns: int) -> None:
    said = format_duration(time_ns)
    scale_ns = {"ns": 1, "us": 10**3, "ms": 10**6, "s": 10**9}[said.split()[1]]
    assert abs(read_quantity(said, "duration") * NS_PER_S - time_ns) <= Fraction(scale_ns, 10**6)


def test_rates_and_ratios_for_people() -> None:
    assert [format_bit_rate(rate) for rate in (125_000, 1_000_000, 83_333, 500)] == [
        "125 kbit/s", "1 Mbit/s", "83.333 kbit/s", "500 bit/s",
    ]  # fmt: skip
    assert [format_ratio(ratio) for ratio in (Fraction(7, 8), 0.3243, 0)] == ["87.5 %", "32.4 %", "0.0 %"]
