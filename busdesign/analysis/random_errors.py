"""How likely a frame is late when errors come at random: a bound on the probability, frame by frame.

Errors are signalled as a Poisson process of a constant rate. If no more than K of them come until L(K), the latest end
of the frame with K errors before it, then it is through by L(K). It is late only if for every K whose L(K) is still in
time more than K came until L(K); of that the probability is worked out step by step, as in

    I. Broster, A. Burns, G. Rodriguez-Navas, "Probabilistic analysis of CAN with faults", RTSS 2002, 269-278

(from memory), but forwards, with sums of positive terms alone, so that small probabilities are not lost by subtraction.
The bound of N. Navet, Y.-Q. Song, F. Simonot, "Worst-case deadline failure probability in real-time applications
distributed over controller area network", Journal of Systems Architecture 46(7), 2000, 607-617 (from memory) asks for
the last of those K alone, and is never below it.

Both papers look at the first instance of a busy period that begins with it, and at errors from there on. But errors
before may have begun the busy period earlier, with any frame of higher priority: on a bus that is nearly full that is
no less likely. So every beginning counts here (own derivation). Of a frame with nominal release r the busy period
begins at r - x for one x >= -J only, so that the sum over all x bounds the whole. They are taken together in steps from
X to X + s: whichever it is, no more than q = floor((X + s - 1 + J) / T) instances come before, and what was more than K
errors until L(K) from the beginning is as many until s + L(K) from the earliest one. Nor may the busy period have ended
by X with so few errors: more conditions of the same kind. Several s are tried, and the best is taken. With nothing of
higher priority only its own frames begin a busy period: there x is q T - J at the least, and s is nothing.
"""

from collections.abc import Iterable, Iterator, Sequence
from copy import copy
from dataclasses import dataclass
from fractions import Fraction
from itertools import count
from math import exp

from busdesign.analysis.response import MOST_STEPS, Stream, Term, blockings, by_priority, settle, term_of
from busdesign.units import format_ratio

MOST_ERRORS = 200  # in one busy period; what is beyond counts as a frame that is late
MOST_BEGINNINGS = 2000
PARTS = (1, 4)  # of the busy period without errors: the steps in which its beginnings are taken together
_TINY = 1e-23  # so far below that some thousands of such do not matter
NEGLIGIBLE = 1e-18  # counted in place of the first beginning whose share is below it, and of those before


@dataclass(frozen=True, slots=True)
class Late:
    """A bound on the probability that a frame of this message is late; None where nothing bounds it, for ``reason``."""

    name: str
    probability: float | None
    reason: str = ""


def late_probabilities(
    streams: Sequence[Stream], *, bit: int, rate: Fraction, recovery: int, blocking_at_least: int = 0
) -> tuple[Late, ...]:
    """The probability that a frame is late, at the most, for each message in the order given (source: see the module).

    ``rate``: errors in a tick, in the mean. ``recovery``: ticks from an error flag's first bit until the next frame may
    start. ``bit`` and ``blocking_at_least`` as for ``response_bounds``. Raises ValueError as that does.
    """
    ranked = by_priority(streams, bit)
    above: list[Term] = []
    utilisation, longest = Fraction(0), 0
    answers = {}
    for stream, from_set in zip(ranked, blockings(ranked), strict=True):
        utilisation += stream.utilisation
        longest = max(longest, stream.length)
        cost = recovery + longest
        if utilisation + rate * cost >= 1:
            reason = (
                f"this message and those of higher priority ask for {format_ratio(utilisation)} of the bus and the "
                f"errors for {format_ratio(rate * cost)} in the mean, so the queue may grow for ever"
            )
            answers[stream.priority] = Late(stream.name, None, reason)
        else:
            blocking = max(from_set, blocking_at_least, recovery)
            answers[stream.priority] = _late(_Ends(stream, above, blocking, cost, bit), float(rate))
        above = [*above, term_of(stream)]
    return tuple(answers[stream.priority] for stream in streams)


class _OutOfSteps(Exception):
    """``MOST_STEPS`` were not enough."""


