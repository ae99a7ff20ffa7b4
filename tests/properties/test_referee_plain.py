"""The referee's compiled loops against the same loops as plain Python, on random cases full of errors."""

from fractions import Fraction

from hypothesis import given, settings
from hypothesis import strategies as st

from busdesign.virtual.referee.model import Clockwork, Flip, FlipInFrame, Offer, Station, Stuck
from busdesign.virtual.referee.running import run, run_in_quanta
from busdesign.wire.bit_timing import Segments, Setting
from busdesign.wire.confinement import Counters
from busdesign.wire.frame import Frame
from tests.virtual.refereed import everything_in

UNTIL_BITS = 600
NAMES = ["a", "b", "c"]
STATIONS = st.sampled_from([None, *NAMES])


@st.composite
def frames(draw: st.DrawFn) -> Frame:
    extended, remote = draw(st.booleans()), draw(st.integers(0, 4)) == 0
    identifier = draw(st.one_of(st.sampled_from([0, 1, 2]), st.integers(0, 0x1FFFFFFF if extended else 0x7FF)))
    if remote:
        return Frame(identifier, extended=extended, remote=True, dlc=draw(st.integers(0, 15)))
    data = draw(st.binary(max_size=8))
    return Frame(identifier, data, extended=extended, dlc=draw(st.integers(8, 15)) if len(data) == 8 else None)


@st.composite
def stations(draw: st.DrawFn, bit: int) -> list[Station]:
    made = []
    for name in NAMES:
        offers = draw(st.lists(st.builds(Offer, st.integers(0, UNTIL_BITS * bit // 2), frames()), max_size=3))
        made.append(
            Station(
                name,
                tuple(offers),
                recovers=draw(st.booleans()),
                requests=tuple(draw(st.lists(st.integers(0, UNTIL_BITS * bit), max_size=2))),
                on_at=draw(st.sampled_from([None, None, None, 20 * bit])),
                counters=Counters(*draw(st.sampled_from([(0, 0), (0, 0), (120, 3), (130, 130), (250, 0), (256, 0)]))),
            )
        )
    return made


@st.composite
def disturbances(draw: st.DrawFn, bit: int) -> tuple[list[Flip | FlipInFrame], list[Stuck]]:
    by_time = st.builds(Flip, st.integers(0, UNTIL_BITS * bit), STATIONS)
    by_place = st.builds(FlipInFrame, st.integers(0, 4), st.integers(1, 160), STATIONS)
    flips = draw(st.lists(st.one_of(by_time, by_place), max_size=8))
    since = draw(st.integers(0, UNTIL_BITS * bit))
    spell = Stuck(draw(st.sampled_from(NAMES)), draw(st.integers(0, 1)), since, since + draw(st.integers(1, 90 * bit)))
    return list(flips), draw(st.sampled_from([[], [spell]]))


@given(data=st.data(), bit=st.sampled_from([1, 8]))
@settings(max_examples=60)
def test_bit_by_bit(data: st.DataObject, bit: int) -> None:
    made = data.draw(stations(bit))
    flips, stuck = data.draw(disturbances(bit))
    join = data.draw(st.integers(1, bit))
    one, other = (
        run(
            made,
            UNTIL_BITS * bit,
            bit=bit,
            join=join,
            flips=flips,
            stuck=stuck,
            with_levels=True,
            plainly=plainly,
        )
        for plainly in (False, True)
    )
    assert everything_in(one) == everything_in(other)


@st.composite
def clockworks(draw: st.DrawFn) -> Clockwork:
    """Bits of 2 us, in one of several ways."""
    setting = draw(
        st.sampled_from(
            [
                Setting(8_000_000, 1, Segments(7, 4, 4, 2)),
                Setting(4_000_000, 1, Segments(2, 3, 2, 1)),
                Setting(10_000_000, 2, Segments(3, 3, 3, 3)),
            ]
        )
    )
    error = draw(st.sampled_from([Fraction(0), Fraction(1, 1000), Fraction(-1, 300), Fraction(1, 50), Fraction(1, 7)]))
    return Clockwork(setting, error, Fraction(draw(st.integers(0, 6)), 7))


@given(data=st.data(), works=st.lists(clockworks(), min_size=3, max_size=3))
def test_in_quanta(data: st.DataObject, works: list[Clockwork]) -> None:
    made = data.draw(stations(2_000))
    flips, stuck = data.draw(disturbances(2_000))
    delays = [[data.draw(st.sampled_from([0, 50, 333, 2_500])) for _ in NAMES] for _ in NAMES]
    one, other = (
        run_in_quanta(
            made,
            UNTIL_BITS * 2_000,
            works,
            delays_ns=delays,
            flips=flips,
            stuck=stuck,
            with_levels=True,
            plainly=plainly,
        )
        for plainly in (False, True)
    )
    assert everything_in(one) == everything_in(other)
