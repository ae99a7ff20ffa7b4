"""A bus of a few dozen lines, bit by bit in whole numbers, that shares no code with the analysis: frames and errors.

Everything is counted in bits. A frame is offered from its release on; whenever the bus is free, the most urgent frame
that is offered goes. An error ends what is on the bus where it is signalled, and from there the bus recovers; the frame
stays on offer. An error in an idle bus, or in a recovery, lets it recover anew.
"""

import heapq
from collections.abc import Sequence
from dataclasses import dataclass
from random import Random

from busdesign.analysis.response import Stream

INTERMISSION = 3
Sent = tuple[int, int, int]  # stream by its index, start, end of intermission


class Calm:
    """Nothing ever goes wrong. Others say when to strike, how long to recover, and until when an idle bus is held."""

    def strike(self, start: int, last: int, which: int) -> int | None:
        """When to strike a frame of that stream, after its ``start``, at the latest at the end of its ``last`` bit."""
        return None

    def free_after(self, struck: int) -> int:
        """When the bus is free again."""
        raise AssertionError

    def idle_until(self, offered: int) -> int:
        """When an idle bus is free for a frame that is offered then: then, or later if an error came just before."""
        return offered


@dataclass
class Errors:
    """Errors as the model allows them: the first ``burst`` close together, all others ``apart`` from the one before."""

    apart: int
    burst: int
    rng: Random
    done: int = 0
    last: int = -(10**9)

    def earliest(self) -> int:
        """When the next one may be signalled."""
        return self.last + (1 if 0 < self.done < self.burst else self.apart)

    def signalled(self, at: int) -> None:
        assert at >= self.earliest()
        self.done, self.last = self.done + 1, at


def releases(stream: Stream, phase: int, until: int, jitter: str, rng: Random) -> list[tuple[int, int]]:
    """Nominal releases and when each is offered, in their order."""
    offered, last = [], -(10**9)
    for count, nominal in enumerate(range(phase, until, stream.period)):
        late = {"none": 0, "first": stream.jitter * (count == 0), "random": rng.randint(0, stream.jitter)}[jitter]
        last = max(last, nominal + late)
        offered.append((nominal, last))
    return offered


def run(
    streams: Sequence[Stream], offers: Sequence[Sequence[tuple[int, int]]], weather: Calm
) -> tuple[dict[int, int], list[Sent]]:
    """The longest response of each stream by its index, nominal release to end of intermission, and every frame."""
    queue = sorted(
        (offered, streams[which].priority, which, nominal)
        for which, own in enumerate(offers)
        for nominal, offered in own
    )
    waiting: list[tuple[int, int, int]] = []
    worst: dict[int, int] = {}
    sent: list[Sent] = []
    now, position = 0, 0
    while position < len(queue) or waiting:
        if not waiting and queue[position][0] > now:
            now = weather.idle_until(queue[position][0])
        while position < len(queue) and queue[position][0] <= now:
            _, priority, which, nominal = queue[position]
            heapq.heappush(waiting, (priority, nominal, which))
            position += 1
        _, nominal, which = waiting[0]
        end = now + streams[which].length
        struck = weather.strike(now, end - INTERMISSION, which)
        if struck is not None:
            assert now < struck <= end - INTERMISSION
            now = weather.free_after(struck)
            continue
        heapq.heappop(waiting)
        sent.append((which, now, end))
        worst[which] = max(worst.get(which, 0), end - nominal)
        now = end
    return worst, sent