class _Ends:
    """When the frames of one message end, counted from the start of the busy period, with a given number of errors."""

    def __init__(self, stream: Stream, above: Sequence[Term], blocking: int, cost: int, bit: int) -> None:
        self.stream, self.bit = stream, bit
        self.above, self.all = above, [*above, term_of(stream)]
        self.blocking, self.cost = blocking, cost
        self.steps = iter(range(MOST_STEPS))
        self.busy: list[int] = []
        self.ends: dict[int, list[int]] = {}

    def busy_period(self, errors: int) -> int:
        """Until nothing of this priority or above waits, with ``errors`` errors in it."""
        while len(self.busy) <= errors:
            fixed = self.blocking + len(self.busy) * self.cost
            self.busy.append(self._settled(fixed, max(fixed, *self.busy[-1:], 0), self.all, 0))
        return self.busy[errors]

    def end(self, instance: int, errors: int) -> int:
        """By when that instance is through with ``errors`` errors."""
        ends = self.ends.setdefault(instance, [])
        while len(ends) <= errors:
            fixed = self.blocking + len(ends) * self.cost + instance * self.stream.length
            start = ends[-1] - self.stream.length if ends else 0
            ends.append(self._settled(fixed, max(fixed, start), self.above, self.bit) + self.stream.length)
        return ends[errors]

    def in_time(self, release: int, instance: int, errors: int) -> Iterator[int]:
        """By when that instance is through with ``errors`` errors, one more, and so on; as long as that is in time."""
        for more in range(errors, MOST_ERRORS + 1):
            end = self.end(instance, more)
            if end - release > self.stream.deadline:
                return
            yield end

    def _settled(self, fixed: int, start: int, terms: Sequence[Term], reach: int) -> int:
        window = settle(fixed, start, terms, reach, self.steps)
        if window is None:
            raise _OutOfSteps
        return window


class Race:
    """Errors against time: the probability that more than K errors came before each K-th time so far, K from 0.

    Errors are Poisson with ``rate`` in a tick; the times never decrease.
    """

    def __init__(self, rate: float) -> None:
        self.rate = rate
        self.times, self.last = 0, 0
        self.alive = {0: 1.0}  # by the number of errors so far
        self.beyond = 0.0  # more than ``MOST_ERRORS``, and what else is taken for lost
        self.chance = 1.0

    def at(self, time: int) -> None:
        """One time more."""
        chances, rest = _poisson((time - self.last) * self.rate)
        following: dict[int, float] = {}
        for before, chance in self.alive.items():
            self.beyond += chance * rest
            for errors, likely in enumerate(chances, before):
                if errors > MOST_ERRORS:
                    self.beyond += chance * likely
                elif errors > self.times:
                    following[errors] = following.get(errors, 0.0) + chance * likely
        for errors in [errors for errors, chance in following.items() if chance < _TINY]:
            self.beyond += following.pop(errors)  # not worth following
        self.alive, self.last = following, time
        self.times += 1
        self.chance = min(1.0, self.beyond + sum(following.values()))

    def after(self, times: Iterable[int]) -> float:
        """The probability once ``times`` have come, too, or where it is ``NEGLIGIBLE`` before; this race stays put."""
        on = copy(self)  # what changes is replaced, not changed
        for time in times:
            on.at(time)
            if on.chance < NEGLIGIBLE:
                break
        return on.chance


def _late(ends: _Ends, rate: float) -> Late:
    name = ends.stream.name
    try:
        if not ends.above:
            found = [_over_beginnings(ends, rate, ends.stream.period, 0)]
        else:
            steps = [-(-ends.busy_period(0) // parts) for parts in PARTS]
            found = [_over_beginnings(ends, rate, step, step) for step in steps]
    except _OutOfSteps:
        return Late(name, None, f"{MOST_STEPS} steps did not reach the worst case")
    known = [probability for probability in found if probability is not None]
    if not known:
        return Late(name, None, f"so many errors may come that {MOST_BEGINNINGS} steps back do not reach an idle bus")
    return Late(name, min(known))


def _over_beginnings(ends: _Ends, rate: float, step: int, width: int) -> float | None:
    """The sum over the beginnings of busy periods, each ``step`` from the last and ``width`` wide; None: no end."""
    stream, total = ends.stream, 0.0
    busy = Race(rate)  # of the errors that keep the bus busy until the frame is released
    for place in range(MOST_BEGINNINGS):
        release = place * step - stream.jitter  # nominal, after the beginning; it may be queued a jitter later
        instance = (place * step + max(width - 1, 0)) // stream.period
        while place and busy.times <= MOST_ERRORS and busy.chance >= NEGLIGIBLE:
            if ends.busy_period(busy.times) > release:
                break
            busy.at(width + ends.busy_period(busy.times))
        share = busy.chance
        if share >= NEGLIGIBLE:
            share = busy.after(width + end for end in ends.in_time(release, instance, busy.times))
        total += share
        if total >= 1 or share < NEGLIGIBLE:
            return min(total + NEGLIGIBLE, 1.0)
    return None


def _poisson(mean: float) -> tuple[list[float], float]:
    """The probabilities of 0, 1 ... events, and no less than that of all further ones."""
    chance = exp(-mean)
    if chance == 0:  # too many to tell
        return [], 1.0
    chances: list[float] = []
    for events in count():
        if events > 2 * mean and chance < _TINY:
            return chances, 2 * chance  # each further one is at most half as likely as the one before
        chances.append(chance)
        chance *= mean / (events + 1)
    raise AssertionError
