"""Who wins, what is sent, and what is taken in, bit by bit, without errors."""

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from busdesign.virtual.referee.model import Flip, Offer, Station
from busdesign.virtual.referee.running import run
from busdesign.wire.arbitration import arbitration_key
from busdesign.wire.frame import Frame, lay_out
from tests.virtual.refereed import levels_of, rows_of

UNTIL = 500


@st.composite
def frames(draw: st.DrawFn) -> Frame:
    """Any frame; identifiers that share their leading bits are frequent."""
    extended, remote = draw(st.booleans()), draw(st.integers(0, 3)) == 0
    base = draw(st.sampled_from([0, 5, 0x555, 0x7FF]))
    identifier = base << 18 | draw(st.sampled_from([0, 1, 0x3FFFF])) if extended else base
    if remote:
        return Frame(identifier, extended=extended, remote=True, dlc=draw(st.integers(0, 15)))
    data = draw(st.binary(max_size=8))
    return Frame(identifier, data, extended=extended, dlc=draw(st.integers(8, 15)) if len(data) == 8 else None)


def key(frame: Frame) -> int:
    return arbitration_key(frame.identifier, extended=frame.extended, remote=frame.remote)


@given(frame=frames())
def test_a_frame_is_on_the_pair_as_the_reference_lays_it_out(frame: Frame) -> None:
    seen = run([Station("a", (Offer(0, frame),)), Station("b")], UNTIL, with_levels=True)
    bits = lay_out(frame).bits
    assert levels_of(seen, 0, len(bits)) == bits
    received = seen.receptions
    assert rows_of(received, "station", "identifier", "extended", "remote", "length_code") == [
        (1, frame.identifier, frame.extended, frame.remote, frame.length_code)
    ]
    assert int(received.payload[0]) == int.from_bytes(frame.data, "little")


@given(offered=st.lists(frames(), min_size=2, max_size=5))
def test_the_smaller_arbitration_key_wins(offered: list[Frame]) -> None:
    keys = [key(frame) for frame in offered]
    assume(len(set(keys)) == len(keys))
    stations = [Station(f"node{place}", (Offer(0, frame),)) for place, frame in enumerate(offered)]
    seen = run(stations, 160 * len(offered))
    sent = [station for station, how in rows_of(seen.attempts, "station", "outcome") if how == 0]
    assert sent == sorted(range(len(offered)), key=lambda place: keys[place])
    assert not len(seen.flags.kind)


def test_one_node_offers_its_most_urgent_frame_and_equals_first_come_first_served() -> None:
    offers = [
        Offer(3, Frame(2, b"\x01")),
        Offer(1, Frame(2, b"\x02")),
        Offer(9, Frame(1, b"")),
        Offer(0, Frame(9, b"")),
    ]
    seen = run([Station("a", tuple(offers)), Station("b")], UNTIL)
    assert list(seen.attempts.offer) == [3, 2, 1, 0]


@pytest.mark.parametrize(("ready", "joins"), [(0, True), (6, True), (7, False), (8, False)])
def test_ready_before_the_sample_point_joins(ready: int, joins: bool) -> None:
    stations = [Station("a", (Offer(0, Frame(0x200)),)), Station("b", (Offer(ready, Frame(0x100)),))]
    seen = run(stations, 1_000, bit=8, join=7)
    assert list(seen.attempts.station) == ([0, 1, 0] if joins else [0, 1])


def test_a_committed_frame_is_not_replaced_by_one_that_comes_before_the_sample_point() -> None:
    offers = (Offer(0, Frame(0x200)), Offer(3, Frame(0x100)))
    seen = run([Station("a", offers), Station("b")], 2_000, bit=8, join=7)
    assert list(seen.attempts.offer) == [0, 1]


def test_after_losing_a_node_offers_its_best_again() -> None:
    offers = (Offer(0, Frame(0x300)), Offer(10, Frame(0x100)))
    seen = run([Station("a", offers), Station("b", (Offer(0, Frame(0x200)),))], UNTIL)
    assert rows_of(seen.attempts, "station", "offer", "outcome") == [(0, 0, 1), (1, 0, 0), (0, 1, 0), (0, 0, 0)]


def test_a_start_of_frame_in_the_third_bit_of_intermission_is_one() -> None:
    """A node that misreads the acknowledge slot integrates a bit too soon: who has a frame joins, with no overload."""
    first = Frame(0x100)
    end = lay_out(first).length_bits
    slot = end - 3 - 7 - 1 - 1
    early = Station("early", (Offer(0, Frame(0x200)),), on_at=slot)
    waiting = Station("waiting", (Offer(0, first), Offer(5, Frame(0x150))))
    seen = run([waiting, Station("b"), early], UNTIL, flips=[Flip(slot, "early")])
    assert not len(seen.flags.kind)
    assert rows_of(seen.attempts, "station", "offer", "start", "outcome")[1:3] == [
        (2, 0, end - 1, 1),
        (0, 1, end - 1, 0),
    ]
