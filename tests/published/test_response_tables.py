"""Worst-case response times against printed examples and tables, to the microsecond.

The values lie in ``values/*.yaml``, each with its source and status beside it; the ids of the cases repeat the status.
"""

from decimal import Decimal
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest
import yaml

from busdesign.analysis.load import utilisation
from busdesign.analysis.response import Bound, Stream, meets_deadline, response_1994, response_bounds
from busdesign.wire.lengths import longest_1994_bits, longest_published_bits

VALUES = Path(__file__).parent / "values"
PAPER: dict[str, Any] = yaml.safe_load((VALUES / "can_schedulability.yaml").read_text(encoding="utf-8"))
SAE: dict[str, Any] = yaml.safe_load((VALUES / "sae_benchmark.yaml").read_text(encoding="utf-8"))
EXAMPLE = PAPER["example"]

BIT_US = {125: 8, 250: 4}  # by kbit/s; one tick of the analysis is one microsecond
LONGEST_1994_BITS = 130  # 8 data bytes by the formula of 1994


def us(value_ms: float) -> int:
    """A printed value in ms as whole microseconds."""
    exact = Decimal(str(value_ms)) * 1000
    assert exact == int(exact)
    return int(exact)


def bounds_us(streams: list[Stream], bit_us: int, blocking_at_least_us: int = 0) -> list[Bound]:
    answers = response_bounds(streams, bit=bit_us, blocking_at_least=blocking_at_least_us)
    bounds = [answer for answer in answers if isinstance(answer, Bound)]
    assert len(bounds) == len(streams)
    return bounds


# --- The worked example of Davis et al. 2007, section 3; status: from memory, reproduced exactly by arithmetic.


def example_streams() -> list[Stream]:
    bit_us = 1_000_000 // EXAMPLE["bit_rate"]
    length_us = longest_published_bits(EXAMPLE["bytes"]) * bit_us
    assert length_us == us(EXAMPLE["C_ms"])
    return [
        Stream(row["name"], priority, us(row["T"]), 0, us(row["D"]), length_us)
        for priority, row in enumerate(EXAMPLE["messages"])
    ]


def test_worked_example_revised() -> None:
    for row, bound in zip(EXAMPLE["messages"], bounds_us(example_streams(), BIT_US[125]), strict=True):
        assert (bound.response, bound.busy_period, bound.instances) == (us(row["R_revised"]), us(row["busy"]), row["Q"])


@pytest.mark.parametrize("row", [row for row in EXAMPLE["messages"] if "R_q" in row], ids=lambda row: str(row["name"]))
def test_worked_example_worst_instance(row: dict[str, Any]) -> None:
    (bound,) = (bound for bound in bounds_us(example_streams(), BIT_US[125]) if bound.name == row["name"])
    assert bound.worst_instance == row["R_q"].index(max(row["R_q"]))
    assert bound.response == us(max(row["R_q"]))
    assert bound.queuing == bound.response - us(EXAMPLE["C_ms"])


def test_worked_example_verdicts() -> None:
    """The analysis of 1994 passes the set ("schedulable (wrong)"); the revised one finds C past its deadline."""
    streams = example_streams()
    first_instances = response_1994(streams, bit=BIT_US[125])
    assert list(first_instances) == [us(row["R_original"]) for row in EXAMPLE["messages"]]
    assert all(
        response is not None and response <= stream.deadline
        for stream, response in zip(streams, first_instances, strict=True)
    )
    answers = response_bounds(streams, bit=BIT_US[125])
    late = [stream.name for stream, answer in zip(streams, answers, strict=True) if not meets_deadline(stream, answer)]
    assert late == ["C"]


def test_worked_example_utilisation() -> None:
    exact = utilisation(example_streams())
    assert exact == Fraction(34, 35)
    assert round(exact, 5) == Fraction(str(EXAMPLE["utilisation"]))


# --- The SAE class C benchmark, 17 messages. Status: sizes and periods confirmed; jitters and deadlines from memory.


def sae_streams(kbit_s: int, *, of_1994: bool = False, jitter: bool = True) -> list[Stream]:
    longest_bits = longest_1994_bits if of_1994 else longest_published_bits
    return [
        Stream(
            name=f"rank {row['prio']}",
            priority=row["prio"],
            period=us(row["T_ms"]),
            jitter=us(row["J_ms"]) if jitter else 0,
            deadline=us(row["D_ms"]),
            length=longest_bits(row["bytes"]) * BIT_US[kbit_s],
        )
        for row in SAE["messages"]
    ]


