"""How long a frame can wait: worst-case response times on one CAN bus, exact, on plain integers.

Source: R.I. Davis, A. Burns, R.J. Bril, J.J. Lukkien, "Controller Area Network (CAN) schedulability analysis: Refuted,
revisited and revised", Real-Time Systems 35(3), 2007, 239-272 (DOI 10.1007/s11241-007-9012-7). In its notation, for a
message m with transmission time C, period T and queuing jitter J, hp/lp the messages of higher/lower priority:

    B    = max over lp of C_k, or 0                              a longer frame has just begun
    t    = B + sum over hp and m of ceil((t + J_k) / T_k) C_k    the busy period, least solution from C_m
    Q    = ceil((t + J_m) / T_m)                                 instances of m in it
    w(q) = B + q C_m + sum over hp of ceil((w + J_k + one bit) / T_k) C_k            for q = 0 .. Q - 1
    R    = max over q of J_m + w(q) - q T_m + C_m

With errors, E is the most that they can cost in a window, and is added to both: E(t) to the busy period, E(w + C_m) to
the wait, since an error as late as in the last bit of the frame itself sends it round again (K. Tindell, A. Burns, A.
Wellings, "Calculating Controller Area Network (CAN) message response times", Control Engineering Practice 3(8), 1995,
1163-1169; that E belongs into the revised equations is said by Davis et al. 2007, section 5; both from memory):

    E(t) = sum over the sources of errors of (burst - 1 + ceil(t / apart)) (recovery + lasting + max over hp and m of C)

An error counts where it is signalled: at the first bit of the error flag. One signalled before the busy period began
still holds the bus for ``recovery`` and ``lasting`` at most, so that the blocking is no shorter than these.

All times are integers in one unit that the caller chooses ("ticks"), fine enough that a bit time is a whole number of
them, so the answers are exact at any bit rate. With clock drift the caller passes the shortest period (fastest sender)
and the slowest bit, in ``length`` and ``bit`` alike: both only ever raise a bound.

What is modelled and what is not stands in ``MODELLED`` and ``NOT_MODELLED``, which the report prints.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import accumulate, pairwise

from busdesign.units import format_ratio

MODELLED = (
    "arbitration by priority, one frame after the other, blocking, jitter, releases of one message in their order "
    "(also where jitter exceeds the period), deadlines beyond the period, in each node a queue that always offers "
    "its most urgent frame and keeps equal ones first in, first out; or where the catalogue says so a FIFO, or buffers "
    "that cannot be aborted."
)
NOT_MODELLED = (
    "frames repeated after errors, the time in which a node fills a buffer or its interrupt comes (to be counted in "
    "`jitter`)."
)

# Evaluations of right-hand sides that one call spends before it gives up, so that a bus filled to within a hair of the
# whole ends in an answer as well.
MOST_STEPS = 100_000

Term = tuple[int, int, int]


@dataclass(frozen=True, slots=True)
class Stream:
    """One message as the analysis sees it; times in ticks.

    ``priority``: smaller wins, from the bits of the arbitration field. ``period``: shortest time between two nominal
    releases. ``jitter``: longest time from a nominal release until the frame is queued. ``deadline``: from the nominal
    release, may exceed the period. ``length``: transmission time of the longest frame, intermission included.
    """

    name: str
    priority: int
    period: int
    jitter: int
    deadline: int
    length: int

    def __post_init__(self) -> None:
        for what, value, least in (
            ("period", self.period, 1),
            ("jitter", self.jitter, 0),
            ("deadline", self.deadline, 1),
            ("length", self.length, 1),
        ):
            if value < least:
                raise ValueError(f"{self.name}: {what} is {value}, must be at least {least}")

    @property
    def utilisation(self) -> Fraction:
        """Share of the bus that this message asks for, with every frame at its longest."""
        return Fraction(self.length, self.period)


@dataclass(frozen=True, slots=True)
class Disturbance:
    """One source of errors; times in ticks.

    Two of its errors are signalled ``apart`` from each other or more, but that once in a busy period ``burst`` of them
    may come as close together as they like. ``recovery``: from the first bit of an error flag until the next frame may
    start. ``lasting``: for how long each keeps the bus from carrying anything, before it can recover.
    """

    apart: int
    recovery: int
    burst: int = 1
    lasting: int = 0

    def __post_init__(self) -> None:
        for what, value, least in (
            ("apart", self.apart, 1),
            ("recovery", self.recovery, 1),
            ("burst", self.burst, 1),
            ("lasting", self.lasting, 0),
        ):
            if value < least:
                raise ValueError(f"{what} is {value}, must be at least {least}")

    def cost(self, longest: int) -> int:
        """The most that one of its errors takes, where no frame that it can destroy is longer than ``longest``."""
        return self.recovery + self.lasting + longest


@dataclass(frozen=True, slots=True)
class Bound:
    """The worst case of one message; times in ticks.

    ``response``: from the nominal release (before jitter) to the end of intermission; always
    ``jitter + queuing + length``. ``queuing``: what of that the worst instance waits for its start of frame, counted
    from the latest moment at which it may be queued (w(q) - q T in the paper). ``blocking``: the part of the wait that
    one frame of lower priority may cause, or an error just before. ``worst_instance``: the first instance, from 0, that
    takes ``response``, among the ``instances`` of one ``busy_period``.
    """

    name: str
    blocking: int
    queuing: int
    response: int
    instances: int
    worst_instance: int
    busy_period: int


@dataclass(frozen=True, slots=True)
class NoBound:
    """No number can be promised for this message; ``reason`` says why. ``blocking`` is in ticks."""

    name: str
    blocking: int
    reason: str
    fix: str = ""  # where it is not the load


def response_bounds(
    streams: Sequence[Stream], *, bit: int, blocking_at_least: int = 0, disturbances: Sequence[Disturbance] = ()
) -> tuple[Bound | NoBound, ...]:
    """The worst-case response time of every message, in the order given (source: see the module).

    ``bit`` is the bit time in ticks. ``blocking_at_least`` raises the blocking of every message, the lowest included:
    the longest frame that something outside ``streams`` may send at a lower priority. ``disturbances`` are the sources
    of errors, independent of each other.

    A message has no bound if it and those of higher priority, with what the errors cost, ask for the whole bus or more:
    the queue may then grow for ever. Nor has it one if so little of the bus is left that ``MOST_STEPS`` steps did not
    reach its worst case.

    Raises ValueError for two messages of equal priority, for a bit time below one tick or above a frame's length.
    """
    search = _Search(bit, disturbances)
    blocking_at_least = max(blocking_at_least, *(source.cost(0) for source in disturbances), 0)
    answers: dict[int, Bound | NoBound] = {}
    ranked = by_priority(streams, bit)
    for stream, from_set in zip(ranked, blockings(ranked), strict=True):
        answers[stream.priority] = search.next_lower(stream, max(from_set, blocking_at_least))
    return tuple(answers[stream.priority] for stream in streams)


def meets_deadline(stream: Stream, answer: Bound | NoBound) -> bool:
    """Whether every frame of ``stream`` is through by its deadline; what has no bound promises nothing."""
    return isinstance(answer, Bound) and answer.response <= stream.deadline


def response_1994(streams: Sequence[Stream], *, bit: int, blocking: int | None = None) -> tuple[int | None, ...]:
    """The first published analysis, kept to check against its printed tables. Never use it to promise anything.

    K. Tindell, A. Burns, "Guaranteed message latencies for distributed safety-critical hard real-time control
    networks", YCS 229, York 1994. It looks at the first instance alone, so it is optimistic where a later instance of
    the same busy period waits longer; Davis et al. 2007 refuted it. The lengths of that time are optimistic too, and
    are the caller's affair. Returns w(0) + C in ticks, own jitter left out as in the printed table, or None where
    higher priorities fill the bus, or all but fill it (``MOST_STEPS``). ``blocking`` is the same for all messages;
    None takes it from the set.
    """
    ranked = by_priority(streams, bit)
    steps = iter(range(MOST_STEPS))
    responses: dict[int, int | None] = {}
    for rank, (stream, from_set) in enumerate(zip(ranked, blockings(ranked), strict=True)):
        above = ranked[:rank]
        responses[stream.priority] = None
        if sum(higher.utilisation for higher in above) < 1:
            fixed = from_set if blocking is None else blocking
            waits = settle(fixed, fixed, [term_of(higher) for higher in above], bit, steps)
            responses[stream.priority] = None if waits is None else waits + stream.length
    return tuple(responses[stream.priority] for stream in streams)


class _Search:
    """Goes down the priorities and keeps what the next lower message can start from.

    Every iteration may start at or below its least solution without changing it, and each solution is such a start
    for the next: t >= w(0) + C (a frame is at least a bit long), w(q) >= w(q - 1) + C, and, while the blocking stays
    the same, w(0) of the next lower message >= t, whose equation it shares but for the one bit more.
    """

    def __init__(self, bit: int, disturbances: Sequence[Disturbance]) -> None:
        self.bit = bit
        self.disturbances = disturbances
        self.longest = 0
        self.steps = iter(range(MOST_STEPS))
        self.terms: list[Term] = []
        self.utilisation = Fraction(0)
        self.busy_period = 0
        self.blocking = -1

    def next_lower(self, stream: Stream, blocking: int) -> Bound | NoBound:
        self.utilisation += stream.utilisation
        self.longest = max(self.longest, stream.length)
        errors = sum((Fraction(each.cost(self.longest), each.apart) for each in self.disturbances), Fraction(0))
        who = "this message and those of higher priority"
        if self.utilisation + errors >= 1:
            asked = f"{who} ask for {format_ratio(self.utilisation)} of the bus"
            if errors:
                asked += f" and the errors for {format_ratio(errors)}"
            return NoBound(stream.name, blocking, f"{asked}, so the queue may grow for ever")
        bound = self._bound(stream, blocking)
        if bound is None:
            spare = f"{who} leave {float(1 - self.utilisation - errors):.1g} of the bus free"
            return NoBound(stream.name, blocking, f"{spare}, and {MOST_STEPS} steps did not reach the worst case")
        return bound

    def _bound(self, stream: Stream, blocking: int) -> Bound | None:
        start = self.busy_period if blocking == self.blocking else blocking
        length, period, bit = stream.length, stream.period, self.bit
        costs = [(each, each.cost(self.longest)) for each in self.disturbances]
        burst = sum((each.burst - 1) * cost for each, cost in costs)
        fixed = blocking + burst
        # E looks as far ahead as the end of the frame, the others one bit: hence what the two differ by.
        in_wait = [*self.terms, *((each.apart - 1 + length - bit, each.apart, cost) for each, cost in costs)]
        self.terms, self.blocking = [*self.terms, term_of(stream)], -1

        waits = settle(fixed, start, in_wait, bit, self.steps)
        if waits is None:
            return None
        in_busy = [*self.terms, *((each.apart - 1, each.apart, cost) for each, cost in costs)]
        busy_period = settle(fixed, waits + length, in_busy, 0, self.steps)
        if busy_period is None:
            return None
        self.busy_period, self.blocking = busy_period, blocking

        longest, worst_instance = waits, 0
        instances = -(-(busy_period + stream.jitter) // period)
        for instance in range(1, instances):
            waits = settle(fixed + instance * length, waits + length, in_wait, bit, self.steps)
            if waits is None:
                return None
            if waits - instance * period > longest:
                longest, worst_instance = waits - instance * period, instance
        response = stream.jitter + longest + length
        return Bound(stream.name, blocking, longest, response, instances, worst_instance, busy_period)


def term_of(stream: Stream) -> Term:
    """J + T - 1, T and C: then ceil((window + J) / T) C is (window + J + T - 1) // T * C."""
    return stream.jitter + stream.period - 1, stream.period, stream.length


