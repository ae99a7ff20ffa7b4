"""Keeping what comes from an interface: a thread that only reads and writes down, and blocks for whoever looks."""

import queue
import threading
import time
from collections.abc import Callable, Generator, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from typing import TYPE_CHECKING

from busdesign.bench.listening import POLL_S, LoneBoard, Stop, received, row_of
from busdesign.errors import InterfaceError, OutputError
from busdesign.traffic.facts import RecordingFacts
from busdesign.traffic.frames import Row, Traffic
from busdesign.traffic.reading import BadLines
from busdesign.traffic.recorder import Recorder
from busdesign.wire.flags import ERROR, EXTENDED

if TYPE_CHECKING:
    import can

BLOCK_S = 0.5
FIRST_FRAMES = 256  # before the first block, so that the step of the clock is seen in it
EXTENDED_KEY = 1 << 29


@dataclass(slots=True)
class Counts:
    """What came so far. ``unknown``: data frames whose identifier is none of ``known`` (None without a catalogue)."""

    known: frozenset[int] | None
    frames: int = 0
    error_frames: int = 0
    fd_frames: int = 0
    unknown: int = 0
    identifiers: dict[int, int] = field(default_factory=dict)

    def take(self, row: Row) -> None:
        """Count one frame."""
        if row[2] & ERROR:
            self.error_frames += 1
            return
        self.frames += 1
        key = row[1] + (EXTENDED_KEY if row[2] & EXTENDED else 0)
        self.identifiers[key] = self.identifiers.get(key, 0) + 1
        if self.known is not None and key not in self.known:
            self.unknown += 1


class Listening:
    """Frames of ``bus`` written to ``recorder`` as they come, until ``stop``; one at a time, in a thread of its own.

    Looks like a recording that is read (``traffic.capture``), so that whoever audits one audits this.
    """

    def __init__(
        self,
        bus: "can.BusABC",
        recorder: Recorder,
        channel: str,
        stop: Stop,
        *,
        known: frozenset[int] | None = None,
        bit_rate_bit_s: Fraction | int | None = None,
        keeps_rows: bool = False,
    ) -> None:
        self.path, self.channel = recorder.path, channel
        self.facts = RecordingFacts()
        self.bad_lines = BadLines()
        self.notices: Sequence[str] = ()
        self.counts = Counts(known)
        self.lone_board = LoneBoard(bit_rate_bit_s)
        self.failure: InterfaceError | OutputError | None = None
        self._bus, self._recorder, self._stop = bus, recorder, stop
        self._rows: queue.SimpleQueue[Row] = queue.SimpleQueue()
        self._keeps_rows = keeps_rows
        self._thread = threading.Thread(target=self._listen, name="listening", daemon=True)

    def start(self) -> None:
        """Begin to listen."""
        self._thread.start()

    def wait(self, until_ns: int | None, told: Callable[[Counts], None]) -> None:
        """Until ``stop``, or ``until_ns`` of ``time.perf_counter_ns``; ``told`` hears the counts now and then."""
        while self._goes_on(until_ns):
            time.sleep(POLL_S)
            told(self.counts)
        self._end()

    def blocks(
        self, until_ns: int | None, told: Callable[[Counts], None], block_s: float = BLOCK_S
    ) -> Generator[Traffic, None, None]:
        """As ``wait``, and the frames in blocks as they come."""
        rows: list[Row] = []
        least, due_s = FIRST_FRAMES, time.monotonic() + block_s
        while self._goes_on(until_ns):
            self._gather(rows)
            told(self.counts)
            if len(rows) >= least and time.monotonic() >= due_s:
                yield Traffic.of_rows(rows, (self.channel,))
                rows, least, due_s = [], 1, time.monotonic() + block_s
        self._end()
        while not self._rows.empty():
            rows.append(self._rows.get())
        if rows:
            yield Traffic.of_rows(rows, (self.channel,))

    def _goes_on(self, until_ns: int | None) -> bool:
        if until_ns is not None and time.perf_counter_ns() >= until_ns:
            self._stop.because("time")
        return not self._stop.event.is_set()

    def _gather(self, rows: list[Row]) -> None:
        try:
            rows.append(self._rows.get(timeout=POLL_S))
            while True:
                rows.append(self._rows.get_nowait())
        except queue.Empty:
            return

    def _end(self) -> None:
        self._thread.join(timeout=1.0)

    def _listen(self) -> None:
        try:
            while not self._stop.event.is_set():
                message = received(self._bus)
                if message is not None:
                    self._keep(message)
        except (InterfaceError, OutputError) as failure:
            self.failure = failure
            self._stop.because("failed", str(failure))

    def _keep(self, message: "can.Message") -> None:
        row = row_of(message)
        if row is None:
            self.counts.fd_frames += 1
            return
        self._recorder.add(*row[:4], self.channel, row[5])
        self.counts.take(row)
        self.lone_board.take(row)
        if self._keeps_rows:
            self._rows.put(row)
