"""Frame lengths: three roads to one number, and the bounds around it."""

from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from busdesign.wire.columns import frame_bits_of_columns
from busdesign.wire.flags import BIT_RATE_SWITCH, ERROR, ERROR_STATE, EXTENDED, FD, REMOTE
from busdesign.wire.frame import Frame, lay_out
from busdesign.wire.lengths import frame_bits, longest_1994_bits, longest_published_bits, shortest_bits


def by_byte_tables(frame: Frame) -> int:
    return frame_bits(frame.identifier, frame.data, extended=frame.extended, remote=frame.remote, dlc=frame.dlc)


def by_columns(*frames: Frame) -> list[int]:
    bits = frame_bits_of_columns(
        np.array([frame.identifier for frame in frames], np.uint32),
        np.array([EXTENDED * frame.extended | REMOTE * frame.remote for frame in frames], np.uint8),
        np.array([frame.dlc if frame.remote else len(frame.data) for frame in frames], np.uint8),
        np.array([int.from_bytes(frame.data, "little") for frame in frames], np.uint64),
    )
    return [int(count) for count in bits]


@given(st.from_type(Frame))
def test_byte_tables_count_what_the_reference_lays_out(frame: Frame) -> None:
    assert by_byte_tables(frame) == lay_out(frame).length_bits


@settings(deadline=None)  # the first call compiles
@given(st.lists(st.from_type(Frame), max_size=20))
def test_columns_count_what_the_reference_lays_out(frames: list[Frame]) -> None:
    # A data frame's column holds its number of bytes, so a length code above 8 is sent as 8.
    plain = [frame if frame.remote else Frame(frame.identifier, frame.data, frame.extended) for frame in frames]
    assert by_columns(*plain) == [lay_out(frame).length_bits for frame in plain]


@given(st.from_type(Frame))
def test_every_frame_lies_between_the_shortest_and_the_longest_published(frame: Frame) -> None:
    bits = by_byte_tables(frame)
    length_bytes = len(frame.data)
    assert bits <= longest_published_bits(length_bytes, extended=frame.extended)
    assert bits >= shortest_bits(length_bytes, extended=frame.extended)


def test_the_1994_formula_is_no_bound() -> None:
    assert by_byte_tables(Frame(0x78, b"\x3c" * 8)) == 131 > longest_1994_bits(8)


@pytest.mark.parametrize("bound", [longest_published_bits, longest_1994_bits, shortest_bits])
@pytest.mark.parametrize("length_bytes", [-1, 9])
def test_classical_bounds_end_at_eight_bytes(bound: Callable[[int], int], length_bytes: int) -> None:
    with pytest.raises(ValueError, match=rf"{length_bytes} data bytes are not within 0\.\.8"):
        bound(length_bytes)


def test_byte_tables_refuse_what_is_no_frame() -> None:
    with pytest.raises(ValueError, match="identifier 0x800"):
        frame_bits(0x800)
    with pytest.raises(ValueError, match="9 data bytes"):
        frame_bits(1, bytes(9))
    with pytest.raises(ValueError, match="a remote frame carries no data"):
        frame_bits(1, b"a", remote=True)


def columns(
    *rows: tuple[int, int, int, int],
) -> tuple[NDArray[np.uint32], NDArray[np.uint8], NDArray[np.uint8], NDArray[np.uint64]]:
    identifier, flags, length, payload = zip(*rows, strict=True)
    return (
        np.array(identifier, np.uint32),
        np.array(flags, np.uint8),
        np.array(length, np.uint8),
        np.array(payload, np.uint64),
    )


def test_error_and_fd_rows_count_no_bits() -> None:
    rows = columns((0, 0, 0, 0), (0x1FFFFFFF, ERROR, 200, 0), (0x123, FD | BIT_RATE_SWITCH | ERROR_STATE, 64, 0))
    assert frame_bits_of_columns(*rows).tolist() == [53, 0, 0]


def test_payload_beyond_the_length_is_ignored() -> None:
    rows = columns((0x123, 0, 2, 0x3412), (0x123, 0, 2, 0xFFFF_FFFF_FFFF_3412), (0x123, REMOTE, 8, 0xFF))
    expected = [Frame(0x123, b"\x12\x34"), Frame(0x123, b"\x12\x34"), Frame(0x123, remote=True, dlc=8)]
    assert frame_bits_of_columns(*rows).tolist() == [lay_out(frame).length_bits for frame in expected]


@pytest.mark.parametrize(
    ("row", "said"),
    [
        ((0x800, 0, 0, 0), r"row 1 is no classical frame: identifier 0x800 \(11 bits allowed\)"),
        ((1 << 29, EXTENDED, 0, 0), r"row 1 .*identifier 0x20000000 \(29 bits allowed\)"),
        ((1, 0, 9, 0), r"row 1 .*length 9 \(0\.\.8 allowed, 0\.\.15 if remote\)"),
        ((1, REMOTE, 16, 0), r"row 1 .*length 16"),
    ],
)
def test_columns_refuse_what_is_no_frame(row: tuple[int, int, int, int], said: str) -> None:
    with pytest.raises(ValueError, match=said):
        frame_bits_of_columns(*columns((1, 0, 0, 0), row))


def test_columns_of_different_shapes_are_refused() -> None:
    identifier, flags, length, payload = columns((1, 0, 0, 0), (2, 0, 0, 0))
    with pytest.raises(ValueError, match="one and the same length"):
        frame_bits_of_columns(identifier, flags[:1], length, payload)
