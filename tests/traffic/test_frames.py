"""The columns of frames: what may exist, and choosing, joining and comparing them."""

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from busdesign.traffic.frames import Row, Traffic, concatenate
from busdesign.wire.flags import BIT_RATE_SWITCH, ERROR, EXTENDED, FD, REMOTE

THREE: list[Row] = [
    (540_000, 0x110, 0, 2, 0, 0x0002),
    (1_210_000, 0x18FF0010, EXTENDED, 0, 1, 0),
    (1_900_000, 0x7F0, REMOTE, 8, 0, 0),
]


def three() -> Traffic:
    return Traffic.of_rows(THREE, ("can0", "can1"))


def test_columns_have_the_types_that_are_promised() -> None:
    traffic = three()
    assert len(traffic) == 3
    assert traffic.end_ns.dtype == np.int64
    assert traffic.identifier.dtype == np.uint32
    assert {traffic.flags.dtype, traffic.length.dtype, traffic.channel.dtype} == {np.dtype(np.uint8)}
    assert traffic.payload.dtype == np.uint64


def test_data_is_byte_0_first_and_a_remote_frame_has_none() -> None:
    traffic = three()
    assert [traffic.data(row) for row in range(3)] == [b"\x02\x00", b"", b""]
    assert [traffic.channel_name(row) for row in range(3)] == ["can0", "can1", "can0"]


@pytest.mark.parametrize(
    ("row", "complaint"),
    [
        ((-1, 0, 0, 0, 0, 0), "ends before 0"),
        ((0, 0x800, 0, 0, 0, 0), "beyond 11 bits"),
        ((0, 0x2000_0000, EXTENDED, 0, 0, 0), "beyond 29 bits"),
        ((0, 0x2000_0000, ERROR, 0, 0, 0), "beyond 29 bits"),
        ((0, 0, FD, 0, 0, 0), "FD frames are not kept yet"),
        ((0, 0, BIT_RATE_SWITCH, 0, 0, 0), "flags beyond"),
        ((0, 0, ERROR | EXTENDED, 0, 0, 0), "more flags than ERROR"),
        ((0, 0, 0, 9, 0, 0), "longer than 8 data bytes"),
        ((0, 0, REMOTE, 16, 0, 0), "length code beyond 15"),
        ((0, 0, 0, 1, 0, 0x100), "payload bits beyond its data"),
        ((0, 0, REMOTE, 1, 0, 1), "remote frame with a payload"),
        ((0, 0, 0, 0, 2, 0), "none of the 2 channels"),
    ],
)
def test_a_row_that_cannot_be_is_named(row: Row, complaint: str) -> None:
    with pytest.raises(ValueError, match=rf"row 3 .*{complaint}"):
        Traffic.of_rows([*THREE, row], ("can0", "can1"))


@pytest.mark.parametrize("row", [(2**63, 0, 0, 0, 0, 0), (0, 2**32, 0, 0, 0, 0), (0, 0, 0, 0, 0, -1), (0,)])
def test_values_that_fit_no_column_are_refused(row: Any) -> None:
    with pytest.raises(ValueError, match=r"fit its column|a row has 6 values"):
        Traffic.of_rows([row])


@pytest.mark.parametrize("channels", [("can0", "can0"), ("",), ("can 0",), ("can\n",), ("c" * 65,), ("\ud800",)])
def test_channel_names_that_no_file_could_carry_are_refused(channels: tuple[str, ...]) -> None:
    with pytest.raises(ValueError, match="channel"):
        Traffic.empty(channels)


@pytest.mark.parametrize(
    "end_ns",
    [np.zeros(2, np.int64), np.zeros(3, np.float64), np.zeros((3, 1), np.int64)],
    ids=["too short", "float", "two axes"],
)
def test_columns_of_another_shape_or_type_are_refused(end_ns: np.ndarray) -> None:
    traffic = three()
    with pytest.raises(ValueError, match="must be an array of"):
        Traffic(end_ns, traffic.identifier, traffic.flags, traffic.length, traffic.channel, traffic.payload)


def test_columns_are_read_only_but_the_callers_array_is_not() -> None:
    traffic, end_ns = three(), np.zeros(3, np.int64)
    made = Traffic(
        end_ns, traffic.identifier, traffic.flags, traffic.length, traffic.channel, traffic.payload, traffic.channels
    )
    end_ns[0] = 7
    for column in (made.end_ns, made[1:].end_ns, made[made.flags == 0].end_ns):
        with pytest.raises(ValueError, match="read-only"):
            column[0] = 5


@pytest.mark.parametrize(
    ("choose", "expected"),
    [
        (lambda traffic: traffic[1:], [1, 2]),
        (lambda traffic: traffic[::-1], [2, 1, 0]),
        (lambda traffic: traffic[traffic.channel == 0], [0, 2]),
        (lambda traffic: traffic[np.array([2, 0])], [2, 0]),
        (lambda traffic: traffic[:0], []),
    ],
)
def test_choosing_rows(choose: Callable[[Traffic], Traffic], expected: list[int]) -> None:
    assert choose(three()).equal(Traffic.of_rows([THREE[row] for row in expected], ("can0", "can1")))


def test_one_row_number_is_no_choice() -> None:
    with pytest.raises(TypeError, match="slice, a mask or row numbers"):
        three()[0]  # type: ignore[index]


def test_equal_goes_by_the_channels_name() -> None:
    traffic = three()
    swapped = [(*row[:4], 1 - row[4], row[5]) for row in THREE]
    assert traffic.equal(Traffic.of_rows(swapped, ("can1", "can0")))
    assert not traffic.equal(Traffic.of_rows(THREE, ("can1", "can0")))
    assert not traffic.equal(Traffic.of_rows(THREE, ("can0", "can2")))


@pytest.mark.parametrize("column", range(6))
def test_equal_sees_a_difference_in_any_column(column: int) -> None:
    changed = list(THREE)
    row = list(THREE[0])
    row[column] = {0: 1, 1: 0x111, 2: EXTENDED, 3: 3, 4: 1, 5: 0x0102}[column]
    changed[0] = (row[0], row[1], row[2], row[3], row[4], row[5])
    assert not three().equal(Traffic.of_rows(changed, ("can0", "can1")))


@given(st.from_type(Traffic), st.integers(0, 12))
def test_what_is_cut_and_joined_is_the_same(traffic: Traffic, place: int) -> None:
    joined = concatenate([traffic[:place], traffic[place:]])
    assert joined.equal(traffic)
    assert [joined.data(row) for row in range(len(joined))] == [traffic.data(row) for row in range(len(traffic))]


def test_joining_gives_every_channel_its_name() -> None:
    left, right = Traffic.of_rows(THREE[:1], ("can0",)), Traffic.of_rows(THREE[:1], ("can5",))
    joined = concatenate([left, right, left])
    assert [joined.channel_name(row) for row in range(3)] == ["can0", "can5", "can0"]
    assert len(concatenate([])) == 0


def test_joining_more_channels_than_there_is_room_for_is_refused() -> None:
    parts = [Traffic.of_rows(THREE[:1], (f"can{number}",)) for number in range(257)]
    assert len(concatenate(parts[:256]).channels) == 256
    with pytest.raises(ValueError, match="257 channels"):
        concatenate(parts)
