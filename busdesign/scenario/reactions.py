"""How long a function took in a recording: the way of a value from frame to frame, by times alone.

The rule, the same for a run and for a capture: a node that learns something at t has put it into its message by t plus
its ``processing`` at the latest; the first frame released then or later takes it along (an irregular message: the first
one released from t to t plus ``processing``; if none is, nothing came of it); where several frames have to agree the
last of them counts; the receivers know it at that frame's end, or where they declare a receive FIFO, as nothing shows
when they read, up to one period of their reads later. So each way has an end that it reaches at the soonest, were all
nodes at once, and one at the latest, if each takes its whole ``processing`` and has just read when a frame ends.

What moves the value is not asked: that a node handed it on is the node's promise, which an expectation can test. But
where the first and the last step are labels that the recording shows, changes of the last one that come between those
two ends count as effects, each measured from its cause.

Not judged: what begins before a message of the way was first released, what lies in a time when a sender on the way was
made silent, and what is still on its way at the end.
"""

from bisect import bisect_left
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from busdesign.catalogue.model import Catalogue
from busdesign.catalogue.paths import Hop, Way, longest_in_receive_fifo_ns
from busdesign.scenario.tracks import Track

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

Span = tuple[int, int]  # from, until


@dataclass(frozen=True, eq=False, slots=True)
class FrameTimes:
    """The frames of one message in their order, each column int64 [m], ascending: the nominal release, the release
    proper, the end of frame. A capture knows no releases: its starts of frame stand in for both, which are later.
    """

    nominal_ns: "NDArray[np.int64]"
    release_ns: "NDArray[np.int64]"
    end_ns: "NDArray[np.int64]"


@dataclass(frozen=True, slots=True)
class Effect:
    """A change of a function's first label, and of its last one that followed."""

    cause_ns: int
    effect_ns: int


@dataclass(frozen=True, slots=True)
class Reactions:
    """What a recording shows of one function.

    ``slowest_ns`` over ``moments`` moments, those at which a value just misses a release (or the releases of the
    first message, where the path begins with one), each node taking its whole processing; ``slowest_at_ns`` is that
    moment. ``oldest_ns``: the greatest age of what the last step acted on. None where there was nothing to measure.
    ``causes``: changes of the first label that were followed to the end; ``effects``: what came of them; both are
    empty where the recording does not show the labels.
    """

    moments: int
    slowest_ns: int | None
    slowest_at_ns: int | None
    oldest_ns: int | None
    causes: int = 0
    effects: tuple[Effect, ...] = ()


def reactions(
    way: Way,
    catalogue: Catalogue,
    frames: Mapping[str, FrameTimes],
    tracks: Mapping[str, Track],
    silences: Mapping[str, Sequence[Span]],
) -> Reactions:
    """Measure ``way`` in the ``frames`` of its messages. ``tracks``: of its labels, by name, those that are shown.

    ``silences``: of each node the spans in which it was kept from sending.
    """
    if way.gap or not way.hops:
        return Reactions(0, None, None, None)
    followed = _Followed(way, catalogue, frames, silences)
    starts, ends, sampled = followed.worst_moments()
    judged = _undisturbed(starts, ends, followed.spans) & (ends >= 0)
    slowest = slowest_at = oldest = None
    if judged.any():
        times = (ends - starts)[judged]
        at = int(times.argmax())
        slowest, slowest_at = int(times[at]), int(starts[judged][at])
    if not any(hop.message.irregular for hop in way.hops):
        oldest = followed.oldest(sampled, ends)
    causes, effects = _effects(followed, tracks)
    return Reactions(int(judged.sum()), slowest, slowest_at, oldest, causes, effects)


def _effects(followed: "_Followed", tracks: Mapping[str, Track]) -> tuple[int, tuple[Effect, ...]]:
    import numpy as np

    first, last = tracks.get(followed.way.begins), tracks.get(followed.way.ends)
    if first is None or last is None:
        return 0, ()
    starts = np.array(list(first.times_ns)[1:], dtype=np.int64)  # the first value is no change
    soonest, latest = followed.between(starts)
    judged = _undisturbed(starts, latest, followed.spans) & (latest >= 0)
    changes = list(last.times_ns)[1:]
    found = []
    for start, early, late in zip(*(column[judged].tolist() for column in (starts, soonest, latest)), strict=True):
        at = bisect_left(changes, early)
        if at < len(changes) and changes[at] <= late:
            found.append(Effect(start, int(changes[at])))
    return int(judged.sum()), tuple(found)


