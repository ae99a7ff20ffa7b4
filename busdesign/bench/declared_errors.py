"""The error frames of a capture against the errors that the catalogue declares, on which its bounds rest.

With a least distance: error frames that lie no further apart than a disturbance lasts are one disturbance. Two
disturbances closer together than declared are one too many; where a burst is declared, only beyond what it allows
within one busy period. A busy period ends where the bus was idle; the part of a frame that an error cut off is not in
any capture, so as much time as the longest frame takes right before an error frame is not taken to be idle.

With a mean rate: so many error frames, or more, have a probability under a Poisson distribution of the declared mean;
below one in a million it is the declaration that is wrong.
"""

from collections.abc import Iterator
from math import exp, lgamma, log

import numpy as np
from numpy.typing import NDArray

from busdesign.bench.blocks import ERROR_FRAME, Block
from busdesign.bench.limits import Recorder
from busdesign.bench.sightings import Notes, Seen, Sighting, sighting
from busdesign.catalogue.model import Catalogue
from busdesign.catalogue.model_errors import ErrorModel
from busdesign.compiled import compiled
from busdesign.findings import Severity, counted
from busdesign.units import format_duration

# From the first bit of an error flag until the bus is free at the latest; Bosch CAN 2.0 part B, "at most 31 bit times".
RECOVERY_BITS = 31
LONGEST_FRAME_BITS = 160  # an extended frame with 8 bytes and every stuff bit that there can be
UNLIKELY = 1e-6  # our choice
_IDLE, _BEGAN, _CLOSE, _IS_BUSY = range(4)  # columns of the state
_NEVER = np.iinfo(np.int64).min // 4


class DeclaredErrors:
    """Collects them block by block; only for a catalogue that declares errors."""

    def __init__(self, catalogue: Catalogue, recorder: Recorder) -> None:
        assert catalogue.bus.errors is not None
        self._model: ErrorModel = catalogue.bus.errors
        bit_ns, self._place = catalogue.bus.bit_ns, catalogue.bus.place
        self._slack_ns = recorder.resolution_ns + int(RECOVERY_BITS * bit_ns)
        self._cut_off_ns = self._slack_ns + int(LONGEST_FRAME_BITS * bit_ns)
        self._state = np.array([_NEVER, _NEVER, 0, 0], np.int64)
        self._close = Notes()
        self._first_ns: int | None = None
        self._end_ns = 0

    def take(self, block: Block, has_errors: bool) -> None:
        """Look at the error frames of ``block``, and at how the bus was between them."""
        if self._first_ns is None:
            self._first_ns = int(block.start_ns[0])
        self._end_ns = max(self._end_ns, int(block.traffic.end_ns[-1]))
        if self._model.at_least_apart_ns is None:
            return
        if not has_errors:  # some hundred thousand frames without a gap there are not
            self._state[_IDLE] = int(block.idle_ns[-1])
            self._state[_CLOSE] = self._state[_IS_BUSY] = 0
            return
        rows, distances = np.empty(len(block), np.int64), np.empty(len(block), np.int64)
        found = _too_close(
            block.which == ERROR_FRAME,
            block.start_ns,
            block.idle_ns,
            self._model.at_least_apart_ns - self._slack_ns,
            self._model.lasting_ns + self._slack_ns,
            self._model.burst - 1,
            self._slack_ns,
            self._cut_off_ns,
            self._state,
            rows,
            distances,
        )
        self._close.note("", block, rows[:found], distances[:found])

    def sightings(self, seen: Seen | None) -> Iterator[Sighting]:
        """What was seen; ``seen``: all error frames."""
        for _, close in self._close:
            apart = format_duration(self._model.at_least_apart_ns or 0)
            burst = f" with bursts of {self._model.burst}" if self._model.burst > 1 else ""
            text = (
                f"errors came {format_duration(close.least)} after the last one, {counted(close.count, 'time')}; "
                f"declared are {apart} at the least{burst}"
            )
            yield self._sighting(close, text)
        if seen is None or self._model.rate_per_s is None or self._first_ns is None:
            return
        seconds = max(self._end_ns - self._first_ns, 1) / 1e9
        mean = float(self._model.rate_per_s) * seconds
        if poisson_tail(seen.count, mean) < UNLIKELY:
            text = (
                f"{counted(seen.count, 'error frame')} in {seconds:g} s are {seen.count / seconds:.3g} a second; "
                f"the declared {float(self._model.rate_per_s):.3g} would give {mean:.3g}"
            )
            yield self._sighting(seen, text)

    def _sighting(self, seen: Seen, text: str) -> Sighting:
        fix = "see the wiring, or declare the errors that there are and check again"
        return sighting("errors-beyond-declared", Severity.BROKEN, seen, "", text, fix, self._place)


def poisson_tail(count: int, mean: float) -> float:
    """The probability of ``count`` events or more where ``mean`` are to be expected; 1.0 up to the mean."""
    if count <= mean or count == 0:
        return 1.0
    if mean <= 0:
        return 0.0
    term = exp(count * log(mean) - mean - lgamma(count + 1))
    total, number = 0.0, count
    while term > total * 1e-12 and term > 0:
        total += term
        number += 1
        term *= mean / number
    return total


@compiled
def _too_close(
    is_error: NDArray[np.bool_],
    start_ns: NDArray[np.int64],
    idle_ns: NDArray[np.int64],
    apart_ns: int,
    lasts_ns: int,
    spare: int,
    slack_ns: int,
    cut_off_ns: int,
    state: NDArray[np.int64],
    rows: NDArray[np.int64],
    distances: NDArray[np.int64],
) -> int:
    """How many error frames begin a disturbance too close to the one before; they are put into the last two.

    ``state``: end of what was on the bus, beginning of the last disturbance, close pairs in this busy period, whether
    that disturbance was in it.
    """
    found = 0
    for row in range(is_error.size):
        hit, now = is_error[row], start_ns[row]
        if now - state[_IDLE] > (cut_off_ns if hit else slack_ns):
            state[_CLOSE] = state[_IS_BUSY] = 0
        distance = now - state[_BEGAN]
        if hit and distance > lasts_ns:
            if distance < apart_ns and (spare == 0 or state[_IS_BUSY] == 1):
                state[_CLOSE] += 1
                if state[_CLOSE] > spare or spare == 0:
                    rows[found], distances[found] = row, distance
                    found += 1
            state[_BEGAN], state[_IS_BUSY] = now, 1
        state[_IDLE] = max(state[_IDLE], idle_ns[row])
    return found
