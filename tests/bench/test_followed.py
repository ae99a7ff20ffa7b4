"""Silences and signals gathered block by block are those of the whole."""

from dataclasses import replace
from fractions import Fraction

from hypothesis import given, settings
from hypothesis import strategies as st

from busdesign.bench.blocks import Blocks
from busdesign.bench.followed import Followed
from busdesign.bench.limits import Recorder
from busdesign.catalogue.model import Signal
from busdesign.scenario.silence import silence_track
from busdesign.traffic.decode import signal_track
from busdesign.traffic.frames import Traffic
from tests.networks import MS, catalogue_of, message_of

VALUE = Signal("value", 0, 8)


@settings(max_examples=80, deadline=None)
@given(
    st.lists(st.tuples(st.integers(1, 30 * MS), st.integers(0, 3)), min_size=1, max_size=30),
    st.integers(1, 30),
    st.integers(0, 25 * MS),
)
def test_the_same_tracks_as_from_the_whole(frames: list[tuple[int, int]], size: int, more_ns: int) -> None:
    message = replace(message_of("m", 0x100, "a", 1, 5 * MS, lost_after_ns=10 * MS), signals=(VALUE,))
    catalogue = catalogue_of([message], 250_000, {"a": Fraction(0), "b": Fraction(0)})
    rows, end = [], 0
    for gap, value in frames:
        end += gap
        rows.append((end, 0x100, 0, 1, 0, value))
    traffic, last = Traffic.of_rows(rows), end + more_ns
    followed = Followed(catalogue, ["m.value", "a.silent", "a.drive", "b.silent", "m.other"], [])
    for block in Blocks(catalogue, Recorder()).of(traffic[at : at + size] for at in range(0, len(rows), size)):
        followed.take(block)
    tracks = followed.tracks(0, last)
    assert set(tracks) == {"m.value", "a.silent"}
    heard = signal_track(traffic, message, "value")
    assert (tracks["m.value"].times_ns, tracks["m.value"].values) == (heard.times_ns, heard.values)
    expected = silence_track(traffic.end_ns.tolist(), 10 * MS, last)
    changes = [0, *expected.times_ns, *tracks["a.silent"].times_ns, last]
    assert [tracks["a.silent"].at(at) for at in changes] == [expected.at(at) for at in changes]
