"""Ways through frames whose times are written down: what is slowest, what is oldest, which effects count."""

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from busdesign.catalogue.model import Acceptance, Catalogue, Function
from busdesign.catalogue.paths import way_of
from busdesign.scenario.reactions import Effect, FrameTimes, Reactions, reactions
from busdesign.scenario.tracks import Track
from tests.networks import catalogue_of, message_of

PATH = ("panel.switch", "order", "left.drive")
PROCESSING = {"panel": 5, "left": 3}


def network(good_frames: int = 1) -> Catalogue:
    messages = [
        replace(
            message_of("order", 1, "panel", 1, 100), receivers=("left",), accept=Acceptance((good_frames, good_frames))
        ),
        replace(message_of("report", 2, "left", 1, 40), receivers=("panel",)),
        replace(message_of("alarm", 3, "left", 1, 40, irregular=True), receivers=("panel",)),
    ]
    made = catalogue_of(messages, 250_000, dict.fromkeys(PROCESSING, 0))  # type: ignore[arg-type]
    nodes = {name: replace(node, processing_ns=PROCESSING[name]) for name, node in made.nodes.items()}
    return replace(made, nodes=nodes)


def times(releases: Sequence[int], takes: int = 10, late: int = 0) -> FrameTimes:
    """Frames released at ``releases``, by ``late`` after they were due, each through after ``takes``."""
    proper = np.array(releases, dtype=np.int64)
    return FrameTimes(proper - late, proper, proper + takes)


def measured(
    frames: Mapping[str, FrameTimes],
    path: tuple[str, ...] = PATH,
    labels: Mapping[str, Sequence[int]] | None = None,
    silences: Mapping[str, Sequence[tuple[int, int]]] | None = None,
    good_frames: int = 1,
) -> Reactions:
    """``labels``: the times at which each changes; all are there from 0 on."""
    catalogue = network(good_frames)
    tracks = {name: Track([0, *at], list(range(len(at) + 1))) for name, at in (labels or {}).items()}
    way = way_of(Function("f", path, 1), catalogue)
    return reactions(way, catalogue, frames, tracks, silences or {})


def test_the_slowest_begins_as_a_release_is_just_missed() -> None:
    """Published at 301, on with the frame of 420, through at 430, acted on by 433."""
    found = measured({"order": times([100, 200, 300, 420, 500])})
    assert (found.slowest_at_ns, found.slowest_ns) == (296, 433 - 296)
    assert found.moments == 4  # all but the last, which nothing follows
    assert found.oldest_ns == 433 - 295


def test_from_frame_to_frame_the_next_one_released_is_taken() -> None:
    path = (*PATH, "report", "panel.lamp")
    frames = {"order": times([100, 200, 300]), "report": times([90, 130, 212, 213, 250, 313, 360])}
    # Published at 101, heard at 210, published by 213: on with the frame of 213, not of 212. At 201: heard at 310.
    found = measured(frames, path)
    assert found.moments == 2
    assert (found.slowest_at_ns, found.slowest_ns) == (96, 223 + 5 - 96)
    later = {**frames, "report": times([90, 130, 212, 250, 314, 360])}
    assert measured(later, path).slowest_ns == 260 + 5 - 96


def test_a_path_that_begins_with_a_message_begins_as_it_is_due() -> None:
    found = measured({"order": times([100, 200, 300], late=4)}, ("order", "left.drive"))
    assert (found.moments, found.slowest_ns) == (3, 4 + 10 + 3)
    assert found.oldest_ns == 200 + 10 + 3 - 96


def test_where_frames_have_to_agree_the_last_of_them_counts() -> None:
    frames = {"order": times([100, 200, 300, 400])}
    assert measured(frames, good_frames=2).slowest_ns == 310 + 3 - 96
    whole = measured(frames, ("order", "left.drive"), good_frames=2)
    assert (whole.slowest_ns, whole.oldest_ns) == (100 + 10 + 3, 200 + 10 + 3)


def test_an_irregular_message_comes_of_a_cause_only_while_its_node_may_take_that_long() -> None:
    path = (*PATH, "alarm", "panel.lamp")
    frames = {"order": times([100, 200, 300, 400]), "alarm": times([212, 314])}
    found = measured(frames, path)
    assert (found.moments, found.slowest_ns, found.oldest_ns) == (1, 222 + 5 - 96, None)


def test_the_time_of_a_silent_sender_is_not_judged() -> None:
    frames = {"order": times([100, 200, 900, 1000])}
    assert measured(frames).slowest_ns == 913 - 196
    spared = measured(frames, silences={"panel": [(250, 850)], "left": [(0, 2000)]})
    assert (spared.moments, spared.slowest_ns) == (2, 113 + 5 - 1)


def test_effects_are_changes_that_can_come_from_their_cause() -> None:
    frames = {"order": times([100, 200, 300, 400, 500])}
    labels = {"panel.switch": [150, 250, 350, 550], "left.drive": [160, 212, 320, 413, 600]}
    found = measured(frames, labels=labels)
    # 150: heard at 210, may act until 213. 250: 310 to 313, nothing. 350: 410 to 413. 550: never on its way.
    assert found.causes == 3
    assert found.effects == (Effect(150, 212), Effect(350, 413))


def test_what_a_recording_does_not_show_is_not_counted() -> None:
    frames = {"order": times([100, 200, 300])}
    assert measured(frames, labels={"panel.switch": [150]}).causes == 0
    assert measured(frames, PATH[:2], labels={"panel.switch": [150]}).causes == 0


def test_nothing_sent_is_nothing_measured() -> None:
    assert measured({"order": times([])}) == Reactions(0, None, None, None)
    assert measured({"order": times([100])}) == Reactions(0, None, None, None)
    assert measured({}, ("panel.switch", "left.drive")) == Reactions(0, None, None, None)
