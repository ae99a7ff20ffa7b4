"""Whatever the pilot, the damage and the silences do: no motor against a lock, no false comfort, no wheels on water."""

from hypothesis import given, settings
from hypothesis import strategies as st

from tests.sim.stories import LEGS, played, steps

EXPECT = "expect:\n" + "".join(
    f"""\
  - {{name: {leg} lock, never: strut_{leg}.drive != off and strut_{leg}.lock != released}}
  - {{name: {leg} comfort, never: panel.lamp_{leg} != red and strut_{leg}.position > 1 and strut_{leg}.position < 99}}
  - {{name: {leg} green, never: panel.lamp_{leg} == green and strut_{leg}.position < 50}}
  - {{name: {leg} blue, never: panel.lamp_{leg} == blue and strut_{leg}.position > 50}}
"""
    for leg in LEGS
)
EXPECT += "  - {name: automatic, never: panel.order == auto_down and panel.selector != land}\n"

EVENTS = st.one_of(
    st.sampled_from([f"panel.switch: {word}" for word in ("stay", "up", "down")]),
    st.sampled_from([f"panel.selector: {word}" for word in ("unset", "land", "water")]),
    st.sampled_from([f"air_data.airspeed_wanted: {speed_kt}" for speed_kt in (40, 68, 90)]),
    st.sampled_from([f"strut_left.jam: {word}" for word in ("none", "lock", "stiff", "blocked")]),
)
TIMES_MS = st.integers(0, 79).map(lambda step: 100 * step)  # the panel looks at each of these
SILENCES = st.tuples(st.sampled_from(["panel", "air_data", "strut_left"]), TIMES_MS, st.integers(50, 3000))


@given(
    st.lists(st.tuples(TIMES_MS, EVENTS), min_size=1, max_size=12),
    st.lists(SILENCES, max_size=2),
    st.sampled_from(["up", "down"]),
)
@settings(max_examples=12, deadline=None)
def test_the_guards_hold(events: list[tuple[int, str]], silences: list[tuple[str, int, int]], begins: str) -> None:
    told = steps(*(f"{time} ms: {event}" for time, event in events))
    faults = "".join(
        f"  - {{kind: silent, node: {node}, at: {start} ms, until: {min(start + length, 8000)} ms}}\n"
        for node, start, length in silences
    )
    answer = played(
        "run_for: 8 s\n" + told + ("faults:\n" + faults if faults else "") + EXPECT, begins=begins, airspeed_kt=72
    )
    assert [(found.name, found.text) for found in answer.expectations if found.holds is not True] == []
    assert answer.findings == ()
