"""The published benchmark network, written as a catalogue, through the doors that a user has."""

import json
from pathlib import Path
from typing import Any

import pytest
import yaml

from busdesign.answers.check import check
from busdesign.catalogue.reader import parse_catalogue, read_catalogue
from busdesign.cli.main import main
from tests.networks import MS, run_of

HERE = Path(__file__).parent
NETWORK = HERE / "networks" / "sae_class_c.yaml"
TABLE: dict[str, Any] = yaml.safe_load((HERE / "values" / "sae_benchmark.yaml").read_text())
REVISED = TABLE["recomputed"]["revised_2007_blocking_from_set_only"][125]  # status: recomputed
BLOCKED = TABLE["recomputed"]["revised_2007_blocking_135_bits"][125]  # status: recomputed
BLOCKER = "  last: {id: 0x7FF, from: sender, to: receiver, bytes: 8, every: 60 min}\n"  # 135 bits, below all others


def test_check_gives_the_revised_response_times_to_the_microsecond(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["check", str(NETWORK), "--json", "--lengths", "published"]) == 0
    answer = json.loads(capsys.readouterr().out)
    assert [round(message["response_worst_ms"], 3) for message in answer["messages"]] == REVISED["R_ms"]
    assert round(100 * answer["bus"]["load_worst"], 3) == REVISED["utilisation_percent"]
    assert all(message["meets_deadline"] for message in answer["messages"])


def test_below_a_longer_frame_rank_10_misses_its_deadline_as_published() -> None:
    """The values' ``sensitive_points``: 135-bit blocking gives rank 10 a response of 10.20 ms, beyond its 10 ms."""
    answer = check(parse_catalogue(NETWORK.read_text() + BLOCKER, str(NETWORK)), lengths="published")
    assert [round(message.response_worst_ms or 0, 3) for message in answer.messages[:-1]] == BLOCKED["R_ms"]
    assert [message.name for message in answer.messages if message.meets_deadline is False] == ["m10"]
    (late,) = [found for found in answer.findings if found.rule == "deadline-missed"]
    assert late.where is not None
    assert late.where.quoted.strip().startswith("m10:")
    assert "10.2 ms" in late.text
    assert answer.holds is False


@pytest.mark.parametrize(("phases", "jitter", "minutes"), [("random", "random", 3), ("aligned", "worst", 1)])
def test_minutes_of_it_stay_within_the_bounds(phases: str, jitter: str, minutes: int) -> None:
    catalogue = read_catalogue(NETWORK)
    bounds_ms = {message.name: message.response_worst_ms for message in check(catalogue).messages}
    run = run_of(catalogue, minutes * 60_000 * MS, phases=phases, jitter=jitter)
    assert len(run.traffic) > minutes * 60 * 1000
    for index, message in enumerate(catalogue.messages):
        worst_ms = run.response_ns[run.message_index == index].max() / MS
        assert worst_ms <= (bounds_ms[message.name] or 0)
