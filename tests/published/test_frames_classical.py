"""Classical frames against published bit strings, the catalogued CRC check value and exhaustive statistics.

Sources and their status stand beside each value in values/frames_classical.yaml and values/crc.yaml.
"""

from pathlib import Path
from typing import Any

import numpy as np
import pytest
import yaml

from busdesign.wire.columns import frame_bits_of_columns
from busdesign.wire.frame import Frame, crc15, destuff, lay_out
from busdesign.wire.lengths import frame_bits, shortest_bits

VALUES = Path(__file__).parent / "values"
CLASSICAL: dict[str, Any] = yaml.safe_load((VALUES / "frames_classical.yaml").read_text(encoding="utf-8"))
CRCS: dict[str, Any] = yaml.safe_load((VALUES / "crc.yaml").read_text(encoding="utf-8"))


def frame_of(published: dict[str, Any]) -> Frame:
    return Frame(
        int(published["id"], 16),
        bytes.fromhex(published["data"]),
        extended=published["extended"],
        remote=published["remote"],
        dlc=published["dlc"],
    )


@pytest.mark.parametrize("published", CLASSICAL["frames"], ids=lambda published: str(published["name"]))
def test_published_frame_bit_for_bit(published: dict[str, Any]) -> None:
    frame = frame_of(published)
    wire = lay_out(frame)
    assert wire.bits == published["bitstream"]
    assert wire.crc == int(published["crc15"], 16)
    assert wire.stuff_bits == published["stuff_bits"]
    assert wire.length_bits == published["bits_with_ifs"]
    assert (
        frame_bits(frame.identifier, frame.data, extended=frame.extended, remote=frame.remote, dlc=frame.dlc)
        == published["bits_with_ifs"]
    )
    assert len(destuff(wire.bits[:-13])) == wire.length_bits - wire.stuff_bits - 13


def test_crc_check_value() -> None:
    catalogued = next(algorithm for algorithm in CRCS["algorithms"] if algorithm["name"] == "CRC-15/CAN")
    bits = "".join(f"{byte:08b}" for byte in CRCS["check_string"].encode("ascii"))
    assert crc15(bits) == int(catalogued["check"], 16) == 0x059E


@pytest.mark.parametrize("length_bytes", [0, 1])
def test_statistics_over_every_base_frame(length_bytes: int) -> None:
    """Every identifier and every payload: shortest, longest, most and mean stuff bits."""
    published = CLASSICAL["exhaustive_statistics"][length_bytes]
    every = np.arange(0x800 << 8 * length_bytes)
    bits = frame_bits_of_columns(
        (every >> 8 * length_bytes).astype(np.uint32),
        np.zeros(every.size, np.uint8),
        np.full(every.size, length_bytes, np.uint8),
        (every & 0xFF if length_bytes else every * 0).astype(np.uint64),
    )
    stuff_bits = bits - shortest_bits(length_bytes)
    assert bits.size == published["frames"]
    assert (bits.min(), bits.max()) == (published["min_bits"], published["max_bits"])
    assert stuff_bits.max() == published["max_stuff"]
    assert stuff_bits.mean() == pytest.approx(published["mean_stuff"], abs=5e-6)  # five decimals are given


def test_frames_that_attain_the_longest() -> None:
    """For one byte the table's note names 0x10e / 0xee; the remark beside it says why it is not that frame."""
    without_data, one_byte = CLASSICAL["exhaustive_statistics"]
    assert lay_out(Frame(0x000)).length_bits == without_data["max_bits"]
    assert lay_out(Frame(0x010, b"\xee")).length_bits == one_byte["max_bits"]
