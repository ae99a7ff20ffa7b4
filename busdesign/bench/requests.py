"""Remote requests: whether what was asked for came, and in time."""

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from busdesign.bench.blocks import Block
from busdesign.bench.limits import Limits
from busdesign.bench.sightings import Notes, Sighting, sighting
from busdesign.catalogue.model import Catalogue, Message
from busdesign.findings import Severity, counted
from busdesign.units import format_duration


class Requests:
    """Holds each request against the next frame of what it asks for."""

    def __init__(self, catalogue: Catalogue, limits: Limits) -> None:
        self._catalogue, self._limits = catalogue, limits
        index = {message.name: place for place, message in enumerate(catalogue.messages)}
        self._asks = {
            index[message.name]: index[message.requests] for message in catalogue.messages if message.requests
        }
        self._open: dict[int, int] = {}  # request → when the last one ended that is not answered yet
        self._late = Notes()

    def take(self, block: Block) -> None:
        """Look at the frames of ``block``."""
        if not self._asks:
            return
        groups = {group.index: group.rows for group in block.groups}
        nothing = np.empty(0, np.int64)
        for request, asked_for in self._asks.items():
            self._hold(block, request, groups.get(request, nothing), groups.get(asked_for, nothing))

    def _hold(self, block: Block, request: int, asked: NDArray[np.int64], answers: NDArray[np.int64]) -> None:
        within = self._within(request)
        if within is None:
            return
        ends, answered = block.traffic.end_ns[asked], block.traffic.end_ns[answers]
        if request in self._open and len(answers) and int(answered[0]) - self._open.pop(request) > within:
            self._late.note(request, block, answers[:1])
        at = np.searchsorted(answers, asked)
        known = at < len(answers)
        late = np.flatnonzero(known)[answered[at[known]] - ends[known] > within]
        self._late.note(request, block, asked[late])
        if len(asked) and not known[-1]:
            self._open.setdefault(request, int(ends[known.sum()]))

    def _within(self, request: int) -> int | None:
        limits = self._limits.messages[self._answered_by(request).name]
        return None if limits.answer_ns is None else limits.answer_ns + limits.slack_ns

    def _answered_by(self, request: int) -> Message:
        return self._catalogue.message(self._catalogue.messages[request].requests)

    def sightings(self) -> Iterator[Sighting]:
        """What was seen."""
        for key, seen in self._late:
            message = self._catalogue.messages[key]
            within = format_duration(self._within(key) or 0)
            text = (
                f"`{message.requests}` did not follow `{message.name}` within {within}, its worst response, "
                f"{counted(seen.count, 'time')}"
            )
            yield sighting(
                "request-unanswered", Severity.BROKEN, seen, message.name, text, "", message.place_of("requests")
            )
