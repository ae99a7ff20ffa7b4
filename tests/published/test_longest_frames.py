"""The longest frames against numbers from elsewhere: other programs, exhaustive statistics and published frames.

Sources and their status stand in values/longest_frames.yaml and values/frames_classical.yaml.
"""

from pathlib import Path
from typing import Any

import pytest
import yaml

from busdesign.wire.lengths import longest_published_bits, shortest_bits
from busdesign.wire.longest import longest_bits_of_any_identifier, longest_exact_bits, shortest_exact_bits
from busdesign.wire.payload_sets import any_payload

VALUES = Path(__file__).parent / "values"
LONGEST: dict[str, Any] = yaml.safe_load((VALUES / "longest_frames.yaml").read_text(encoding="utf-8"))
CLASSICAL: dict[str, Any] = yaml.safe_load((VALUES / "frames_classical.yaml").read_text(encoding="utf-8"))


@pytest.mark.parametrize("row", LONGEST["longest"], ids=lambda row: f"{row['bytes']} bytes")
def test_longest_over_all_identifiers(row: dict[str, int]) -> None:
    length_bytes = row["bytes"]
    assert longest_bits_of_any_identifier(length_bytes) == row["base"] < longest_published_bits(length_bytes)
    longest = longest_bits_of_any_identifier(length_bytes, extended=True)
    assert longest == row["extended"] < longest_published_bits(length_bytes, extended=True)


def test_every_length_is_in_the_table() -> None:
    assert [row["bytes"] for row in LONGEST["longest"]] == list(range(9))


def test_one_identifier() -> None:
    published = LONGEST["meta"]["one_identifier"]
    assert longest_exact_bits(published["identifier"], any_payload(published["bytes"])) == published["longest"]
    assert longest_published_bits(published["bytes"]) == published["formula"]


@pytest.mark.parametrize("length_bytes", [0, 1])
def test_most_stuff_bits_over_every_base_frame(length_bytes: int) -> None:
    published = CLASSICAL["exhaustive_statistics"][length_bytes]
    assert longest_bits_of_any_identifier(length_bytes) == shortest_bits(length_bytes) + published["max_stuff"]


@pytest.mark.parametrize("published", CLASSICAL["frames"], ids=lambda published: str(published["name"]))
def test_published_frames_lie_within(published: dict[str, Any]) -> None:
    payloads = any_payload(len(bytes.fromhex(published["data"])))
    identifier, dlc = int(published["id"], 16), published["dlc"]
    kind = {"extended": published["extended"], "remote": published["remote"]}
    shortest = shortest_exact_bits(identifier, payloads, **kind, dlc=dlc)
    assert shortest <= published["bits_with_ifs"] <= longest_exact_bits(identifier, payloads, **kind, dlc=dlc)