def settle(fixed: int, window: int, terms: Sequence[Term], reach: int, steps: Iterator[int]) -> int | None:
    """Least solution, from ``window`` up, of window = fixed + sum of ceil((window + reach + J) / T) C over ``terms``.

    None if ``steps`` run out first.
    """
    for _ in steps:
        following = fixed
        for ahead, period, length in terms:
            following += (window + reach + ahead) // period * length
        if following == window:
            return window
        window = following
    return None


def by_priority(streams: Sequence[Stream], bit: int) -> list[Stream]:
    """Highest priority first; refuses what the equations do not cover."""
    if bit < 1:
        raise ValueError(f"bit is {bit} ticks, must be at least 1")
    ranked = sorted(streams, key=lambda stream: stream.priority)
    for higher, lower in pairwise(ranked):
        if higher.priority == lower.priority:
            raise ValueError(f"{higher.name} and {lower.name} have the same priority {lower.priority}")
    for stream in streams:
        if stream.length < bit:
            raise ValueError(f"{stream.name}: length is {stream.length}, shorter than one bit ({bit})")
    return ranked


def blockings(ranked: Sequence[Stream]) -> list[int]:
    """Of each message the longest frame of lower priority, 0 for the lowest."""
    longest_from_below = accumulate((stream.length for stream in reversed(ranked)), max, initial=0)
    return list(longest_from_below)[-2::-1] if ranked else []
