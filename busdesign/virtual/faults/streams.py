"""What becomes of a message before its controller has it: releases that come late, twice, not at all or swapped, and
payloads that are not what the application meant.

A change stands between the application and the queue: it turns the releases into others, and the function that makes
the next payload into another one. Several of them lie one upon the other.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from random import Random
from typing import ClassVar

from busdesign.catalogue.payloads import Payloads
from busdesign.virtual.kernel import RELEASE_INTO, Kernel
from busdesign.virtual.senders import Sender

Releases = Iterator[tuple[int, int]]  # (nominal, actual), ticks


@dataclass(slots=True)
class Setting:
    """Where a change is at work: on whose frames, and in ticks from when until when."""

    kernel: Kernel
    sender: Sender
    begin: int
    end: int
    run_end: int

    def holds(self, time: int) -> bool:
        return self.begin <= time < self.end and time <= self.run_end


class Change:
    """One change of a message from ``from_ns`` until ``until_ns`` (None: to the end).

    Of several the one with the least ``rank`` comes first: what is repeated has been lost or swapped before.
    """

    rank: ClassVar[int] = 1

    def __init__(self, from_ns: int, until_ns: int | None) -> None:
        self._from_ns, self._until_ns = from_ns, until_ns

    def set_up(self, kernel: Kernel, sender: Sender, run_end: int) -> None:
        """Called once, before ``releases`` and ``payloads``."""
        per_ns = kernel.base.ticks_per_ns
        end = run_end + 1 if self._until_ns is None else self._until_ns * per_ns
        self.at = Setting(kernel, sender, self._from_ns * per_ns, end, run_end)

    def releases(self, before: Releases) -> Releases:
        """The releases that come of ``before``. The next one is asked for once the last one's payload is made."""
        return before

    def payloads(self, before: Payloads) -> Payloads:
        """What makes the payloads, in place of ``before``."""
        return before


class Lateness(Change):
    """Each release is late by ``by_ns``, or with ``rng`` by a random part of it; they stay in order."""

    def __init__(self, from_ns: int, until_ns: int | None, by_ns: int, rng: Random | None) -> None:
        super().__init__(from_ns, until_ns)
        self._by_ns, self._rng = by_ns, rng

    def releases(self, before: Releases) -> Releases:
        at, last = self.at, 0
        for nominal, actual in before:
            if at.holds(actual):
                late_ns = self._by_ns if self._rng is None else self._rng.randint(0, self._by_ns)
                actual += late_ns * at.kernel.base.ticks_per_ns
            last = max(last, actual)
            yield nominal, last if last < at.run_end else at.run_end + 1


class Losing(Change):
    """Of each ``one_in`` frames the last one does not go out; the count goes on."""

    rank: ClassVar[int] = 2

    def __init__(self, from_ns: int, until_ns: int | None, one_in: int) -> None:
        super().__init__(from_ns, until_ns)
        self._one_in, self._lost = one_in, 0

    def releases(self, before: Releases) -> Releases:
        met = 0
        for nominal, actual in before:
            if self.at.holds(actual):
                met += 1
                if met % self._one_in == 0:
                    self._lost += 1
                    continue
            yield nominal, actual

    def payloads(self, before: Payloads) -> Payloads:
        return lambda raws, count: before(raws, count + self._lost)


class Repeating(Change):
    """Each frame goes out twice."""

    rank: ClassVar[int] = 5

    def __init__(self, from_ns: int, until_ns: int | None) -> None:
        super().__init__(from_ns, until_ns)
        self._again, self._more, self._last = False, 0, 0

    def releases(self, before: Releases) -> Releases:
        for nominal, actual in before:
            self._again = False
            yield nominal, actual
            if self.at.holds(actual):
                self._again = True
                yield nominal, actual

    def payloads(self, before: Payloads) -> Payloads:
        def made(raws: Sequence[int], count: int) -> int:
            if self._again:
                self._more += 1
            else:
                self._last = before(raws, count - self._more)
            return self._last

        return made


class Swapping(Change):
    """Of each two frames the second goes out first, and the first, made when it was due, right behind it."""

    rank: ClassVar[int] = 3

    def __init__(self, from_ns: int, until_ns: int | None) -> None:
        super().__init__(from_ns, until_ns)
        self._kept: int | None = None
        self._turn = ""

    def releases(self, before: Releases) -> Releases:
        at = self.at
        for nominal, actual in before:
            self._turn = ""
            if not at.holds(actual):
                yield nominal, actual
                continue
            at.kernel.at(actual, RELEASE_INTO, self._keep)
            later_nominal, later = next(before)
            self._turn = "second"
            yield later_nominal, later
            self._turn = "first"
            yield nominal, later

    def _keep(self, _: object) -> None:
        self._kept = None if self.at.sender.mutes else self._before(self.at.sender.raws, self.at.sender.count)

    def payloads(self, before: Payloads) -> Payloads:
        self._before = before

        def made(raws: Sequence[int], count: int) -> int:
            if self._turn == "second":
                return before(raws, count + 1)
            if self._turn == "first" and self._kept is not None:
                return self._kept
            return before(raws, count)

        return made


class Freezing(Change):
    """The payload stays as it was."""

    rank: ClassVar[int] = 4

    def payloads(self, before: Payloads) -> Payloads:
        at, kept = self.at, list[int]()

        def made(raws: Sequence[int], count: int) -> int:
            if not at.holds(at.kernel.clock.now) or not kept:
                kept[:] = [before(raws, count)]
            return kept[0]

        return made


class Corrupting(Change):
    """The bits that ``mask`` says are turned over."""

    rank: ClassVar[int] = 4

    def __init__(self, from_ns: int, until_ns: int | None, mask: Callable[[], int]) -> None:
        super().__init__(from_ns, until_ns)
        self._mask = mask

    def payloads(self, before: Payloads) -> Payloads:
        at = self.at

        def made(raws: Sequence[int], count: int) -> int:
            payload = before(raws, count)
            return payload ^ self._mask() if at.holds(at.kernel.clock.now) else payload

        return made


class Recounting(Change):
    """Counts begin anew each time that the node does."""

    rank: ClassVar[int] = 0

    def __init__(self) -> None:
        super().__init__(0, None)
        self._before_restart = 0

    def restart(self) -> None:
        self._before_restart = self.at.sender.count

    def payloads(self, before: Payloads) -> Payloads:
        return lambda raws, count: before(raws, count - self._before_restart)