class _Followed:
    """A way, and the frames on it."""

    def __init__(
        self,
        way: Way,
        catalogue: Catalogue,
        frames: Mapping[str, FrameTimes],
        silences: Mapping[str, Sequence[Span]],
    ) -> None:
        self.way = way
        self.frames = frames
        self.processing_ns = {node: catalogue.nodes[node].processing_ns for node in way.nodes}
        read_by_ns = {node: longest_in_receive_fifo_ns(catalogue.nodes[node]) for node in way.nodes}
        self.unread_ns = [read_by_ns.get(node, 0) for node in way.readers]
        senders = dict.fromkeys(hop.message.sender for hop in way.hops)
        self.spans = [span for sender in senders for span in silences.get(sender, ())]

    def between(self, known: "NDArray[np.int64]") -> "tuple[NDArray[np.int64], NDArray[np.int64]]":
        """When what is known at these times, int64 [k], gets to the end: at the soonest, at the latest; -1: never."""
        soonest = latest = known
        for hop, unread_ns in zip(self.way.hops, self.unread_ns, strict=True):
            soonest, latest = self._over(hop, soonest, latest)
            latest = _later(latest, unread_ns)
        return soonest, self._acted_on(latest)

    def whole(self, known: "NDArray[np.int64]", published: "NDArray[np.int64]", after: int = 0) -> "NDArray[np.int64]":
        """The same past so many hops, if each node takes its whole processing; said from ``published`` on."""
        for hop, unread_ns in zip(self.way.hops[after:], self.unread_ns[after:], strict=True):
            _, published = self._over(hop, published, known)
            known = _later(published, unread_ns)
        return self._acted_on(known)

    def _acted_on(self, known: "NDArray[np.int64]") -> "NDArray[np.int64]":
        return _later(known, self.processing_ns[self.way.acts] if self.way.acts else 0)

    def _over(
        self, hop: Hop, soonest: "NDArray[np.int64]", latest: "NDArray[np.int64]"
    ) -> "tuple[NDArray[np.int64], NDArray[np.int64]]":
        import numpy as np

        found, going = self.frames[hop.message.name], latest >= 0
        count = len(found.end_ns)
        ready = latest + self.processing_ns[hop.passes]
        early = np.searchsorted(found.release_ns, soonest)
        late = early if hop.message.irregular else np.searchsorted(found.release_ns, ready)
        going &= late + hop.frames <= count
        if not count:
            nowhere = np.full(len(latest), -1, dtype=np.int64)
            return nowhere, nowhere
        if hop.message.irregular:
            going &= found.release_ns[np.minimum(late, count - 1)] <= ready
        else:
            going &= late > 0  # it has been released before
        last = count - 1
        ends = [found.end_ns[np.minimum(first + hop.frames - 1, last)] for first in (early, late)]
        return np.where(going, ends[0], -1), np.where(going, ends[1], -1)

    def worst_moments(self) -> "tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.int64]]":
        """Of each frame of the first message: the worst moment to begin, when that way ends (-1: it does not), and
        when what that frame itself carries was true at the latest.
        """
        import numpy as np

        first = self.way.hops[0]
        found = self.frames[first.message.name]
        if first.passes:
            sampled = found.release_ns - self.processing_ns[first.passes]
            starts = sampled if first.message.irregular else sampled + 1  # just too late for it
            ends = self.whole(starts, starts + self.processing_ns[first.passes])
        else:
            sampled = starts = found.nominal_ns
            believed = np.full(len(starts), -1, dtype=np.int64)
            kept = max(len(starts) - first.frames + 1, 0)
            believed[:kept] = found.end_ns[first.frames - 1 :]
            ends = self.whole(_later(believed, self.unread_ns[0]), believed, after=1)
        return starts, np.where(starts >= 0, ends, -1), sampled

    def oldest(self, sampled: "NDArray[np.int64]", ends: "NDArray[np.int64]") -> int | None:
        """The greatest time from when a value was true at the latest to when the next frame's got to the end."""
        replaced = ends if self.way.hops[0].passes else ends[1:]
        sampled = sampled[: len(replaced)]
        judged = (replaced >= 0) & (sampled >= 0) & _undisturbed(sampled, replaced, self.spans)
        return int((replaced - sampled)[judged].max()) if judged.any() else None


def _later(times: "NDArray[np.int64]", by_ns: int) -> "NDArray[np.int64]":
    return times + by_ns * (times >= 0)


def _undisturbed(starts: "NDArray[np.int64]", ends: "NDArray[np.int64]", spans: Sequence[Span]) -> "NDArray[np.bool_]":
    import numpy as np

    kept = np.ones(len(starts), dtype=np.bool_)
    for begin, until in spans:
        kept &= (ends < begin) | (starts >= until)
    return kept
