"""Laws of the bounds on random sets, and the same numbers by the paper's formulas as printed.

What holds, for every message of a set and with "no bound" counted as infinite: none of these lowers a response: one
message more, a longer jitter, a longer frame or a shorter period of any message, more foreign blocking.
"""

import math
import random
from dataclasses import replace
from fractions import Fraction
from itertools import accumulate

from hypothesis import assume, example, given
from hypothesis import strategies as st

from busdesign.analysis.response import Bound, NoBound, Stream, response_1994, response_bounds

Numbers = tuple[int, int, int, int]  # blocking, response, instances, busy period

# Davis et al. 2007, section 3 (from memory), a tick of 0.25 ms: the third message is worst in its second instance.
PAPER_EXAMPLE = [Stream("A", 1, 10, 0, 10, 4), Stream("B", 2, 14, 0, 13, 4), Stream("C", 3, 14, 0, 13, 4)]


@st.composite
def stream_sets(draw: st.DrawFn, least: int = 1, most: int = 6) -> list[Stream]:
    """Sets near the full bus: long frames, short periods, jitters up to several periods; bit times up to 3 fit."""
    count = draw(st.integers(least, most))
    priorities = draw(st.permutations(range(count)))
    return [
        Stream(
            name=f"m{index}",
            priority=priority,
            period=draw(st.integers(4 * count, 14 * count)),
            jitter=draw(st.one_of(st.just(0), st.integers(0, 60))),
            deadline=1,
            length=draw(st.integers(3, 12)),
        )
        for index, priority in enumerate(priorities)
    ]


bits = st.integers(1, 3)


def responses(streams: list[Stream], bit: int, blocking_at_least: int = 0) -> list[float]:
    answers = response_bounds(streams, bit=bit, blocking_at_least=blocking_at_least)
    return [answer.response if isinstance(answer, Bound) else math.inf for answer in answers]


def none_lower(before: list[float], after: list[float]) -> bool:
    return all(old <= new for old, new in zip(before, after, strict=True))


# --- The same numbers twice


def ceil_div(number: int, divisor: int) -> int:
    return math.ceil(Fraction(number, divisor))


def as_printed(m: Stream, streams: list[Stream], bit: int, blocking_at_least: int) -> Numbers | None:
    """The revised analysis as the paper writes it, every recurrence from its own start; None if it cannot converge."""
    hp = [k for k in streams if k.priority < m.priority]
    lp = [k for k in streams if k.priority > m.priority]
    if sum(Fraction(k.length, k.period) for k in [*hp, m]) >= 1:
        return None
    blocking = max([k.length for k in lp] + [blocking_at_least])
    t, previous = m.length, -1
    while t != previous:
        previous = t
        t = blocking + sum(ceil_div(previous + k.jitter, k.period) * k.length for k in [*hp, m])
    instances = ceil_div(t + m.jitter, m.period)
    worst = 0
    for q in range(instances):
        w, previous = blocking + q * m.length, -1
        while w != previous:
            previous = w
            interference = sum(ceil_div(previous + k.jitter + bit, k.period) * k.length for k in hp)
            w = blocking + q * m.length + interference
        worst = max(worst, m.jitter + w - q * m.period + m.length)
    return blocking, worst, instances, t


def as_computed(answer: Bound | NoBound) -> Numbers | None:
    if isinstance(answer, NoBound):
        return None
    return answer.blocking, answer.response, answer.instances, answer.busy_period


@given(stream_sets(), bits, st.one_of(st.just(0), st.integers(0, 20)))
@example(PAPER_EXAMPLE, 1, 0)
def test_equals_the_paper_transcribed(streams: list[Stream], bit: int, blocking_at_least: int) -> None:
    """Away from a bus filled to a hair: there the plain recurrences take for ever, and ours gives up, as it says."""
    filled = accumulate(stream.utilisation for stream in sorted(streams, key=lambda stream: stream.priority))
    assume(not any(Fraction(99, 100) < share < 1 for share in filled))
    answers = response_bounds(streams, bit=bit, blocking_at_least=blocking_at_least)
    assert [as_computed(answer) for answer in answers] == [
        as_printed(stream, streams, bit, blocking_at_least) for stream in streams
    ]


