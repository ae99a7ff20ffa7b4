"""How likely a frame is late under errors at random: by hand, beside the other published bound, and on a small bus."""

from fractions import Fraction
from math import exp, factorial, fsum
from random import Random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from busdesign.analysis.random_errors import Race, late_probabilities
from busdesign.analysis.response import Stream
from tests.analysis.disturbed_bus import Calm, releases, run

RECOVERY = 31
RATES = st.sampled_from([Fraction(1, 10**6), Fraction(1, 10**5), Fraction(1, 10**4), Fraction(1, 2000)])


def stream(rank: int, period: int, length: int, deadline: int, jitter: int = 0) -> Stream:
    return Stream(f"m{rank}", rank, period, jitter, deadline, length)


def probabilities(streams: list[Stream], rate: Fraction) -> list[float | None]:
    return [each.probability for each in late_probabilities(streams, bit=1, rate=rate, recovery=RECOVERY)]


def exactly(count: int, mean: float) -> float:
    """The probability of ``count`` Poisson events."""
    return exp(-mean) * mean**count / factorial(count)


def more_than(count: int, mean: float) -> float:
    return fsum(exactly(more, mean) for more in range(count + 1, count + 100))


def test_where_one_error_is_too_many() -> None:
    """Alone, held up for 31 by an error just before: through by 131, or with one error by 262, which is late."""
    (found,) = probabilities([stream(0, 10**5, 100, 261)], Fraction(1, 10**4))
    assert found == pytest.approx(1 - exp(-0.0131), rel=1e-12)


def test_where_two_errors_are_too_many() -> None:
    """By 131 one error or more came, and by 262 two or more."""
    (found,) = probabilities([stream(0, 10**5, 100, 262)], Fraction(1, 10**4))
    early, later = 0.0131, 0.0131
    assert found == pytest.approx(1 - exp(-early) - early * exp(-early) * exp(-later), rel=1e-9)
    assert found is not None
    assert found < more_than(1, early + later)  # Navet's: two or more by 262


def test_small_probabilities_are_not_lost_in_rounding() -> None:
    """Four errors are too many: no less likely than four by the end without any, no more than four by the last end."""
    (found,) = probabilities([stream(0, 10**6, 100, 131 * 4)], Fraction(1, 10**6))
    assert found is not None
    assert 1e-17 < more_than(3, 131e-6) < found < more_than(3, 4 * 131e-6) < 1e-14


def test_a_message_that_is_late_without_errors_is_late_for_sure() -> None:
    assert probabilities([stream(0, 10**4, 100, 130)], Fraction(1, 10**6)) == [1.0]


def test_errors_that_outrun_the_bus_have_no_probability_and_say_why() -> None:
    (late,) = late_probabilities([stream(0, 1000, 100, 1000)], bit=1, rate=Fraction(1, 140), recovery=RECOVERY)
    assert late.probability is None
    assert "the errors for 93.6 % in the mean" in late.reason


def test_a_message_above_keeps_its_number_where_those_below_have_none() -> None:
    streams = [stream(0, 1000, 100, 1000), stream(1, 1000, 135, 1000), stream(2, 135, 100, 1000)]
    first, second, third = probabilities(streams, Fraction(1, 5000))
    assert first is not None
    assert second is not None
    assert first <= second
    assert third is None


@given(st.lists(st.integers(1, 500), min_size=1, max_size=12), st.floats(1e-5, 1e-2))
@settings(max_examples=25, deadline=None)
def test_a_race_is_what_subtraction_gives_as_published(gaps: list[int], rate: float) -> None:
    """Broster, Burns, Rodriguez-Navas 2002: the chance to be through with exactly K errors, each from those before."""
    times = [sum(gaps[: index + 1]) for index in range(len(gaps))]
    through: list[float] = []
    for errors, time in enumerate(times):
        earlier = sum(
            chance * exactly(errors - before, (time - times[before]) * rate) for before, chance in enumerate(through)
        )
        through.append(exactly(errors, time * rate) - earlier)
    assert Race(rate).after(times) == pytest.approx(1 - sum(through), abs=1e-9)
    assert Race(rate).after(times) <= more_than(len(times) - 1, times[-1] * rate) + 1e-12  # Navet's


@given(st.integers(1, 6), RATES, st.randoms(use_true_random=False))
@settings(max_examples=40, deadline=None)
def test_more_errors_or_less_time_never_make_it_less_likely(count: int, rate: Fraction, rng: Random) -> None:
    rows = [(rng.choice([2000, 5000, 20_000]), rng.randint(44, 135), rng.choice([0, 100])) for _ in range(count)]
    streams = [stream(rank, period, length, period, jitter) for rank, (period, length, jitter) in enumerate(rows)]
    tighter = [stream(rank, period, length, period - 300, jitter) for rank, (period, length, jitter) in enumerate(rows)]
    found = probabilities(streams, rate)
    for more in (probabilities(streams, rate * 2), probabilities(tighter, rate)):
        for less_likely, likely in zip(found, more, strict=True):
            assert likely is None or (less_likely is not None and less_likely <= likely * (1 + 1e-9) + 1e-15)


