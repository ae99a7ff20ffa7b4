"""Published frames through the bit-level referee: every bit on the pair, and what the receivers take in.

Sources and their status stand beside each value in values/frames_classical.yaml and values/frame_format.yaml.
"""

from pathlib import Path
from typing import Any

import pytest
import yaml

from busdesign.virtual.referee.machine import DELIMITER_BITS, FLAG_BITS, SUSPEND_BITS
from busdesign.virtual.referee.model import Offer, Station
from busdesign.virtual.referee.running import run
from busdesign.wire.frame import INTERMISSION_BITS, Frame
from tests.virtual.refereed import levels_of

VALUES = Path(__file__).parent / "values"
CLASSICAL: dict[str, Any] = yaml.safe_load((VALUES / "frames_classical.yaml").read_text(encoding="utf-8"))
FORMAT: dict[str, Any] = yaml.safe_load((VALUES / "frame_format.yaml").read_text(encoding="utf-8"))


@pytest.mark.parametrize("published", CLASSICAL["frames"], ids=lambda published: str(published["name"]))
def test_published_frame_bit_for_bit(published: dict[str, Any]) -> None:
    frame = Frame(
        int(published["id"], 16),
        bytes.fromhex(published["data"]),
        extended=published["extended"],
        remote=published["remote"],
        dlc=published["dlc"],
    )
    length = published["bits_with_ifs"]
    seen = run([Station("sender", (Offer(0, frame),)), Station("receiver")], length + 5, with_levels=True)
    assert levels_of(seen, 0, length + 5) == published["bitstream"] + "11111"
    assert list(seen.attempts.start) == [0]
    assert list(seen.attempts.end) == [length - INTERMISSION_BITS]
    received = seen.receptions
    assert list(received.station) == [1]
    assert list(received.end) == [length - INTERMISSION_BITS - 1]
    assert (received.identifier[0], received.extended[0]) == (frame.identifier, frame.extended)
    assert (received.remote[0], received.length_code[0]) == (frame.remote, frame.length_code)
    assert int(received.payload[0]).to_bytes(8, "little")[: len(frame.data)] == frame.data


def test_lengths_of_error_frames() -> None:
    assert FORMAT["error_frame"]["active_flag_dominant"] == FORMAT["overload_frame"]["flag_dominant"] == FLAG_BITS
    assert FORMAT["error_frame"]["delimiter_recessive"] == DELIMITER_BITS
    assert FORMAT["suspend_transmission_recessive"] == SUSPEND_BITS
