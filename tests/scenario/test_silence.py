"""When a node counts as silent."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from busdesign.scenario.reader import read_scenario
from busdesign.scenario.silence import silence_limit_ns, silence_track
from tests.scenario.conftest import Write


@pytest.mark.parametrize(
    ("ends_ns", "changes"),
    [
        ([], [(0, True)]),
        ([101], [(0, True), (101, True)]),
        ([101, 950], [(0, True), (101, True), (950, False)]),
        ([100, 200, 260, 360, 950], [(0, False), (360, True), (950, False)]),
        ([100, 200, 301, 390, 480, 580, 680, 780, 880], [(0, False), (200, True), (301, False), (880, True)]),
        ([50, 800, 950, 1001], [(0, False), (50, True), (800, True), (950, False)]),
    ],
)
def test_silent_from_the_end_of_the_last_frame_before_a_long_gap(
    ends_ns: list[int], changes: list[tuple[int, bool]]
) -> None:
    track = silence_track(ends_ns, lost_after_ns=100, run_end_ns=1000)
    assert list(zip(track.times_ns, track.values, strict=True)) == changes


@given(st.lists(st.integers(0, 40), max_size=8).map(sorted), st.integers(1, 12), st.integers(0, 40))
def test_it_agrees_with_the_rule_at_every_nanosecond(ends_ns: list[int], lost_after_ns: int, run_end_ns: int) -> None:
    track = silence_track(ends_ns, lost_after_ns, run_end_ns)
    for now in range(run_end_ns + 1):
        last = max((end for end in ends_ns if end <= now), default=0)
        following = min((end for end in ends_ns if now < end <= run_end_ns), default=run_end_ns)
        assert track.at(now) is (following - last > lost_after_ns)


def test_the_limit_is_the_smallest_among_the_nodes_messages(write: Write) -> None:
    scenario = read_scenario(write("scenario: s\ncatalogue: ../../messages/doors.yaml\nrun_for: 1 s\n"))
    assert silence_limit_ns(scenario.catalogue, "panel") == 200_000_000
    assert silence_limit_ns(scenario.catalogue, "door_left") == 90_000_000
    assert silence_limit_ns(scenario.catalogue, "no such node") is None