class Poisson(Calm):
    """Errors at random times, wherever they fall; one that falls on a recovery starts it anew."""

    def __init__(self, rate: float, rng: Random) -> None:
        self.rate, self.rng = rate, rng
        self.next = self._after(0)

    def _after(self, at: int) -> int:
        return at + 1 + int(self.rng.expovariate(self.rate))

    def strike(self, start: int, last: int, which: int) -> int | None:
        while self.next <= start:
            self.next = self._after(self.next)
        return self.next if self.next <= last else None

    def free_after(self, struck: int) -> int:
        self.next = self._after(struck)
        while self.next < struck + RECOVERY:
            struck, self.next = self.next, self._after(self.next)
        return struck + RECOVERY


def test_no_more_frames_are_late_than_the_bound_says_and_not_far_fewer() -> None:
    """From the critical instant, thousands of times. Alone at the top the bound is pessimistic only in what an error
    costs; below, it counts busy periods that begin earlier as well, which these do not.
    """
    rng = Random(3)
    streams = [
        stream(0, 10**5, 100, 300),
        stream(1, 10**5, 90, 400),
        stream(2, 10**5, 80, 500),
        stream(3, 10**5, 135, 10**5),
    ]
    rate = 1 / 400
    bounds = probabilities(streams, Fraction(1, 400))
    runs = 6000
    late = [0, 0, 0]
    for _ in range(runs):
        offers = [[(1, 1)], [(1, 1)], [(1, 1)], [(0, 0)]]
        worst, _ = run(streams, offers, Poisson(rate, rng))
        for rank in range(3):
            late[rank] += worst[rank] > streams[rank].deadline
    for rank in range(3):
        bound = bounds[rank]
        assert bound is not None
        share = late[rank] / runs
        deviation = (share * (1 - share) / runs) ** 0.5
        assert share - 4 * deviation <= bound
        assert share > bound / (8 if rank else 4)
    assert late[2] > 1000


def test_errors_before_a_frame_is_released_count_as_well() -> None:
    """On a nearly full bus the backlog of an error lasts; a race that begins at the release does not see it.

    Without errors the frame is through by 31 + 8 x 100 + 100 = 931: eight frames go before it. An error from there on
    makes it late; so does one before, as long as what it has held up is still there.
    """
    rng = Random(5)
    streams = [stream(0, 104, 100, 10**5), stream(1, 40_000, 100, 935)]
    (_, bound) = probabilities(streams, Fraction(1, 10**4))
    from_its_release = 1 - exp(-0.0931)
    runs, late = 1000, 0
    for _ in range(runs):
        release = 8_000 + rng.randrange(104)
        offers = [[(at, at) for at in range(0, 16_000, 104)], [(release, release)]]
        worst, _ = run(streams, offers, Poisson(1e-4, rng))
        late += worst[1] > streams[1].deadline
    share = late / runs
    deviation = (share * (1 - share) / runs) ** 0.5
    assert bound is not None
    assert from_its_release < share - 4 * deviation < share + 4 * deviation < bound < 1


@given(st.integers(1, 4), st.sampled_from([1e-3, 3e-3]), st.integers(0, 2**32))
@settings(max_examples=12, deadline=None)
def test_no_more_frames_are_late_at_any_phases_than_the_bound_says(count: int, rate: float, seed: int) -> None:
    """Long runs of small sets, the errors of the past and all."""
    rng = Random(seed)
    rows = [(rng.choice([300, 450, 700]), rng.randint(20, 70), rng.choice([0, 90])) for _ in range(count)]
    streams = [
        stream(rank, period, length, rng.choice([period // 2, period]), jitter)
        for rank, (period, length, jitter) in enumerate(rows)
    ]
    until = 150_000
    offers = [releases(each, rng.randrange(each.period), until, "random", rng) for each in streams]
    _, sent = run(streams, offers, Poisson(rate, rng))
    found = probabilities(streams, Fraction(rate).limit_denominator(10**6))
    for rank, own in enumerate(streams):
        if found[rank] is None:
            continue
        ends = [end for which, _, end in sent if which == rank]
        late = sum(end - nominal > own.deadline for end, (nominal, _) in zip(ends, offers[rank], strict=True))
        share = late / len(ends)
        assert share - 6 * (share / len(ends)) ** 0.5 <= (found[rank] or 0)
