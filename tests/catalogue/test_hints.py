"""Hints are computed, so that following one mends what it was given for."""

import re
from difflib import get_close_matches

import pytest
from hypothesis import given
from hypothesis import strategies as st

from busdesign.catalogue.reader import parse_catalogue
from busdesign.errors import CatalogueError
from busdesign.findings import Finding, nearest

NUMBERS = st.decimals(-1000, 1000, places=1)


def findings_of(**signal: object) -> tuple[Finding, ...]:
    written = ", ".join(f"{key}: {value}" for key, value in signal.items())
    text = (
        "catalogue: tried\nbus: {bit_rate: 250 kbit/s}\nnodes: {a: {}}\n"
        f"messages: {{m: {{from: a, every: 1 s, signals: {{s: {{{written}}}}}}}}}\n"
    )
    try:
        parse_catalogue(text)
    except CatalogueError as refused:
        return refused.findings
    return ()


def followed(signal: dict[str, object], finding: Finding) -> dict[str, object]:
    """``signal`` with the ``key: value`` pairs that the hint quotes."""
    quoted = re.search(r"`([^`]*)`", finding.fix)
    assert quoted
    return {**signal, **dict(pair.split(": ") for pair in re.split(r", (?=\w+:)", quoted.group(1)))}


@given(
    st.integers(1, 24),
    st.booleans(),
    st.sampled_from(["1", "0.1", "0.25", "-1", "-0.5", "30"]),
    NUMBERS,
    st.lists(NUMBERS, min_size=2, max_size=2).map(sorted),
)
def test_ranges(bits: int, signed: bool, factor: str, offset: object, reach: list[object]) -> None:
    signal: dict[str, object] = {"bits": bits, "signed": str(signed).lower(), "factor": factor, "offset": offset}
    signal["range"] = f"[{reach[0]}, {reach[1]}]"
    found = [finding for finding in findings_of(**signal) if finding.rule == "range-out-of-reach"]
    for finding in found:
        after = findings_of(**followed(signal, finding))
        assert {other.rule for other in after} <= {"range-between-steps"}


@given(st.integers(1, 12), st.booleans(), st.sets(st.integers(-5000, 5000), min_size=1, max_size=4))
def test_codes(bits: int, signed: bool, raws: set[int]) -> None:
    codes = "{" + ", ".join(f"{raw}: word_{number}" for number, raw in enumerate(sorted(raws))) + "}"
    signal: dict[str, object] = {"bits": bits, "signed": str(signed).lower(), "codes": codes}
    for finding in findings_of(**signal):
        assert finding.rule == "code-outside-bits"
        assert findings_of(**followed(signal, finding)) == ()


@given(st.integers(1, 12), st.integers(2, 5000))
def test_counters(bits: int, modulo: int) -> None:
    signal: dict[str, object] = {"bits": bits, "counts": 1, "modulo": modulo}
    for finding in findings_of(**signal):
        assert finding.rule == "counter"
        assert findings_of(**followed(signal, finding)) == ()


@given(NUMBERS, st.lists(st.integers(0, 255), min_size=2, max_size=2).map(sorted))
def test_values_to_start_with(initial: object, reach: list[int]) -> None:
    signal: dict[str, object] = {"bits": 8, "initial": initial, "range": f"[{reach[0]}, {reach[1]}]"}
    for finding in findings_of(**signal):
        assert finding.rule == "initial-out-of-range"
        assert findings_of(**followed(signal, finding)) == ()


PLACED = st.lists(
    st.tuples(st.integers(1, 16), st.integers(0, 30), st.sampled_from(["little", "big"])), min_size=2, max_size=5
)


def placed(signals: list[tuple[int, int, str]]) -> str:
    lines = (
        f"      s_{number}: {{bits: {bits}, start: {start}, byte_order: {order}}}\n"
        for number, (bits, start, order) in enumerate(signals)
    )
    head = "catalogue: tried\nbus: {bit_rate: 250 kbit/s}\nnodes: {a: {}}\nmessages:\n"
    return f"{head}  m:\n    from: a\n    every: 1 s\n    bytes: 8\n    signals:\n{''.join(lines)}"


@given(PLACED)
def test_places_that_are_free_are_so_one_by_one_and_all_together(signals: list[tuple[int, int, str]]) -> None:
    moved = list(signals)
    found = refused(placed(signals))
    for finding in found:
        start = re.fullmatch(r"`start: (\d+)` is free", finding.fix)
        name = re.match(r"`s_(\d+)` overlaps", finding.text)
        if not (start and name):
            return
        number = int(name[1])
        moved[number] = (signals[number][0], int(start[1]), signals[number][2])
        alone = [*signals[:number], moved[number], *signals[number + 1 :]]
        assert not any(f"`s_{number}` overlaps" in other.text for other in refused(placed(alone)))
        assert len(refused(placed(alone))) < len(found)
    assert refused(placed(moved)) == ()


def refused(text: str) -> tuple[Finding, ...]:
    try:
        parse_catalogue(text)
    except CatalogueError as refusal:
        return refusal.findings
    return ()


def test_a_signal_may_move_onto_bits_that_it_leaves() -> None:
    (found,) = refused(placed([(12, 0, "little"), (4, 10, "little")]))
    assert (found.rule, found.fix) == ("signal-overlap", "`start: 12` is free")


def test_of_many_slips_the_first_hundred_are_looked_up_and_the_others_are_told_where_to_look() -> None:
    nodes = "".join(f"  station_{number}: {{}}\n" for number in range(150))
    messages = "".join(f"  m{number}: {{id: {number}, from: sttaion_{number}, every: 1 s}}\n" for number in range(150))
    with pytest.raises(CatalogueError) as refused:
        parse_catalogue(f"catalogue: x\nbus: {{bit_rate: 250 kbit/s}}\nnodes:\n{nodes}messages:\n{messages}")
    fixes = [found.fix for found in refused.value.findings]
    assert fixes[:100] == [f"did you mean `station_{number}`?" for number in range(100)]
    assert fixes[100:] == ["one of the 150 names under `nodes`"] * 50


@given(st.lists(st.text("ab_1", min_size=1, max_size=6), max_size=40, unique=True), st.text("ab_1", max_size=6))
def test_the_nearest_word_is_the_likeliest_of_all(words: list[str], wrong: str) -> None:
    likeliest = get_close_matches(wrong, words, n=1, cutoff=0.6)
    assert nearest(wrong, words) == (likeliest[0] if likeliest else None)
