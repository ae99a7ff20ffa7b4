"""The two sides of a comparison: recordings, or a simulated scenario; and how their clocks lie to each other."""

import os
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from busdesign.answers.figures import MS
from busdesign.answers.one_bus import BLOCK_FRAMES, first_of, of_capture, one_channel
from busdesign.catalogue.model import Catalogue
from busdesign.errors import CaptureError
from busdesign.scenario.reader import read_scenario

if TYPE_CHECKING:
    from busdesign.bench.alignment import Clocks
    from busdesign.traffic.frames import Traffic

WITHIN_NS = MS  # our choice: how much earlier or later a frame may come in the other recording


@dataclass(frozen=True, eq=False, slots=True)
class Recorded:
    """One of the two: its first frames, all of it once in ``blocks``, and ``again`` as often as somebody needs it."""

    path: str
    first: "Traffic"
    blocks: "Iterator[Traffic]"
    again: "Callable[[], Iterator[Traffic]]"
    notices: tuple[str, ...] = ()


def recorded(path: str | os.PathLike[str], channel: str | None, progress: Callable[[float], None] | None) -> Recorded:
    """The recording at ``path``. Raises CaptureError."""
    from busdesign.traffic.capture import open_capture

    opened = open_capture(path, channel=channel)
    first, blocks = first_of(opened)

    def again() -> "Iterator[Traffic]":
        anew = open_capture(path, channel=channel)
        return one_channel(anew.blocks(BLOCK_FRAMES), anew)

    return Recorded(opened.path, first, one_channel(blocks, opened, progress), again)


def simulated(path: str | os.PathLike[str], catalogue: Catalogue | None) -> tuple[Catalogue, Recorded]:
    """The run of the scenario at ``path``, with ``catalogue`` or its own. Raises CaptureError, ScenarioError."""
    from busdesign.answers.simulate import simulate

    story = read_scenario(path) if catalogue is None else read_scenario(path, lambda _: catalogue)
    traffic = simulate(story).run.recorded()
    if not len(traffic):
        text = f"the simulation of `{story.name}` sends no frame"
        raise CaptureError([of_capture("capture-unreadable", os.fspath(path), text, "see `busdesign simulate`")])
    said = (
        "beside a simulation each message may have a phase and a clock of its own",
        "counters and checks are not compared",
    )
    return story.catalogue, Recorded(os.fspath(path), traffic, iter([traffic]), lambda: iter([traffic]), said)


def clocks_of(
    old: Recorded, new: Recorded, aligned_at_ns: int | None, is_simulated: bool
) -> "tuple[Clocks, tuple[str, ...]]":
    """How the clocks lie to each other, and what the reader must know of that."""
    from busdesign.bench.alignment import SURE, Clocks, Found, find_clocks, search, turned

    found = find_clocks(old.first, new.first)
    if aligned_at_ns is not None:
        is_near = found is not None and abs(found.clocks.offset_ns - aligned_at_ns) < WITHIN_NS
        return Clocks(0, aligned_at_ns, found.clocks.drift if found is not None and is_near else 0.0), ()
    if found is not None and (found.part >= SURE or is_simulated):
        return found.clocks, ()
    tried = [found, search(old.again(), new.first)]
    if (sooner := search(new.again(), old.first)) is not None:
        tried.append(Found(turned(sooner.clocks), sooner.part))
    best = max((one for one in tried if one is not None), key=lambda one: one.part, default=None)
    if best is not None and best.part:
        return best.clocks, ()
    if found is None:
        text = f"`{new.path}` has no identifier of `{old.path}` at its beginning, so that nothing can be aligned"
        fix = "are they recordings of one bus? `--aligned-at TIME` aligns them all the same"
        raise CaptureError([of_capture("capture-foreign", new.path, text, fix)])
    said = "few frames say the same in both: they are aligned by identifiers alone, and `--aligned-at` may be better"
    return found.clocks, (said,)