def sae_1994(kbit_s: int, *, jitter: bool = True) -> list[int]:
    streams = sae_streams(kbit_s, of_1994=True, jitter=jitter)
    bit_us = BIT_US[kbit_s]
    responses = response_1994(streams, bit=bit_us, blocking=LONGEST_1994_BITS * bit_us)
    assert None not in responses
    return [response for response in responses if response is not None]


def test_longest_frame_of_1994() -> None:
    assert longest_1994_bits(8) == LONGEST_1994_BITS


def test_sae_printed_column_of_1994() -> None:
    """Status: ranks 1..14 from memory of the printed table (its settings: ``meta.how_to_use``)."""
    printed = [us(value) for value in SAE["published_R_125_kbit_ms"]]
    assert len(printed) == 14
    assert sae_1994(125)[:14] == printed


def test_sae_1994_without_own_jitter() -> None:
    """Status: all 17 ranks recomputed."""
    expected = SAE["recomputed"]["original_1994_B130_R_excludes_own_jitter"][125]
    assert sae_1994(125) == [us(value) for value in expected["R_ms"]]
    load_percent = utilisation(sae_streams(125, of_1994=True)) * 100
    assert round(load_percent, 3) == Fraction(str(expected["utilisation_percent"]))


def test_sae_1994_with_own_jitter() -> None:
    """Status: all 17 ranks recomputed."""
    expected = SAE["recomputed"]["original_1994_B130_R_includes_own_jitter"][125]
    with_jitter = [
        stream.jitter + response for stream, response in zip(sae_streams(125, of_1994=True), sae_1994(125), strict=True)
    ]
    assert with_jitter == [us(value) for value in expected["R_ms"]]


@pytest.mark.parametrize(
    ("table", "blocking_at_least_bits"),
    [
        pytest.param("revised_2007_blocking_from_set_only", 0, id="blocking from set, recomputed"),
        pytest.param("revised_2007_blocking_135_bits", longest_published_bits(8), id="blocking 135 bits, recomputed"),
    ],
)
def test_sae_revised(table: str, blocking_at_least_bits: int) -> None:
    expected = SAE["recomputed"][table][125]
    streams = sae_streams(125)
    bounds = bounds_us(streams, BIT_US[125], blocking_at_least_bits * BIT_US[125])
    assert [bound.response for bound in bounds] == [us(value) for value in expected["R_ms"]]
    assert [bound.instances for bound in bounds] == expected["Q"]
    assert round(utilisation(streams) * 100, 3) == Fraction(str(expected["utilisation_percent"]))


# --- Points where a small difference in the method shows; status: ``sensitive_points`` of the file, recomputed.


def test_sensitive_jitter_of_the_5_ms_group() -> None:
    point = SAE["sensitive_points"][0]
    assert "rank 16 is 5.172 ms with all jitters 0 and 6.552 ms with the table jitters" in point
    assert sae_1994(250, jitter=False)[16 - 1] == us(5.172)
    assert sae_1994(250)[16 - 1] == us(6.552)


def test_sensitive_second_instance_of_rank_10() -> None:
    point = SAE["sensitive_points"][1]
    assert "R = 10.20 ms and misses its deadline, and has Q = 2; rank 11 jumps from 10.4 to 19.12 ms" in point
    streams = sae_streams(125)
    rank_10, rank_11 = bounds_us(streams, BIT_US[125], longest_published_bits(8) * BIT_US[125])[9:11]
    assert (rank_10.response, rank_10.instances) == (us(10.20), 2)
    assert not meets_deadline(streams[9], rank_10)
    assert rank_11.response == us(19.12)
    assert meets_deadline(streams[10], rank_11)
    assert bounds_us(streams, BIT_US[125])[10].response == us(10.4)


def test_sensitive_last_message_has_no_blocking() -> None:
    point = SAE["sensitive_points"][2]
    assert "ranks 16 and 17 tie at 30.06 ms because the last message has no blocking" in point
    rank_16, rank_17 = bounds_us(sae_streams(125), BIT_US[125])[15:]
    assert rank_16.response == rank_17.response == us(30.06)
    assert (rank_16.blocking, rank_17.blocking) == (longest_published_bits(1) * BIT_US[125], 0)
