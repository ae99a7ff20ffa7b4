"""Error frames: how many, where they cluster, and which message came next, which often is the one that was hit."""

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from busdesign.bench.blocks import ERROR_FRAME, NOBODY, Block
from busdesign.bench.declared_errors import DeclaredErrors
from busdesign.bench.limits import Recorder
from busdesign.bench.sightings import Notes, Sighting, sighting
from busdesign.catalogue.model import Catalogue
from busdesign.findings import Severity, counted

WINDOW_NS = 1_000_000_000


@dataclass(frozen=True, slots=True)
class Errors:
    """``most_in_a_second`` of them begin at ``densest_ns``; ``before``: how many came right before which message."""

    count: int
    most_in_a_second: int
    densest_ns: int | None
    closest_ns: int | None
    before: tuple[tuple[str, int], ...]


class ErrorFrames:
    """Collects them block by block."""

    def __init__(self, catalogue: Catalogue, recorder: Recorder) -> None:
        self._catalogue = catalogue
        self._notes = Notes()
        self._before: Counter[str] = Counter()
        self._open = 0  # error frames at the end of the last block
        self._recent = np.empty(0, np.int64)
        self._most, self._densest_ns = 0, 0
        self._closest_ns: int | None = None
        self._declared = None if catalogue.bus.errors is None else DeclaredErrors(catalogue, recorder)

    def take(self, block: Block) -> None:
        """Look at the frames of ``block``."""
        is_error = block.which == ERROR_FRAME
        if self._declared is not None:
            self._declared.take(block, bool(is_error.any()))
        rows, others = np.flatnonzero(is_error), np.flatnonzero(~is_error)
        if self._open and len(others):
            self._before[self._name(block, others[0])] += self._open
            self._open = 0
        if not len(rows):
            return
        self._notes.note("", block, rows)
        at = np.searchsorted(others, rows)
        known = at < len(others)
        self._open += int((~known).sum())
        for index, count in zip(*np.unique(block.which[others[at[known]]], return_counts=True), strict=True):
            name = "frames of nobody" if index == NOBODY else self._catalogue.messages[int(index)].name
            self._before[name] += int(count)
        self._densest(np.sort(np.concatenate([self._recent, block.traffic.end_ns[rows]])))

    def _name(self, block: Block, row: int) -> str:
        index = int(block.which[row])
        return "frames of nobody" if index == NOBODY else self._catalogue.messages[index].name

    def _densest(self, times: NDArray[np.int64]) -> None:
        if len(times) > 1:
            closest = int(np.diff(times).min())
            self._closest_ns = closest if self._closest_ns is None else min(self._closest_ns, closest)
        counts = np.searchsorted(times, times + WINDOW_NS) - np.arange(len(times))
        best = int(counts.argmax())
        if int(counts[best]) > self._most:
            self._most, self._densest_ns = int(counts[best]), int(times[best])
        self._recent = times[times > times[-1] - WINDOW_NS]

    @property
    def found(self) -> Errors:
        """All of it."""
        seen = self._notes.seen.get("")
        count = 0 if seen is None else seen.count
        densest = self._densest_ns if count else None
        return Errors(count, self._most, densest, self._closest_ns, tuple(self._before.most_common()))

    def sightings(self) -> Iterator[Sighting]:
        """What was seen: no promise, for a wire may be disturbed, but what all times rest on."""
        for _, seen in self._notes:
            likely = [f"{count} of them right before `{name}`" for name, count in self._before.most_common(2)]
            text = f"{counted(seen.count, 'error frame')}, {self._most} of them within one second; {', '.join(likely)}"
            text = text.removesuffix("; ")
            fix = "the bounds hold for a bus without errors; see the wiring; declare `bus.errors` and check again"
            if self._declared is not None:
                fix = "see the wiring; `bus.errors` says what the bounds have to bear"
            yield sighting("error-frames", Severity.ADVICE, seen, "", text, fix)
        if self._declared is not None:
            yield from self._declared.sightings(self._notes.seen.get(""))
