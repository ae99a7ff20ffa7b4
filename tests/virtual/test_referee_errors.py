"""Errors on the wire, bit by bit: flags, counters, states, and who ends up with the frame."""

import pytest

from busdesign.virtual.referee.model import DOMINANT, RECESSIVE, Flip, FlipInFrame, Offer, Station, Stuck
from busdesign.virtual.referee.outcome import OUTCOMES, Refereed
from busdesign.virtual.referee.running import run
from busdesign.wire.confinement import Counters
from busdesign.wire.frame import Frame, lay_out
from tests.virtual.refereed import levels_of, rows_of

FRAME = Frame(0x123, b"\x55\xaa")
BITS = lay_out(FRAME).length_bits
LAST = BITS - 4  # the last bit of end of frame, counted from start of frame
FAR = 10**9


def field_start(frame: Frame, name: str) -> int:
    return next(field.first_bit for field in lay_out(frame).fields if field.name == name)


def outcomes(seen: Refereed) -> list[str]:
    return [OUTCOMES[how] for how in seen.attempts.outcome]


def flags(seen: Refereed) -> list[tuple[int, str]]:
    return [(station, OUTCOMES[kind]) for station, kind in rows_of(seen.flags, "station", "kind")]


def sender(*readies: int, **more: object) -> Station:
    return Station("sender", tuple(Offer(ready, FRAME) for ready in readies or (0,)), **more)  # type: ignore[arg-type]


def test_a_bit_that_all_misread_ends_the_frame_and_it_is_repeated() -> None:
    seen = run([sender(), Station("b")], 300, flips=[FlipInFrame(0, 30)], with_levels=True)
    assert outcomes(seen) == ["bit error", "sent"]
    assert rows_of(seen.attempts, "start", "end")[0] == (0, 31)
    # The sender's flag (6) makes the receiver see a stuff error; its own flag follows: up to 12, then the delimiter.
    flagged = levels_of(seen, 31, seen.attempts.start[1])
    dominant = len(flagged) - len(flagged.lstrip("0"))
    assert 6 <= dominant <= 12
    assert flagged == "0" * dominant + "1" * (8 + 3)
    assert seen.counters == (Counters(7, 0), Counters(0, 0))


def test_the_longest_error_frame() -> None:
    """Wherever the sender misreads: flags of 6 to 12 bits, one upon the other, delimiter 8, intermission 3."""
    frame = Frame(0x7FF, b"\xff\x00")
    lengths = set()
    for bit in range(field_start(frame, "identifier extension"), lay_out(frame).length_bits - 13):
        stations = [Station("sender", (Offer(0, frame),)), Station("b"), Station("c")]
        seen = run(stations, 300, flips=[FlipInFrame(0, bit, "sender")])
        assert outcomes(seen)[-1] == "sent"
        lengths.add(int(seen.attempts.start[1] - seen.attempts.end[0]))
    assert min(lengths) >= 6 + 8 + 3
    assert max(lengths) == 12 + 8 + 3


@pytest.mark.parametrize(("bit", "kind"), [(LAST - 9, "bit error"), (LAST - 8, "acknowledgement error")])
def test_what_the_sender_misreads_in_the_trailer(bit: int, kind: str) -> None:
    """The CRC delimiter, and the acknowledge slot."""
    seen = run([sender(), Station("b")], 300, flips=[FlipInFrame(0, bit, "sender")])
    assert outcomes(seen) == [kind, "sent"]
    assert seen.counters[0] == Counters(7, 0)


def test_a_receiver_that_misreads_data_sees_a_crc_error_after_the_acknowledge_delimiter() -> None:
    stations = [sender(), Station("b"), Station("c")]
    data = field_start(FRAME, "data")
    seen = run(stations, 300, flips=[FlipInFrame(0, data + 2, "c")])
    assert flags(seen)[0] == (2, "CRC error")
    assert seen.flags.bit[0] == LAST - 7  # the acknowledge delimiter
    assert outcomes(seen) == ["bit error", "sent"]


def test_nobody_is_disturbed_by_an_error_passive_receiver() -> None:
    passive = Station("c", counters=Counters(0, 200))
    seen = run([sender(), Station("b"), passive], 300, flips=[FlipInFrame(0, 30, "c")], with_levels=True)
    assert outcomes(seen) == ["sent"]
    assert levels_of(seen, 0, BITS) == lay_out(FRAME).bits
    assert rows_of(seen.receptions, "station") == [(1,)]
    assert flags(seen)[0][0] == 2
    assert seen.flags.is_passive.all()
    assert seen.counters[2].rec > 200


def test_an_error_in_the_last_but_one_bit_of_end_of_frame_gives_a_duplicate() -> None:
    """One receiver rejects, the other has the frame by then or has not; the sender repeats, so one gets it twice."""
    stations = [sender(), Station("b"), Station("c")]
    seen = run(stations, 400, flips=[FlipInFrame(0, LAST - 1, "c")])
    assert outcomes(seen) == ["bit error", "sent"]
    assert rows_of(seen.receptions, "station") == [(1,), (1,), (2,)]


