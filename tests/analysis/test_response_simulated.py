"""The bounds against a small bus of its own: never exceeded, and attained at the critical instant.

The bus here knows nothing of the analysis: whole ticks, one queue a message, first in, first out, the most urgent frame
starts when the bus is free, and whoever is ready less than one bit after a start of frame still takes part.
"""

from dataclasses import dataclass
from itertools import product

from hypothesis import example, given
from hypothesis import strategies as st

from busdesign.analysis.response import Bound, Stream, response_bounds


@dataclass(frozen=True)
class Release:
    nominal: int
    queued: int
    length: int


def simulated(queues: dict[int, list[Release]], bit: int) -> dict[int, list[int]]:
    """The response of each frame, by priority: from its nominal release to the end of its transmission."""
    waiting = {priority: list(reversed(releases)) for priority, releases in queues.items() if releases}
    responses: dict[int, list[int]] = {priority: [] for priority in queues}
    now = min(releases[-1].queued for releases in waiting.values())
    while waiting:
        now = max(now, min(releases[-1].queued for releases in waiting.values()))
        winner = min(priority for priority, releases in waiting.items() if releases[-1].queued < now + bit)
        frame = waiting[winner].pop()
        if not waiting[winner]:
            del waiting[winner]
        now += frame.length
        responses[winner].append(now - frame.nominal)
    return responses


@st.composite
def tiny_sets(draw: st.DrawFn) -> list[Stream]:
    """Two to four messages, in order of priority, often near the full bus; bit times up to 3 fit."""
    count = draw(st.integers(2, 4))
    return [
        Stream(
            name=f"m{rank}",
            priority=rank,
            period=draw(st.integers(4 * count, 12 * count)),
            jitter=draw(st.one_of(st.just(0), st.integers(0, 30))),
            deadline=1,
            length=draw(st.integers(3, 8)),
        )
        for rank in range(count)
    ]


bits = st.integers(1, 3)

# Davis et al. 2007, section 3 (from memory), a tick of 0.25 ms: the third message is worst in its second instance.
PAPER_EXAMPLE = [Stream("A", 0, 10, 0, 10, 4), Stream("B", 1, 14, 0, 13, 4), Stream("C", 2, 14, 0, 13, 4)]


def assert_within_bounds(streams: list[Stream], queues: dict[int, list[Release]], bit: int) -> None:
    observed = simulated(queues, bit)
    for stream, answer in zip(streams, response_bounds(streams, bit=bit), strict=True):
        if isinstance(answer, Bound):
            assert max(observed[stream.priority], default=0) <= answer.response, stream.name


@given(tiny_sets(), bits, st.data())
def test_no_run_exceeds_a_bound(streams: list[Stream], bit: int, data: st.DataObject) -> None:
    """Any phases, any jitter of each frame within its limit, any frames that are shorter than the longest."""
    until = 4 * max(stream.period for stream in streams)
    queues: dict[int, list[Release]] = {}
    for stream in streams:
        offset = data.draw(st.integers(0, stream.period - 1))
        late = st.one_of(st.just(0), st.just(stream.jitter), st.integers(0, stream.jitter))
        length = st.one_of(st.just(stream.length), st.integers(bit, stream.length))
        releases: list[Release] = []
        for nominal in range(offset - stream.jitter // stream.period * stream.period, until, stream.period):
            queued = max(nominal + data.draw(late), releases[-1].queued if releases else nominal)
            releases.append(Release(nominal, queued, data.draw(length)))
        queues[stream.priority] = releases
    assert_within_bounds(streams, queues, bit)


def test_no_phases_of_the_papers_example_exceed_its_bounds() -> None:
    """Every pair of phases against the first message, over one hyperperiod and the start of the next."""
    first, *others = PAPER_EXAMPLE
    for phases in product(*(range(stream.period) for stream in others)):
        queues = {
            stream.priority: [Release(at, at, stream.length) for at in range(phase, 100, stream.period)]
            for stream, phase in zip([first, *others], (0, *phases), strict=True)
        }
        assert_within_bounds(PAPER_EXAMPLE, queues, bit=1)


def critical_instant(stream: Stream, streams: list[Stream], bound: Bound, bit: int) -> dict[int, list[Release]]:
    """The worst that may happen to ``stream``.

    It and all above are queued at 0, their first release by the whole jitter late, the next ones at once. A frame from
    below has begun one bit earlier, just out of reach, and is so long that ``bound.blocking`` of it is left at 0.
    """
    queues = {}
    for other in streams:
        if other.priority <= stream.priority:
            nominals = range(-other.jitter, bound.busy_period + bit, other.period)
            queues[other.priority] = [Release(at, max(at, 0), other.length) for at in nominals]
    if bound.blocking:
        queues[1 + max(other.priority for other in streams)] = [Release(-bit, -bit, bound.blocking + bit)]
    return queues


@given(tiny_sets(), bits)
@example(PAPER_EXAMPLE, 1)
def test_the_critical_instant_attains_the_bound(streams: list[Stream], bit: int) -> None:
    for stream, answer in zip(streams, response_bounds(streams, bit=bit), strict=True):
        if isinstance(answer, Bound):
            observed = simulated(critical_instant(stream, streams, answer, bit), bit)[stream.priority]
            worst = max(observed[: answer.instances])
            assert worst == answer.response
            assert observed.index(worst) == answer.worst_instance


def test_without_lower_priorities_the_bound_is_attained_as_declared() -> None:
    """The lowest message needs no frame from below: plain synchronous release is its worst case."""
    lowest, bound = PAPER_EXAMPLE[-1], response_bounds(PAPER_EXAMPLE, bit=1)[-1]
    assert isinstance(bound, Bound)
    queues = {m.priority: [Release(at, at, m.length) for at in range(0, 100, m.period)] for m in PAPER_EXAMPLE}
    assert max(simulated(queues, bit=1)[lowest.priority]) == bound.response == 14
    assert (bound.instances, bound.worst_instance) == (2, 1)
