"""A frame's bits: what may exist, its fields in order, the CRC sequence, bit stuffing and its inverse."""

import subprocess
import sys

import pytest
from hypothesis import given
from hypothesis import strategies as st

from busdesign.wire.frame import Frame, crc15, destuff, lay_out, stuff

bit_strings = st.text("01", max_size=200) | st.lists(st.sampled_from(["0" * 5, "1" * 5, "0", "1"])).map("".join)

TRAILER = ["crc delimiter", "acknowledge slot", "acknowledge delimiter", "end of frame", "intermission"]


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        ({"identifier": 0x800}, r"identifier 0x800 is not within 0\.\.0x7ff, the 11-bit identifiers"),
        ({"identifier": -1}, r"identifier -0x1 is not within 0\.\.0x7ff"),
        ({"identifier": 1 << 29, "extended": True}, r"0x20000000 is not within 0\.\.0x1fffffff, the 29-bit"),
        ({"identifier": 1, "data": bytes(9)}, r"9 data bytes are too many for a classical frame, allowed: 0\.\.8"),
        ({"identifier": 1, "data": b"a", "remote": True}, "a remote frame carries no data, got 1 bytes"),
        ({"identifier": 1, "remote": True, "dlc": 16}, r"length code 16 is not within 0\.\.15"),
        ({"identifier": 1, "remote": True, "dlc": -1}, r"length code -1 is not within 0\.\.15"),
        ({"identifier": 1, "data": b"ab", "dlc": 3}, "length code 3 contradicts 2 data bytes, allowed: 2"),
        ({"identifier": 1, "data": bytes(8), "dlc": 7}, r"length code 7 contradicts 8 data bytes, allowed: 8\.\.15"),
        ({"identifier": 1, "dlc": 8}, "length code 8 contradicts 0 data bytes, allowed: 0"),
    ],
)
def test_a_frame_out_of_range_cannot_exist(arguments: dict[str, int | bool | bytes], said: str) -> None:
    with pytest.raises(ValueError, match=said):
        Frame(**arguments)  # type: ignore[arg-type]


def test_the_length_code_defaults_to_the_number_of_data_bytes() -> None:
    assert Frame(1, b"abc").dlc == 3
    assert Frame(1, b"abc") == Frame(1, b"abc", dlc=3)
    assert Frame(1, remote=True).dlc == 0


def test_fields_of_a_base_frame() -> None:
    wire = lay_out(Frame(0x555, b"\xa5"))
    names = [field.name for field in wire.fields]
    assert names == [
        "start of frame",
        "identifier",
        "remote transmission request",
        "identifier extension",
        "r0",
        "length code",
        "data",
        "crc",
        *TRAILER,
    ]
    assert [(field.name, field.first_bit, field.bits) for field in wire.fields[:7]] == [
        ("start of frame", 0, "0"),
        ("identifier", 1, "10101010101"),
        ("remote transmission request", 12, "0"),
        ("identifier extension", 13, "0"),
        ("r0", 14, "0"),
        ("length code", 15, "00" + "1" + "01"),  # the fifth dominant bit in a row is followed by a stuff bit
        ("data", 20, "10100101"),
    ]
    assert wire.stuff_positions[0] == 17
    assert [field.bits for field in wire.fields[-5:]] == ["1", "0", "1", "1111111", "111"]


def test_fields_of_an_extended_frame() -> None:
    wire = lay_out(Frame(0x0AAAAAAA, b"", extended=True, remote=True, dlc=5))
    assert [(field.name, field.bits) for field in wire.fields[:10]] == [
        ("start of frame", "0"),
        ("base identifier", "01010101010"),
        ("substitute remote request", "1"),
        ("identifier extension", "1"),
        ("extended identifier", "101010101010101010"),
        ("remote transmission request", "1"),
        ("r1", "0"),
        ("r0", "0"),
        ("length code", "0101"),
        ("crc", f"{wire.crc:015b}"),
    ]
    assert [field.name for field in wire.fields[10:]] == TRAILER


def test_a_stuff_bit_after_the_last_crc_bit_belongs_to_the_crc() -> None:
    wires = [lay_out(Frame(identifier)) for identifier in range(0x800)]
    ends = [next(field for field in wire.fields if field.name == "crc delimiter").first_bit for wire in wires]
    late = [wire for wire, end in zip(wires, ends, strict=True) if end - 1 in wire.stuff_positions]
    assert late
    for wire in late:
        crc = next(field for field in wire.fields if field.name == "crc")
        assert crc.bits[-6:] in ("000001", "111110")


@given(st.from_type(Frame))
def test_fields_tile_the_wire_and_stuff_bits_are_what_stuffing_added(frame: Frame) -> None:
    wire = lay_out(frame)
    assert "".join(field.bits for field in wire.fields) == wire.bits
    assert all(wire.bits.startswith(field.bits, field.first_bit) for field in wire.fields)
    stuffed_end = next(field.first_bit for field in wire.fields if field.name == "crc delimiter")
    kept = "".join(bit for place, bit in enumerate(wire.bits[:stuffed_end]) if place not in wire.stuff_positions)
    assert kept == destuff(wire.bits[:stuffed_end])
    assert crc15(kept[:-15]) == int(kept[-15:], 2) == wire.crc
    assert (wire.length_bits, wire.stuff_bits) == (len(wire.bits), stuffed_end - len(kept))
    assert len(wire.bits) == stuffed_end + 13


@given(bit_strings)
def test_stuffed_bits_never_show_six_equal_ones_and_destuff_to_themselves(bits: str) -> None:
    stuffed = stuff(bits)
    assert "000000" not in stuffed
    assert "111111" not in stuffed
    assert destuff(stuffed) == bits


@pytest.mark.parametrize(
    ("bits", "stuffed"),
    [
        ("", ""),
        ("0000", "0000"),
        ("00000", "000001"),
        ("000001111", "00000" + "1" + "1111" + "0"),
        ("0000011101", "00000" + "1" + "11101"),
        ("1111111111", "11111" + "0" + "11111" + "0"),
    ],
)
def test_a_stuff_bit_counts_towards_the_next_run(bits: str, stuffed: str) -> None:
    assert stuff(bits) == stuffed


@pytest.mark.parametrize(("bits", "place"), [("000000", 5), ("1010111111", 9), ("00000111111", 10)])
def test_six_equal_bits_are_a_stuff_error(bits: str, place: int) -> None:
    with pytest.raises(ValueError, match=f"stuff error: bit {place} is the sixth equal bit in a row"):
        destuff(bits)


@given(st.integers(0, 2**120 - 1))
def test_the_crc_is_the_remainder_of_long_division(message: int) -> None:
    generator = 0xC599  # x15 + x14 + x10 + x8 + x7 + x4 + x3 + 1
    remainder = message << 15
    while remainder.bit_length() > 15:
        remainder ^= generator << remainder.bit_length() - 16
    assert crc15(f"{message:b}") == remainder
    assert crc15([int(bit) for bit in f"{message:b}"]) == remainder


def test_single_frames_need_neither_numpy_nor_numba() -> None:
    code = (
        "import sys, busdesign.wire.frame, busdesign.wire.arbitration\n"
        "from busdesign.wire.lengths import frame_bits\n"
        "assert frame_bits(0) == 53\n"
        "sys.exit(bool({'numpy', 'numba'} & set(sys.modules)))"
    )
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
