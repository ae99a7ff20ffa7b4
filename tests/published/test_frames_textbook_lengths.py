"""The textbook's frame lengths, every row of values/frame_lengths.yaml for classical frames (sources stand there)."""

from pathlib import Path
from typing import Any

import pytest
import yaml

from busdesign.wire.lengths import longest_1994_bits, longest_published_bits, shortest_bits

PUBLISHED: dict[str, Any] = yaml.safe_load(
    (Path(__file__).parent / "values" / "frame_lengths.yaml").read_text(encoding="utf-8")
)


def test_the_table_covers_every_length() -> None:
    assert [row["bytes"] for row in PUBLISHED["classical"]] == list(range(9))


@pytest.mark.parametrize("row", PUBLISHED["classical"], ids=lambda row: f"{row['bytes']} bytes")
@pytest.mark.parametrize(("extended", "prefix"), [(False, "base"), (True, "ext")])
def test_lengths_of_the_table(row: dict[str, int], extended: bool, prefix: str) -> None:
    length_bytes = row["bytes"]
    longest = longest_published_bits(length_bytes, extended=extended)
    assert longest == row[f"{prefix}_worst_2007"]
    assert longest == row["ext_simple_80_10n" if extended else "base_simple_55_10n"]
    assert longest_1994_bits(length_bytes, extended=extended) == row[f"{prefix}_old_1994"]
    assert shortest_bits(length_bytes, extended=extended) == row[f"{prefix}_unstuffed"]


@pytest.mark.parametrize("length_bytes", range(9))
def test_the_bound_as_it_is_also_printed(length_bytes: int) -> None:
    """47 + 8 s + floor((34 + 8 s - 1) / 4), and 67 + 8 s + floor((54 + 8 s - 1) / 4): the same bound rearranged."""
    assert longest_published_bits(length_bytes) == 47 + 8 * length_bytes + (34 + 8 * length_bytes - 1) // 4
    assert (
        longest_published_bits(length_bytes, extended=True) == 67 + 8 * length_bytes + (54 + 8 * length_bytes - 1) // 4
    )
