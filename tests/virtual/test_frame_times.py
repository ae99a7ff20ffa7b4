"""A frame's length and times, and how they are rounded."""

from fractions import Fraction
from math import ceil

from hypothesis import given, settings
from hypothesis import strategies as st

from tests.networks import MS, fixed
from tests.virtual.small_buses import BIT_NS, bits_of, bus, half_up, message, played

PAYLOADS = st.binary(max_size=8)


@given(data=PAYLOADS, identifier=st.integers(0, 0x1FFF_FFFF), extended=st.booleans())
@settings(max_examples=40)
def test_a_frame_has_its_exact_length(data: bytes, identifier: int, extended: bool) -> None:
    identifier = identifier if extended else identifier & 0x7FF
    sent = message("m", identifier, "a", length=len(data), extended=extended, offset_ns=10_000)
    run = played(bus(sent), 5 * MS, payload=fixed({"m": data}))
    bits = bits_of(sent, data)
    assert run.wire_bits.tolist() == [bits]
    assert run.start_ns.tolist() == [10_000]
    assert run.traffic.end_ns.tolist() == [10_000 + (bits - 3) * BIT_NS]
    assert run.response_ns.tolist() == [bits * BIT_NS]
    assert run.traffic.data(0) == data


DRIFTS = st.sampled_from([Fraction(0), Fraction(3, 1000), Fraction(-3, 1000), Fraction(1, 3_000_000), Fraction(-1, 10)])


@given(
    data=PAYLOADS, drift=DRIFTS, bit_rate=st.sampled_from([83_333, 250_000, 33_300]), offset_ns=st.integers(0, 9_999)
)
@settings(max_examples=40)
def test_each_time_is_rounded_once_from_the_exact_one(
    data: bytes, drift: Fraction, bit_rate: int, offset_ns: int
) -> None:
    """A fast clock makes the offset and the bit shorter alike."""
    sent = message("m", 0x123, "a", length=len(data), offset_ns=offset_ns)
    run = played(bus(sent, bit_rate=bit_rate), 20 * MS, payload=fixed({"m": data}), drift={"a": drift})
    bits, bit_ns = bits_of(sent, data), Fraction(10**9, bit_rate) / (1 + drift)
    start_ns = offset_ns / (1 + drift)
    assert run.release_ns.tolist() == run.ready_ns.tolist() == run.start_ns.tolist() == [half_up(start_ns)]
    assert run.traffic.end_ns.tolist() == [half_up(start_ns + (bits - 3) * bit_ns)]
    assert run.response_ns.tolist() == [bits * bit_ns // 1]
    assert run.wire_bits.tolist() == [bits]


@given(bit_rate=st.integers(20_000, 1_000_000), data=PAYLOADS, drift=DRIFTS)
@settings(max_examples=40)
def test_a_response_is_never_rounded_above_the_exact_time(bit_rate: int, data: bytes, drift: Fraction) -> None:
    """So a bound, rounded up, is never broken by rounding; nor is the response short by a whole nanosecond."""
    sent = message("m", 0x123, "a", length=len(data))
    run = played(bus(sent, bit_rate=bit_rate), 20 * MS, payload=fixed({"m": data}), drift={"a": drift})
    exact_ns = bits_of(sent, data) * Fraction(10**9, bit_rate) / (1 + drift)
    assert 0 <= exact_ns - int(run.response_ns[0]) < 1
    assert int(run.response_ns[0]) <= ceil(exact_ns)


def test_the_response_counts_from_the_nominal_release_through_jitter_and_waiting() -> None:
    blocks = message("blocks", 0x001, "b", length=8, offset_ns=250_000)
    late = message("late", 0x100, "a", offset_ns=100_000, jitter_ns=200_000)
    run = played(bus(blocks, late), 5 * MS, jitter="worst")
    assert run.release_ns[1] == 100_000
    assert run.ready_ns[1] == 300_000
    assert run.start_ns[1] == 250_000 + bits_of(blocks) * BIT_NS
    assert run.response_ns[1] == run.start_ns[1] + bits_of(late) * BIT_NS - 100_000


def test_rounding_does_not_add_up_over_many_frames() -> None:
    """Hundreds of frames back to back at 83.333 kbit/s: the last one ends where the fraction says."""
    sent = message("m", 0x555, "a", length=0, period=MS // 10)
    run = played(bus(sent, bit_rate=83_333), 300 * MS)
    bit_ns, bits = Fraction(10**9, 83_333), bits_of(sent)
    assert len(run.traffic) > 400
    expected = [half_up((number + 1) * bits * bit_ns - 3 * bit_ns) for number in range(len(run.traffic))]
    assert run.traffic.end_ns.tolist() == expected
