"""Harnesses for tests: one that is right, and random ones."""

from fractions import Fraction

from hypothesis import strategies as st

from busdesign.wire.cable import Cable
from busdesign.wire.harness import Harness, Tap, Termination, Transceiver

GOOD = Harness(
    trunk_m=9,
    taps=(
        Tap("panel", 0),
        Tap("air_data", 2, Fraction(1, 4)),
        Tap("strut_left", 6, Fraction(1, 4)),
        Tap("strut_right", 9),
    ),
    terminations=(Termination(0, 120, Fraction(1, 100)), Termination(9, 120, Fraction(1, 100))),
)


def figures(*found: object) -> tuple[object, ...]:
    """For comparing fractions with whole numbers: to a strict type checker two tuples of them are never equal."""
    return found


def tenths(least: int, most: int) -> st.SearchStrategy[Fraction]:
    """Fractions with one decimal from ``least`` to ``most`` tenths."""
    return st.builds(Fraction, st.integers(least, most), st.just(10))


@st.composite
def harnesses(draw: st.DrawFn, most_taps: int = 5) -> Harness:
    """Nodes of any kind anywhere, one to three terminations anywhere, any cable but one without resistance."""
    trunk_m = draw(tenths(10, 5000))
    along = tenths(0, int(trunk_m * 10))
    stub = tenths(0, min(int(trunk_m * 10), 50))
    transceiver = st.builds(
        Transceiver,
        loop_delay_ns=st.integers(0, 255),
        isolator_ns=st.integers(0, 100),
        input_ohm=st.integers(5_000, 100_000),
        driven_v_min=tenths(12, 18),
        output_ohm=st.integers(0, 80),
    )
    count = draw(st.integers(2, most_taps))
    taps = tuple(Tap(f"n{i}", draw(along), draw(stub), draw(transceiver)) for i in range(count))
    terminations = draw(
        st.lists(
            st.builds(Termination, along, st.integers(50, 300), st.sampled_from([0, Fraction(1, 100)])),
            min_size=1,
            max_size=3,
        )
    )
    cable = Cable(draw(tenths(40, 70)), Fraction(draw(st.integers(1, 200)), 1000))
    return Harness(trunk_m, taps, tuple(terminations), cable)