def test_a_dominant_last_bit_of_end_of_frame_is_an_overload_to_a_receiver_and_the_frame_stands() -> None:
    stations = [sender(), Station("b"), Station("c")]
    seen = run(stations, 400, flips=[FlipInFrame(0, LAST, "c")], with_levels=True)
    assert outcomes(seen) == ["sent"]
    assert sorted(rows_of(seen.receptions, "station")) == [(1,), (2,)]
    assert flags(seen) == [(2, "overload"), (0, "overload"), (1, "overload")]
    # One bit of the first flag, then six of the others' that answer it; then the delimiter.
    assert levels_of(seen, BITS - 3, BITS - 3 + 15) == "0" * 7 + "1" * 8
    assert seen.counters == (Counters(0, 0),) * 3


def test_the_sender_repeats_a_frame_whose_last_bit_it_misreads() -> None:
    """For the sender the frame is valid only at its very end, one bit later than for the receivers: a duplicate."""
    seen = run([sender(), Station("b")], 400, flips=[FlipInFrame(0, LAST, "sender")])
    assert outcomes(seen) == ["bit error", "sent"]
    assert rows_of(seen.receptions, "station") == [(1,), (1,)]


def test_alone_a_node_goes_error_passive_and_stays_there() -> None:
    seen = run([sender()], 20_000)
    assert set(outcomes(seen)) == {"acknowledgement error"}
    assert rows_of(seen.countings, "tec") == [(8 * count,) for count in range(1, 17)]
    assert seen.counters == (Counters(128, 0),)
    assert seen.counters[0].state == "error passive"


def test_an_error_passive_node_suspends_its_next_transmission() -> None:
    """Alone, from one start of frame to the next: up to the acknowledge slot, flag, delimiter, intermission; then 8."""
    seen = run([sender()], 20_000)
    starts, slot = seen.attempts.start, field_start(FRAME, "acknowledge slot")
    assert starts[1] - starts[0] == slot + 1 + 6 + 8 + 3
    assert starts[-1] - starts[-2] == slot + 1 + 6 + 8 + 3 + 8


def test_a_node_in_suspended_transmission_joins_no_frame_of_another() -> None:
    """It has two frames; the second is more urgent than the one that another node gets in the meantime."""
    passive = Station("passive", (Offer(0, FRAME), Offer(0, FRAME)), counters=Counters(140, 0))
    seen = run([passive, Station("b", (Offer(5, Frame(0x7FF)),))], 400)
    assert rows_of(seen.attempts, "station", "start")[:2] == [(0, 0), (1, BITS)]
    assert outcomes(seen) == ["sent"] * 3


def test_thirty_two_failures_to_bus_off_and_1408_bits_back() -> None:
    """Its own bits read back wrong, time after time; nothing else is on the bus."""
    flips = [FlipInFrame(start, 25, "sender") for start in range(32)]
    seen = run([sender(), Station("b")], 10_000, flips=flips)
    assert outcomes(seen) == ["bit error"] * 32 + ["sent"]
    own = [row for row in rows_of(seen.countings, "station", "tec", "rule", "begin") if row[0] == 0]
    assert [row[1] for row in own[:32]] == [8 * count for count in range(1, 33)]
    off, back = own[31], own[32]
    assert (back[1], back[2]) == (0, 12)
    # The last flag is passive, so that the bus is quiet as soon as the receiver's own flags are over.
    assert back[3] - off[3] >= 1408
    assert seen.attempts.start[32] == back[3] + 1


def test_recovery_takes_exactly_128_times_11_bits_of_an_idle_bus() -> None:
    off = Station("off", (Offer(0, FRAME),), counters=Counters(256, 0))
    seen = run([off, Station("b")], 3_000)
    assert list(seen.attempts.start) == [1408]
    assert outcomes(seen) == ["sent"]


def test_recovery_on_request_starts_with_the_request() -> None:
    off = Station("off", (Offer(0, FRAME),), recovers=False, requests=(777,), counters=Counters(256, 0))
    seen = run([off, Station("b")], 5_000)
    assert list(seen.attempts.start) == [777 + 1408]


def test_without_a_request_there_is_no_recovery() -> None:
    off = Station("off", (Offer(0, FRAME),), recovers=False, counters=Counters(256, 0))
    seen = run([off, Station("b", (Offer(10, FRAME),)), Station("c")], 5_000)
    assert rows_of(seen.attempts, "station", "start") == [(1, 10)]
    assert seen.counters[0].state == "bus off"
    assert 0 not in seen.receptions.station


def test_a_request_before_the_node_went_bus_off_is_void() -> None:
    flips = [FlipInFrame(start, 25, "sender") for start in range(32)]
    seen = run([sender(recovers=False, requests=(5,)), Station("b")], 20_000, flips=flips)
    assert seen.counters[0].state == "bus off"


