"""Error frames beside the errors that a catalogue declares."""

from dataclasses import replace
from fractions import Fraction
from math import exp

import pytest

from busdesign.answers.audit_limits import limits_and_bounds
from busdesign.bench.audit import Audit
from busdesign.bench.declared_errors import poisson_tail
from busdesign.bench.limits import Recorder
from busdesign.catalogue.model import Catalogue
from busdesign.catalogue.model_errors import ErrorModel
from busdesign.traffic.frames import Row, Traffic
from busdesign.wire.flags import ERROR
from tests.networks import MS, catalogue_of, message_of


def declaring(**model: object) -> Catalogue:
    message = message_of("m", 0x100, "a", 0, 10 * MS, lost_after_ns=None)
    catalogue = catalogue_of([message], 250_000, {"a": Fraction(0), "b": Fraction(0)})
    return replace(catalogue, bus=replace(catalogue.bus, errors=ErrorModel(**model)))  # type: ignore[arg-type]


def found(catalogue: Catalogue, errors_ms: list[float], frames: int = 100, size: int = 7) -> list[tuple[str, int]]:
    """The findings about errors in a capture with frames every 10 ms and error frames at these times."""
    rows: list[Row] = [(10 * MS * number, 0x100, 0, 0, 0, 0) for number in range(1, frames + 1)]
    rows += [(int(time * MS), 0x80, ERROR, 8, 0, 0) for time in errors_ms]
    traffic = Traffic.of_rows(sorted(rows))
    limits, _ = limits_and_bounds(catalogue, Recorder())
    seen = Audit(catalogue, limits)
    seen.take(traffic[at : at + size] for at in range(0, len(traffic), size))
    sightings = [one for one in seen.sightings() if one.finding.rule.startswith("error")]
    return [(one.finding.rule, one.count) for one in sightings]


@pytest.mark.parametrize("size", [3, 7, 1000])
def test_closer_than_declared(size: int) -> None:
    catalogue = declaring(at_least_apart_ns=50 * MS)
    assert found(catalogue, [105, 165, 225], size=size) == [("error-frames", 3)]
    assert found(catalogue, [105, 145, 225, 250], size=size) == [("error-frames", 4), ("errors-beyond-declared", 2)]


def test_a_disturbance_that_lasts_is_one() -> None:
    assert found(declaring(at_least_apart_ns=50 * MS, lasting_ns=4 * MS), [105, 107, 108.5, 161]) == [
        ("error-frames", 4)
    ]
    assert found(declaring(at_least_apart_ns=50 * MS), [105, 107, 108.5, 161]) == [
        ("error-frames", 4),
        ("errors-beyond-declared", 2),
    ]


def test_a_burst_in_one_busy_period_and_another_in_the_next() -> None:
    """Error frames 0.4 ms apart: a frame of 55 bits and the recovery are 0.35 ms, so the bus is not known idle."""
    catalogue = declaring(at_least_apart_ns=50 * MS, burst=2)
    assert found(catalogue, [105, 105.4, 115, 115.4]) == [("error-frames", 4)]
    assert found(catalogue, [105, 105.4, 105.8, 106.2]) == [("error-frames", 4), ("errors-beyond-declared", 2)]


def test_more_than_a_rate_can_give() -> None:
    """In one second: ten at three a second happen in one of 900 captures, thirty in none."""
    catalogue = declaring(rate_per_s=Fraction(3))
    assert found(catalogue, [105 + 50 * number for number in range(10)]) == [("error-frames", 10)]
    assert found(catalogue, [105 + 20 * number for number in range(30)]) == [
        ("error-frames", 30),
        ("errors-beyond-declared", 30),
    ]


def test_a_poisson_tail() -> None:
    """Against the sum from the other end, where that is exact enough."""
    for count, mean in ((5, 2.0), (12, 3.5), (4, 0.1)):
        terms, term = [], exp(-mean)
        for number in range(count):
            terms.append(term)
            term *= mean / (number + 1)
        assert poisson_tail(count, mean) == pytest.approx(1 - sum(terms), rel=1e-6, abs=1e-12)
    assert (poisson_tail(0, 0.0), poisson_tail(1, 0.0), poisson_tail(2, 3.0)) == (1.0, 0.0, 1.0)
    assert poisson_tail(100_000, 10.0) == 0.0


def test_declared_errors_allow_longer_waits() -> None:
    """A frame that is sent again after an error comes later than any on a bus without."""
    with_errors, _ = limits_and_bounds(declaring(at_least_apart_ns=50 * MS), Recorder())
    catalogue = declaring(at_least_apart_ns=50 * MS)
    without, _ = limits_and_bounds(replace(catalogue, bus=replace(catalogue.bus, errors=None)), Recorder())
    assert (without.messages["m"].wait_ns or 0) < (with_errors.messages["m"].wait_ns or 0)
    assert without.loads[10 * MS] <= with_errors.loads[10 * MS]  # type: ignore[operator]