def test_equals_the_paper_transcribed_on_whole_buses() -> None:
    """Thirty messages in ns at 500 kbit/s with drifted periods, at 70 to 99.5 % load: several instances at the top."""
    bit = 2_000
    most_instances = 0
    for load_percent in (70, 90, 98, 99.5):
        rng = random.Random(f"whole bus {load_percent}")
        periods = [rng.choice((5, 10, 20, 50, 100)) * 1_000_000 for _ in range(30)]
        lengths = [rng.randint(55, 135) * bit for _ in periods]
        stretch = sum(length / period for length, period in zip(lengths, periods, strict=True)) / load_percent * 100
        streams = [
            Stream(f"m{rank}", rank, round(period * stretch * 0.9997), rng.randint(0, 900_000), period, length)
            for rank, (period, length) in enumerate(zip(sorted(periods), lengths, strict=True))
        ]
        answers = response_bounds(streams, bit=bit)
        assert [as_computed(answer) for answer in answers] == [as_printed(m, streams, bit, 0) for m in streams]
        most_instances = max(most_instances, *(answer.instances for answer in answers if isinstance(answer, Bound)))
    assert most_instances > 1


# --- What holds of every answer


@given(stream_sets(), bits)
def test_a_response_is_jitter_queuing_and_length(streams: list[Stream], bit: int) -> None:
    for stream, answer in zip(streams, response_bounds(streams, bit=bit), strict=True):
        if isinstance(answer, Bound):
            assert answer.response == stream.jitter + answer.queuing + stream.length
            assert answer.queuing >= answer.blocking >= 0
            assert 0 <= answer.worst_instance < answer.instances


@given(stream_sets(), bits)
@example(PAPER_EXAMPLE, 1)
def test_the_analysis_of_1994_is_never_above_the_revised_one(streams: list[Stream], bit: int) -> None:
    for stream, now, then in zip(streams, responses(streams, bit), response_1994(streams, bit=bit), strict=True):
        assert now == math.inf or (then is not None and stream.jitter + then <= now)


@given(stream_sets(), bits, st.integers(2, 1_000_003))
def test_the_unit_of_time_does_not_matter(streams: list[Stream], bit: int, factor: int) -> None:
    finer = [replace(m, period=m.period * factor, jitter=m.jitter * factor, length=m.length * factor) for m in streams]
    assert responses(finer, bit * factor) == [response * factor for response in responses(streams, bit)]


# --- What never lowers a response


@given(stream_sets(least=2), bits, st.integers(0, 10))
def test_one_message_more(streams: list[Stream], bit: int, blocking_at_least: int) -> None:
    *fewer, _ = streams
    assert none_lower(responses(fewer, bit, blocking_at_least), responses(streams, bit, blocking_at_least)[:-1])


@given(stream_sets(), bits, st.integers(1, 40))
def test_a_longer_jitter(streams: list[Stream], bit: int, more: int) -> None:
    first, *others = streams
    jittery = [replace(first, jitter=first.jitter + more), *others]
    before, after = responses(streams, bit), responses(jittery, bit)
    assert none_lower(before, after)
    assert after[0] >= before[0] + more


@given(stream_sets(), bits, st.integers(1, 20))
def test_a_longer_frame(streams: list[Stream], bit: int, more: int) -> None:
    first, *others = streams
    before, after = responses(streams, bit), responses([replace(first, length=first.length + more), *others], bit)
    assert none_lower(before, after)
    assert after[0] >= before[0] + more


@given(stream_sets(), bits, st.integers(1, 20))
def test_a_shorter_period(streams: list[Stream], bit: int, less: int) -> None:
    first, *others = streams
    hasty = [replace(first, period=max(1, first.period - less)), *others]
    assert none_lower(responses(streams, bit), responses(hasty, bit))


@given(stream_sets(), bits, st.integers(0, 20), st.integers(0, 20))
def test_more_foreign_blocking(streams: list[Stream], bit: int, blocking: int, more: int) -> None:
    assert none_lower(responses(streams, bit, blocking), responses(streams, bit, blocking + more))
