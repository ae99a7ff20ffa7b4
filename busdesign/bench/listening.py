"""Listening to a bus: frames as they come from python-can, a reason to stop, a board that nobody answers."""

import signal
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from fractions import Fraction
from types import FrameType
from typing import TYPE_CHECKING, Final

from busdesign.bench.gate_interface import interface_error
from busdesign.catalogue.model import MAX_BASE_IDENTIFIER, MAX_CLASSICAL_BYTES, MAX_EXTENDED_IDENTIFIER
from busdesign.traffic.frames import BUS_ERROR_CLASS, Row
from busdesign.wire.flags import ERROR, EXTENDED, REMOTE
from busdesign.wire.lengths import longest_published_bits

if TYPE_CHECKING:
    import can

POLL_S: Final = 0.02
BUS_OFF_CLASS: Final = 0x40  # in the identifier of an error frame: Linux kernel, include/uapi/linux/can/error.h
LONE_FRAMES: Final = 32
# What follows the acknowledge delimiter when an error passive sender is not answered: 6 bits of error flag, 8 of
# delimiter, 3 of intermission, 8 of suspended transmission; of an answered frame 7 + 3. ISO 11898-1:2015, clause 10.
LONE_EXTRA_BITS: Final = 15
SLACK: Final = Fraction(5, 4)  # for a recorder's clock, our choice
SLOWEST_BIT_S: Final = 125_000  # taken where nobody says the bit rate, our choice


class Stop:
    """An event with its reason: the first one counts."""

    def __init__(self) -> None:
        self.event = threading.Event()
        self.reason = ""
        self.text = ""
        self._lock = threading.Lock()

    def because(self, reason: str, text: str = "") -> None:
        """Stop; ``reason`` is one word for scripts, ``text`` says more."""
        with self._lock:
            if not self.event.is_set():
                self.reason, self.text = reason, text
                self.event.set()

    @contextmanager
    def on_interrupt(self) -> Iterator[None]:
        """Inside, Ctrl-C stops in order; pressed a second time it interrupts as ever. Only in the main thread."""
        if threading.current_thread() is not threading.main_thread():
            yield
            return
        before = signal.getsignal(signal.SIGINT)

        def stop(number: int, frame: FrameType | None) -> None:
            signal.signal(signal.SIGINT, signal.default_int_handler)
            self.because("interrupted")

        signal.signal(signal.SIGINT, stop)
        try:
            yield
        finally:
            signal.signal(signal.SIGINT, before if before is not None else signal.SIG_DFL)


def row_of(message: "can.Message") -> Row | None:
    """A frame that python-can has received, as ``Traffic`` has it, to the microsecond; None for an FD frame."""
    at_ns = max(0, round(message.timestamp * 1e6) * 1000)
    if message.is_error_frame:
        return at_ns, (message.arbitration_id & MAX_EXTENDED_IDENTIFIER) or BUS_ERROR_CLASS, ERROR, 0, 0, 0
    if message.is_fd:
        return None
    flags = (EXTENDED if message.is_extended_id else 0) | (REMOTE if message.is_remote_frame else 0)
    limit = MAX_EXTENDED_IDENTIFIER if message.is_extended_id else MAX_BASE_IDENTIFIER
    identifier = message.arbitration_id & limit
    if message.is_remote_frame:
        return at_ns, identifier, flags, message.dlc, 0, 0
    data = bytes(message.data)[:MAX_CLASSICAL_BYTES]
    return at_ns, identifier, flags, len(data), 0, int.from_bytes(data, "little")


def is_bus_off(bus: "can.BusABC", message: "can.Message | None") -> bool:
    """Whether the adapter says that it is off the bus, by its state or by an error frame of that class."""
    from can import BusState

    if message is not None and message.is_error_frame and message.arbitration_id & BUS_OFF_CLASS:
        return True
    try:
        return bus.state is BusState.ERROR
    except NotImplementedError:  # some adapters cannot tell
        return False


def received(bus: "can.BusABC", timeout_s: float = POLL_S) -> "can.Message | None":
    """The next frame, None if none comes in time. Raises InterfaceError if the interface fails."""
    try:
        return bus.recv(timeout=timeout_s)
    except Exception as reason:  # of whatever kind an adapter's library has
        text = f"the interface failed: {reason or type(reason).__name__}"
        raise interface_error("interface-lost", text, "is it still plugged in, and its channel up?") from reason


def heard_for(bus: "can.BusABC", listen_ns: int, stop: Stop) -> list[Row]:
    """All frames of other nodes in ``listen_ns``. Raises InterfaceError as ``received``."""
    until_ns = time.perf_counter_ns() + listen_ns
    rows = []
    while (left_ns := until_ns - time.perf_counter_ns()) > 0 and not stop.event.is_set():
        message = received(bus, min(POLL_S, left_ns / 1e9))
        if message is not None and message.is_rx and (row := row_of(message)) is not None:
            rows.append(row)
    return rows


class LoneBoard:
    """Recognises one frame sent again and again without a pause: a board whose frames nobody acknowledges.

    It repeats at once after its error flag, and as error passive it does so for ever, since a missing acknowledge then
    counts no further (ISO 11898-1, fault confinement). ``frames``: in the longest such run, whose ``identifier`` it is.
    """

    def __init__(self, bit_rate_bit_s: Fraction | int | None) -> None:
        self._bit_rate_bit_s = bit_rate_bit_s or SLOWEST_BIT_S
        self._last: Row | None = None
        self._run = 1
        self.frames, self.identifier, self.is_extended = 0, 0, False

    @property
    def is_seen(self) -> bool:
        """Whether it is certain enough to be told."""
        return self.frames >= LONE_FRAMES

    def take(self, row: Row) -> None:
        """Look at the next frame; error frames between are part of it."""
        if row[2] & ERROR:
            return
        last, self._last = self._last, row
        is_again = last is not None and last[1:] == row[1:] and row[0] - last[0] <= self._longest_ns(row)
        self._run = self._run + 1 if is_again else 1
        if self._run > self.frames:
            self.frames, self.identifier, self.is_extended = self._run, row[1], bool(row[2] & EXTENDED)

    def _longest_ns(self, row: Row) -> int:
        data_bytes = 0 if row[2] & REMOTE else row[3]
        bits = longest_published_bits(data_bytes, extended=bool(row[2] & EXTENDED)) + LONE_EXTRA_BITS
        return int(SLACK * bits * 10**9 / self._bit_rate_bit_s)
