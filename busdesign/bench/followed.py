"""What must be kept whole: the signals and silences that expectations speak of, and the times of functions' messages.

A signal is kept as its changes, a silence as its ends; of the messages on a function's path, two times a frame. So this
is all that grows with the length of a capture, and only by what somebody asked for.
"""

from collections.abc import Collection, Iterator

import numpy as np
from numpy.typing import NDArray

from busdesign.bench.blocks import Block
from busdesign.catalogue.model import Catalogue
from busdesign.scenario.reactions import FrameTimes
from busdesign.scenario.silence import silence_limit_ns
from busdesign.scenario.tracks import Track
from busdesign.scenario.vocabulary import SILENT
from busdesign.traffic.decode import signal_track


class Followed:
    """Collects them block by block. ``names``: ``message.signal`` and ``node.silent``; others are left out."""

    def __init__(self, catalogue: Catalogue, names: Collection[str], timed: Collection[str]) -> None:
        self._catalogue = catalogue
        index = {message.name: place for place, message in enumerate(catalogue.messages)}
        self._signals: dict[tuple[int, str], tuple[list[int], list[str | float]]] = {}
        self._silences: dict[str, _Silences] = {}
        self._times: dict[int, list[tuple[NDArray[np.int64], NDArray[np.int64]]]] = {index[name]: [] for name in timed}
        for name in names:
            owner, _, what = name.partition(".")
            if owner in index and any(signal.name == what for signal in catalogue.message(owner).signals):
                self._signals[index[owner], what] = ([], [])
            elif owner in catalogue.nodes and what == SILENT:
                limit_ns = silence_limit_ns(catalogue, owner)
                if limit_ns is not None:
                    own = [index[message.name] for message in catalogue.sent_by(owner)]
                    self._silences[owner] = _Silences(np.array(own), limit_ns)

    def take(self, block: Block) -> None:
        """Keep what of ``block`` is asked for."""
        groups = {group.index: group for group in block.groups}
        for (index, signal), (times, values) in self._signals.items():
            if index in groups:
                group = groups[index]
                heard = signal_track(block.traffic[group.rows], group.message, signal)
                again = bool(values and heard.values and values[-1] == heard.values[0])
                times.extend(heard.times_ns[again:])
                values.extend(heard.values[again:])
        for silences in self._silences.values():
            silences.take(block)
        for index, kept in self._times.items():
            if index in groups:
                rows = groups[index].rows
                kept.append((block.start_ns[rows], block.traffic.end_ns[rows]))

    def tracks(self, zero_ns: int, end_ns: int) -> dict[str, Track]:
        """The tracks of all names that a capture shows; times count from ``zero_ns``, to ``end_ns``."""
        found = {}
        for (index, signal), (times, values) in self._signals.items():
            name = f"{self._catalogue.messages[index].name}.{signal}"
            found[name] = Track([time - zero_ns for time in times], values)
        for node, silences in self._silences.items():
            found[f"{node}.{SILENT}"] = silences.track(zero_ns, end_ns)
        return found

    def frames(self, zero_ns: int) -> dict[str, FrameTimes]:
        """The frames of the messages that functions go over. Of a capture no release is known: the start stands in."""
        found = {}
        for index, kept in self._times.items():
            nothing = np.empty(0, np.int64)
            starts = np.concatenate([nothing, *(part[0] for part in kept)]) - zero_ns
            ends = np.concatenate([nothing, *(part[1] for part in kept)]) - zero_ns
            order = np.argsort(ends, kind="stable")  # a damaged capture's times may go back
            starts, ends = np.sort(starts), ends[order]
            found[self._catalogue.messages[index].name] = FrameTimes(starts, starts, ends)
        return found


class _Silences:
    """The gaps of one node that are longer than its limit: the rule is that of ``scenario.silence``."""

    def __init__(self, own: NDArray[np.int64], limit_ns: int) -> None:
        self._own, self._limit_ns = own, limit_ns
        self._gaps: list[tuple[int, int]] = []
        self._first_ns: int | None = None
        self._last_ns = 0

    def take(self, block: Block) -> None:
        ends = block.traffic.end_ns[np.isin(block.which, self._own)]
        if not len(ends):
            return
        if self._first_ns is None:
            self._first_ns = self._last_ns = int(ends[0])
        before = np.concatenate([np.array([self._last_ns]), ends[:-1]])
        far = np.flatnonzero(ends - before > self._limit_ns)
        self._gaps.extend(zip(before[far].tolist(), ends[far].tolist(), strict=True))
        self._last_ns = int(ends[-1])

    def track(self, zero_ns: int, end_ns: int) -> Track:
        times: list[int] = [0]
        values: list[object] = [False]
        for begin, until in self._all_gaps(zero_ns, end_ns):
            if until is not None and until <= 0:
                continue  # over before the zero
            if begin <= 0:
                values[0] = True
            elif times[-1] == begin:  # silent again at once: the frame between lasts no time
                times.pop()
                values.pop()
            else:
                times.append(begin)
                values.append(True)
            if until is not None:
                times.append(until)
                values.append(False)
        return Track(times, values)

    def _all_gaps(self, zero_ns: int, end_ns: int) -> Iterator[tuple[int, int | None]]:
        """On the clock that begins at ``zero_ns``: first from there to the first frame, last to the end."""
        comes = self._first_ns is not None and self._first_ns <= end_ns
        first = self._first_ns if comes and self._first_ns is not None else end_ns
        if first - zero_ns > self._limit_ns:
            yield 0, first - zero_ns if comes else None
        for begin, until in self._gaps:
            if until <= end_ns:
                yield begin - zero_ns, until - zero_ns
            elif end_ns - begin > self._limit_ns:
                yield begin - zero_ns, None
        if self._first_ns is not None and end_ns - self._last_ns > self._limit_ns:
            yield self._last_ns - zero_ns, None
