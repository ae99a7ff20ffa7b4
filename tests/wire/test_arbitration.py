"""The arbitration key orders frames as the wired-AND of the bus does."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from busdesign.wire.arbitration import arbitration_key
from busdesign.wire.frame import Frame, lay_out


def key_of(frame: Frame) -> int:
    return arbitration_key(frame.identifier, extended=frame.extended, remote=frame.remote)


def winner(one: Frame, other: Frame) -> Frame | None:
    """Send both at once: whoever sends recessive and sees dominant withdraws; None if nobody has to."""
    for bit_of_one, bit_of_other in zip(lay_out(one).bits, lay_out(other).bits, strict=False):
        if bit_of_one != bit_of_other:
            return one if bit_of_one == "0" else other
    return None


@st.composite
def contests(draw: st.DrawFn) -> tuple[Frame, Frame]:
    """Two frames with no data; the second often shares the first's leading identifier bits, where order is subtle."""

    def contender(leading: int) -> Frame:
        extended, remote = draw(st.booleans()), draw(st.booleans())
        identifier = leading << 18 | draw(st.integers(0, 3) | st.integers(0, 0x3FFFF)) if extended else leading
        return Frame(identifier, extended=extended, remote=remote, dlc=0)

    leading = draw(st.integers(0, 0x7FF))
    return contender(leading), contender(draw(st.just(leading) | st.integers(0, 0x7FF)))


@given(contests())
def test_the_smaller_key_wins_the_contest_of_bits(contest: tuple[Frame, Frame]) -> None:
    one, other = contest
    won = winner(one, other)
    if key_of(one) == key_of(other):
        assert one == other
        assert won is None
    else:
        assert won == min(contest, key=key_of)


@given(st.from_type(Frame), st.from_type(Frame))
def test_frames_with_data_are_decided_by_the_same_key(one: Frame, other: Frame) -> None:
    if key_of(one) != key_of(other):
        assert winner(one, other) == min(one, other, key=key_of)


@given(st.from_type(Frame))
def test_the_key_is_made_of_the_bits_as_sent(frame: Frame) -> None:
    contested_bits = 32 if frame.extended else 13
    wire = lay_out(frame)
    sent = "".join(bit for place, bit in enumerate(wire.bits) if place not in wire.stuff_positions)
    assert f"{key_of(frame):032b}"[:contested_bits] == sent[1 : 1 + contested_bits]


def test_of_equal_leading_bits_base_data_beats_base_remote_beats_extended() -> None:
    order = [
        arbitration_key(0x123),
        arbitration_key(0x123, remote=True),
        arbitration_key(0x123 << 18, extended=True),
        arbitration_key(0x123 << 18, extended=True, remote=True),
        arbitration_key(0x123 << 18 | 1, extended=True),
        arbitration_key(0x124),
    ]
    assert order == sorted(set(order))
    assert max(order) < 1 << 32


def test_an_identifier_out_of_range_has_no_key() -> None:
    with pytest.raises(ValueError, match=r"0x800 is not within 0\.\.0x7ff"):
        arbitration_key(0x800)