def test_a_stuff_error_in_arbitration_is_excused() -> None:
    """A recessive stuff bit of the identifier is overwritten: the sender signals it, and its TEC stays."""
    frame = Frame(0x001, b"")
    bits = lay_out(frame)
    assert bits.stuff_positions[0] == 5
    stations = [Station("sender", (Offer(0, frame),)), Station("b")]
    seen = run(stations, 300, stuck=[Stuck("b", DOMINANT, 5, 6)])
    assert outcomes(seen) == ["stuff error", "sent"]
    assert not any(row[0] == 0 for row in rows_of(seen.countings, "station"))


def test_a_bit_overwritten_after_arbitration_is_a_bit_error() -> None:
    frame = Frame(0x001, b"\xff")
    place = field_start(frame, "data")
    stations = [Station("sender", (Offer(0, frame),)), Station("b")]
    seen = run(stations, 300, stuck=[Stuck("b", DOMINANT, place, place + 1)])
    assert outcomes(seen) == ["bit error", "sent"]
    assert seen.counters[0].tec == 8 - 1


def test_a_transmitter_stuck_recessive_never_gets_a_start_of_frame_out() -> None:
    seen = run([sender(), Station("b")], 3_000, stuck=[Stuck("sender", RECESSIVE, 0, 3_000)])
    assert set(outcomes(seen)) == {"bit error"}
    assert not len(seen.receptions.end)


def test_a_bus_stuck_dominant_counts_every_eighth_bit_after_the_flag() -> None:
    seen = run([Station("a"), Station("b")], 200, stuck=[Stuck("b", DOMINANT, 50, FAR)])
    own = [row for row in rows_of(seen.countings, "station", "begin", "rec", "rule") if row[0] == 0]
    # Start of frame at 50, the sixth dominant bit at 55; flag 56 to 61, the first bit after it at 62.
    assert own[0] == (0, 55, 1, 1)
    assert own[1] == (0, 62, 9, 2)
    assert [row[1:] for row in own[2:5]] == [(69, 17, 6), (77, 25, 6), (85, 33, 6)]


@pytest.mark.parametrize(
    ("station", "identifier", "rules"), [("sender", 0x123, [(8, 3), (16, 4)]), ("b", 0x001, [(1, 1), (9, 5)])]
)
def test_a_recessive_bit_in_ones_own_error_flag_is_rule_4_and_5(
    station: str, identifier: int, rules: list[tuple[int, int]]
) -> None:
    """Bit 5 is a dominant bit of the one frame, and a stuff bit of the other."""
    flips = [FlipInFrame(0, 5, station), FlipInFrame(0, 5 + 3, station)]
    seen = run([Station("sender", (Offer(0, Frame(identifier)),)), Station("b")], 300, flips=flips)
    place = seen.stations.index(station)
    counter = "rec" if place else "tec"
    own = [row[1:] for row in rows_of(seen.countings, "station", counter, "rule") if row[0] == place]
    assert own[:2] == rules


def test_a_node_that_is_switched_on_integrates_after_eleven_recessive_bits() -> None:
    late = Station("late", (Offer(0, Frame(0x7FF)),), on_at=20)
    seen = run([sender(0, 1, 2), Station("b"), late], 500)
    assert rows_of(seen.attempts, "station", "outcome")[0] == (0, 0)
    # Its first chance: the bit after the eleventh recessive one, of acknowledge delimiter, end of frame, intermission.
    assert (2, 1) in rows_of(seen.attempts, "station", "outcome")
    assert rows_of(seen.receptions, "station")[0] == (1,)
    assert not len(seen.flags.kind)


def test_a_flip_by_time() -> None:
    seen = run([sender(), Station("b")], 300, flips=[Flip(30)])
    assert outcomes(seen) == ["bit error", "sent"]
    assert seen.attempts.bit[0] == 30


@pytest.mark.parametrize(
    ("made", "told"),
    [
        (lambda: run([], 10), "a bus has stations"),
        (lambda: run([Station("a"), Station("a")], 10), "a name of its own"),
        (lambda: run([Station("a")], 10, flips=[Flip(1, "b")]), "no station is called `b`"),
        (lambda: run([Station("a")], 10, stuck=[Stuck("a", 0, 1, 5), Stuck("a", 0, 4, 9)]), "stuck twice"),
        (lambda: run([Station("a")], 10, bit=8, join=9), "not within it"),
        (lambda: Station("a", requests=(-1,)), "starts at 0"),
        (lambda: FlipInFrame(0, 0), "cannot be flipped"),
        (lambda: Stuck("a", 2, 0, 1), "says nothing"),
    ],
)
def test_what_makes_no_sense_is_refused(made: object, told: str) -> None:
    assert callable(made)
    with pytest.raises(ValueError, match=told):
        made()
