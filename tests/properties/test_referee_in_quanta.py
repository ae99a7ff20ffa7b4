"""Own clocks: two nodes at the published limits of their oscillators, and a receiver beside `wire.sampling`."""

from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from busdesign.virtual.referee.model import Clockwork, Offer, Station
from busdesign.virtual.referee.outcome import OUTCOMES, SENT, Refereed
from busdesign.virtual.referee.running import run_in_quanta
from busdesign.wire.bit_timing import Segments, Setting
from busdesign.wire.frame import Frame, lay_out
from busdesign.wire.oscillator import classical_conditions
from busdesign.wire.sampling import sampled

TRAILER_BITS = 13  # from the CRC delimiter to the end of intermission
CLOCK_HZ = 16_000_000
# As few edges as there can be: ten bits from one edge to dominant to the next.
SPARSE = [
    Frame(0x078, b"\x3c" * 8),
    Frame(0x7FF, b"\xff" * 8),
    Frame(0x000, bytes(8)),
    Frame(0x1F07C1F0, b"\xf8\x3e\x0f\x83\xe0\xf8\x3e\x0f", extended=True),
]
SEGMENTS = [
    Segments(7, 4, 4, 4),
    Segments(7, 4, 4, 1),
    Segments(1, 4, 4, 4),
    Segments(2, 2, 2, 2),
    Segments(10, 3, 2, 1),
    Segments(5, 2, 2, 2),
    Segments(1, 7, 7, 4),
    Segments(3, 8, 4, 4),
]
OFFSETS = [Fraction(0), Fraction(1, 3), Fraction(9, 10)]


def heard(
    segments: Segments, frames: list[Frame], error: Fraction, offset: Fraction, delay_quanta: Fraction = Fraction(0)
) -> Refereed:
    """A sender fast by ``error``, a receiver slow by it, and a delay between them."""
    setting = Setting(CLOCK_HZ, 1, segments)
    bit_ns, delay_ns = int(setting.bit_ns) + 1, delay_quanta * setting.quantum_ns
    offers = tuple(Offer(2 * bit_ns * place, frame) for place, frame in enumerate(frames))
    return run_in_quanta(
        [Station("sender", offers), Station("receiver")],
        bit_ns * 200 * (len(frames) + 1),
        [Clockwork(setting, error), Clockwork(setting, -error, offset)],
        delays_ns=[[0, delay_ns], [delay_ns, 0]],
    )


def tolerance(segments: Segments) -> Fraction:
    return min(condition.tolerance for condition in classical_conditions(segments))


@pytest.mark.parametrize("segments", SEGMENTS, ids=str)
@pytest.mark.parametrize("sign", [1, -1])
def test_at_the_published_limit_all_frames_are_decoded(segments: Segments, sign: int) -> None:
    """With prop_seg filled by the delay, as the published conditions count it."""
    frames = [*SPARSE, *(Frame(rank, bytes(range(rank, rank + 8))) for rank in range(1, 200, 23))]
    for offset in OFFSETS:
        seen = heard(segments, frames, sign * tolerance(segments), offset, Fraction(segments.prop_seg, 2))
        assert not len(seen.flags.kind)
        assert (seen.attempts.outcome == SENT).sum() == len(seen.receptions.end) == len(frames)


@pytest.mark.parametrize("segments", SEGMENTS, ids=str)
def test_half_as_far_again_frames_with_few_edges_fail(segments: Segments) -> None:
    """The conditions are not tight: the first failures of these frames come at 1.2 to 1.5 times the limit."""
    error = tolerance(segments) * Fraction(3, 2)
    seen = [heard(segments, SPARSE, error, offset, Fraction(segments.prop_seg, 2)) for offset in OFFSETS]
    assert any(len(one.flags.kind) for one in seen)


def test_on_a_line_without_delay_an_acknowledgement_may_come_too_early_at_the_limit() -> None:
    """The conditions leave out that a receiver places an edge only to a quantum. Where prop_seg is not filled, the
    acknowledge bit of a fast receiver can reach into the sender's CRC delimiter: seen at the limit of this setting.
    """
    segments = Segments(5, 2, 2, 2)
    frame = Frame(1735, b"UPL\xe43\x0eR\xe2")
    kinds = []
    for place in range(20):
        seen = heard(segments, [frame], -tolerance(segments), Fraction(place, 20))
        kinds += [(station, OUTCOMES[kind]) for station, kind in zip(seen.flags.station, seen.flags.kind, strict=True)]
    assert (0, "bit error") in kinds
    delimiter = lay_out(frame).length_bits - TRAILER_BITS
    assert delimiter == 100


@st.composite
def any_segments(draw: st.DrawFn) -> Segments:
    phase_seg2 = draw(st.integers(2, 8))
    return Segments(
        draw(st.integers(1, 8)), draw(st.integers(1, 8)), phase_seg2, draw(st.integers(1, min(4, phase_seg2)))
    )


@given(
    segments=any_segments(),
    identifier=st.integers(0, 0x7FF),
    data=st.binary(max_size=8),
    receiver_error=st.fractions(Fraction(-6, 100), Fraction(6, 100), max_denominator=500),
    offset=st.integers(0, 9).map(lambda part: Fraction(part, 10)),
)
@settings(max_examples=150)
def test_the_receiver_takes_in_what_the_sampling_says(
    segments: Segments, identifier: int, data: bytes, receiver_error: Fraction, offset: Fraction
) -> None:
    """Up to the CRC delimiter, after which the receiver itself has a say."""
    setting, frame = Setting(CLOCK_HZ, 1, segments), Frame(identifier, data)
    delimiter = lay_out(frame).length_bits - TRAILER_BITS
    expected = sampled(
        setting,
        lay_out(frame).bits[: delimiter + 1],
        setting.bit_ns,
        clock_error=receiver_error,
        edge_in_quantum=(1 - offset) % 1,
    )
    seen = run_in_quanta(
        [Station("sender", (Offer(0, frame),)), Station("receiver")],
        int(setting.bit_ns * (delimiter + 12)),
        [Clockwork(setting), Clockwork(setting, receiver_error, offset)],
    )
    flags = list(zip(seen.flags.station.tolist(), seen.flags.kind.tolist(), seen.flags.bit.tolist(), strict=True))
    if all(bit.is_right for bit in expected):
        assert not flags or flags[0][2] >= delimiter
        assert not any(
            station == 1 and OUTCOMES[kind] in ("stuff error", "CRC error") for station, kind, _ in flags[:1]
        )
    else:
        assert flags
