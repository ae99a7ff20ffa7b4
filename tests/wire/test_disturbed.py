"""What becomes of a frame that some nodes read wrong: by hand, bit by bit, and the laws of every hit."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from busdesign.wire.confinement import Counters
from busdesign.wire.disturbed import Outcome, Step, counted, outcome
from busdesign.wire.frame import Frame, lay_out
from busdesign.wire.held import Hold, held_counts, held_frame
from busdesign.wire.views import Kind

ALL = frozenset("abc")
ACTIVE = dict.fromkeys("abc", Counters())
PASSIVE = Counters(tec=130)

# 0x123, three bytes. Stuff bits 17, 25, 34, 42; CRC delimiter 62, slot 63, delimiter 64, end of frame 65..71,
# intermission 72..74. Bits from 0 on, in tens:
# 0001001000 1100000111 0000010010 0000101000 0010011001 1100101110 0110111111 11111
FRAME = lay_out(Frame(0x123, b"\x01\x02\x03"))


def hit(
    *places: int, by: frozenset[str] = ALL, nodes: dict[str, Counters] = ACTIVE, frame: Frame | None = None
) -> Outcome:
    return outcome(lay_out(frame) if frame else FRAME, "a", nodes, dict.fromkeys(places, by))


def seen(found: Outcome) -> dict[str, tuple[Kind, int]]:
    return {name: (detection.kind, detection.bit) for name, detection in found.detected.items()}


def test_a_frame_that_nobody_reads_wrong_is_sent() -> None:
    found = hit()
    assert found.is_sent
    assert found.accepted_by == {"b", "c"}
    assert (found.flag_bit, found.free_bit) == (None, 75)
    assert found.steps == {"a": (Step.TRANSMITTED,), "b": (Step.RECEIVED,), "c": (Step.RECEIVED,)}


def test_a_bit_error_in_the_data_and_the_longest_superposition() -> None:
    """Bit 20 is dominant and read recessive by all, as the fourth in a row.

    The transmitter's flag is bits 21..26. To the receivers the sixth of its dominant bits, 26, is a stuff error, and
    their flags are 27..32. Twelve, then 8 and 3: free from 21 + 23 = 44 on.
    """
    found = hit(20)
    assert not found.is_sent
    assert seen(found) == {"a": (Kind.BIT, 20), "b": (Kind.STUFF, 26), "c": (Kind.STUFF, 26)}
    assert (found.flag_bit, found.flag_bits, found.free_bit) == (21, 12, 44)
    assert found.steps == {"a": (Step.TRANSMIT_ERROR,), "b": (Step.RECEIVE_ERROR,), "c": (Step.RECEIVE_ERROR,)}


def test_a_stuff_bit_that_all_read_wrong_is_the_shortest_superposition() -> None:
    """Bit 25, the recessive stuff bit after five dominant ones: to the receivers the sixth. All begin at 26."""
    found = hit(25)
    assert seen(found) == {"a": (Kind.BIT, 25), "b": (Kind.STUFF, 25), "c": (Kind.STUFF, 25)}
    assert (found.flag_bit, found.flag_bits, found.free_bit) == (26, 6, 43)


def test_a_recessive_bit_of_the_identifier_read_dominant_loses_the_arbitration() -> None:
    """Bit 3. Then nobody sends: bits 4..9 are six recessive ones, and all three begin at 10, receivers all."""
    found = hit(3)
    assert found.lost_arbitration
    assert not found.is_sent
    assert seen(found) == dict.fromkeys("abc", (Kind.STUFF, 9))
    assert (found.flag_bit, found.flag_bits, found.free_bit) == (10, 6, 27)
    assert found.steps == dict.fromkeys("abc", (Step.RECEIVE_ERROR,))


def test_one_that_loses_the_arbitration_to_nobody_is_found_out_by_the_others() -> None:
    """Only the transmitter reads bit 3 dominant. Receivers see six recessive bits from 3 to 8 and flag from 9 to 14;
    to it 3 was dominant, 4..8 five recessive ones, 9 a stuff bit and 9..14 six dominant ones: its own is 15..20.
    """
    found = hit(3, by=frozenset("a"))
    assert seen(found) == {"a": (Kind.STUFF, 14), "b": (Kind.STUFF, 8), "c": (Kind.STUFF, 8)}
    assert (found.flag_bit, found.flag_bits, found.free_bit) == (9, 12, 9 + 12 + 11)
    first = (Step.RECEIVE_ERROR, Step.DOMINANT_BEHIND_FLAG)
    assert found.steps == {"a": (Step.RECEIVE_ERROR,), "b": first, "c": first}


def test_a_recessive_stuff_bit_read_dominant_in_arbitration_costs_the_transmitter_nothing() -> None:
    """Identifier 0 begins 0 0000 and a recessive stuff bit in place 5."""
    found = hit(5, frame=Frame(0))
    assert seen(found) == dict.fromkeys("abc", (Kind.STUFF, 5))
    assert found.steps == {"a": (), "b": (Step.RECEIVE_ERROR,), "c": (Step.RECEIVE_ERROR,)}
    assert not found.lost_arbitration


def test_a_receiver_that_alone_reads_a_data_bit_wrong_finds_it_by_the_crc() -> None:
    """Bit 57 is in the CRC sequence (11010111 at its end); no stuff rule breaks, so c does not acknowledge, and flags
    after the acknowledge delimiter: 65..70. The others meet its first bit in their end of frame: 66..71.
    """
    found = hit(57, by=frozenset("c"))
    assert seen(found) == {"c": (Kind.CRC, 64), "a": (Kind.BIT, 65), "b": (Kind.FORM, 65)}
    assert (found.flag_bit, found.flag_bits, found.free_bit) == (65, 7, 83)
    assert found.steps["c"] == (Step.RECEIVE_ERROR, Step.DOMINANT_BEHIND_FLAG)
    assert found.steps["b"] == (Step.RECEIVED, Step.RECEIVE_ERROR)
    assert found.accepted_by == frozenset()


def test_nobody_else_there_is_an_acknowledge_error() -> None:
    found = outcome(FRAME, "a", {"a": Counters()}, {})
    assert seen(found) == {"a": (Kind.ACKNOWLEDGE, 63)}
    assert (found.flag_bit, found.flag_bits, found.free_bit) == (64, 6, 81)
    assert found.steps == {"a": (Step.TRANSMIT_ERROR,)}


def test_an_error_passive_node_alone_counts_no_further() -> None:
    found = outcome(FRAME, "a", {"a": PASSIVE}, {})
    assert found.steps == {"a": ()}
    assert (found.flag_bits, found.free_bit) == (0, 64 + 6 + 11)


def test_the_last_bit_but_one_divides_the_receivers() -> None:
    """Bit 70 is the sixth of end of frame. b alone reads it dominant and throws the frame away; c sees b's flag in the
    last bit, which is an overload condition to a receiver, and keeps it; the transmitter sends it again.
    """
    found = hit(70, by=frozenset("b"))
    assert not found.is_sent
    assert found.accepted_by == {"c"}
    assert seen(found) == {"b": (Kind.FORM, 70), "a": (Kind.BIT, 71), "c": (Kind.OVERLOAD, 71)}
    assert found.steps["c"] == (Step.RECEIVED,)
    assert found.steps["b"] == (Step.RECEIVED, Step.RECEIVE_ERROR, Step.DOMINANT_BEHIND_FLAG)


def test_the_last_bit_is_an_error_to_the_transmitter_alone() -> None:
    found = hit(71, by=frozenset("a"))
    assert not found.is_sent
    assert found.accepted_by == {"b", "c"}
    received = hit(71, by=frozenset("bc"))
    assert received.is_sent
    assert seen(received)["b"] == (Kind.OVERLOAD, 71)
    assert received.free_bit == 72 + 7 + 11  # their overload flags from 72, the transmitter's from 73


def test_an_error_passive_receiver_does_not_stop_a_frame() -> None:
    found = hit(40, by=frozenset("b"), nodes=ACTIVE | {"b": PASSIVE})
    assert found.is_sent
    assert found.accepted_by == {"c"}
    assert found.free_bit == 75
    assert found.steps["b"] == (Step.RECEIVE_ERROR,)


def test_an_error_passive_transmitter_falls_silent_and_is_found_out() -> None:
    """It alone reads bit 20 wrong, and is silent from 21 on: six recessive bits to the others, who flag from 27 on."""
    found = hit(20, by=frozenset("a"), nodes=ACTIVE | {"a": PASSIVE})
    assert seen(found) == {"a": (Kind.BIT, 20), "b": (Kind.STUFF, 26), "c": (Kind.STUFF, 26)}
    assert (found.flag_bit, found.flag_bits, found.free_bit) == (27, 6, 44)


def test_a_dominant_bit_in_intermission_is_an_overload_frame() -> None:
    found = hit(72)
    assert found.is_sent
    assert seen(found) == dict.fromkeys("abc", (Kind.OVERLOAD, 72))
    assert found.free_bit == 73 + 6 + 11
    assert counted(5, 0, found.steps["a"]) == (4, 0)


def test_who_does_not_take_part_cannot_send() -> None:
    with pytest.raises(ValueError, match="does not take part"):
        outcome(FRAME, "z", ACTIVE, {})


frames = st.builds(
    lambda identifier, data, remote: Frame(identifier, b"" if remote else data, False, remote),
    st.integers(0, 0x7FF),
    st.binary(max_size=8),
    st.booleans(),
) | st.builds(lambda identifier, data: Frame(identifier, data, True), st.integers(0, 2**29 - 1), st.binary(max_size=8))
sets_of_nodes = st.sets(st.sampled_from("abcd"), min_size=1).map(frozenset)


@given(frame=frames, data=st.data(), by=sets_of_nodes, passive=st.sets(st.sampled_from("abcd")))
@settings(max_examples=150, deadline=None)
def test_laws_of_every_hit(frame: Frame, data: st.DataObject, by: frozenset[str], passive: set[str]) -> None:
    wire = lay_out(frame)
    place = data.draw(st.integers(0, wire.length_bits - 4))
    nodes = {name: PASSIVE if name in passive else Counters() for name in "abcd"}
    found = outcome(wire, "a", nodes, {place: by})
    assert found.flag_bits == 0 or 6 <= found.flag_bits <= 12
    if found.flag_bits and found.flag_bit is not None:
        assert found.free_bit == found.flag_bit + found.flag_bits + 11
        assert found.free_bit <= found.sender_free_bit <= found.flag_bit + 31 - 8
    assert found.is_sent or found.flag_bit is not None
    assert found.is_sent == (Step.TRANSMITTED in found.steps["a"])
    assert "a" not in found.accepted_by
    if found.is_sent and found.flag_bit is None:
        assert by <= {"a"} | passive or place == wire.length_bits - 13, "an active receiver that reads wrong says so"
    for name, steps in found.steps.items():
        saw_nothing = place == 0 and not found.is_sent  # its transmitter fell silent in the start of frame
        assert name in found.accepted_by or name == "a" or Step.RECEIVE_ERROR in steps or saw_nothing


@given(frame=frames, place=st.integers(0, 40), other=st.sampled_from([Counters(), PASSIVE]))
@settings(max_examples=100, deadline=None)
def test_names_of_nodes_do_not_matter(frame: Frame, place: int, other: Counters) -> None:
    wire = lay_out(frame)
    one = outcome(wire, "a", ACTIVE | {"b": other}, {place: frozenset("b")})
    two = outcome(wire, "z", {"x": Counters(), "y": other, "z": Counters()}, {place: frozenset("y")})
    assert (one.free_bit, one.is_sent, one.flag_bits) == (two.free_bit, two.is_sent, two.flag_bits)
    assert (one.steps["b"], one.steps["c"]) == (two.steps["y"], two.steps["x"])


def taken(hold: Hold, tec: int, rec: int, count: int, *, transmits: bool) -> list[tuple[int, int, int]]:
    return [step for step, _ in zip(held_counts(tec, rec, hold, transmits=transmits), range(count), strict=False)]


def test_counters_on_a_pair_that_is_stuck_dominant() -> None:
    """The 14th dominant bit from the start of the flag, and each 8th from there on."""
    assert taken(Hold.DOMINANT, 8, 0, 3, transmits=True) == [(14, 16, 0), (22, 24, 0), (30, 32, 0)]
    assert taken(Hold.DOMINANT, 8, 1, 2, transmits=False) == [(14, 8, 9), (22, 8, 17)]


def test_counters_on_a_pair_that_is_stuck_recessive() -> None:
    """Every bit of the flag is a bit error that begins it anew, until it is a passive one."""
    steps = taken(Hold.RECESSIVE, 8, 0, 100, transmits=True)
    assert steps == [(bit, 8 + 8 * bit, 0) for bit in range(1, 16)]
    assert taken(Hold.RECESSIVE, 128, 0, 100, transmits=True) == []


def test_where_every_bit_is_turned_over_a_transmitter_is_bus_off_soon() -> None:
    """15 bits from 8 to 128, a passive flag of 6, and 16 times 8 bits that are read dominant."""
    assert taken(Hold.TURNED_OVER, 8, 0, 1000, transmits=True)[-1] == (15 + 6 + 16 * 8, 256, 0)


def test_a_frame_that_begins_on_a_recessive_pair_is_seen_by_nobody() -> None:
    found = held_frame(FRAME, 0, Hold.RECESSIVE)
    assert (found.transmitter.kind, found.transmitter.bit) == (Kind.BIT, 0)
    assert found.receivers.kind is None
    found = held_frame(FRAME, 30, Hold.DOMINANT)
    assert (found.transmitter.kind, found.transmitter.bit) == (Kind.BIT, 34)  # after four dominant bits
    assert (found.receivers.kind, found.receivers.bit) == (Kind.STUFF, 34)
