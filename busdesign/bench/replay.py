"""Recorded frames sent again: a thread that does nothing but send on time, and a watch over it that can end it.

The watch looks for the other nodes, for bus-off and for Ctrl-C, and keeps what it hears if asked to. What it stops is
stopped within a tenth of a second: no frame follows, and what the adapter still holds is thrown away where it can be.
"""

import gc
import sys
import threading
import time
from array import array
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final

from busdesign.bench.gate_interface import interface_error
from busdesign.bench.listening import POLL_S, Stop, is_bus_off, received, row_of
from busdesign.bench.pace import Lateness, Throttle, lateness_of, wait_until
from busdesign.bench.replay_choice import EXTENDED_KEY
from busdesign.bench.replay_plan import Plan
from busdesign.bench.replay_values import Remaker
from busdesign.errors import InterfaceError, OutputError
from busdesign.traffic.frames import Row
from busdesign.traffic.recorder import Recorder
from busdesign.wire.flags import REMOTE

if TYPE_CHECKING:
    import can

CHUNK_ROWS: Final = 64
LEAD_NS: Final = 20_000_000
SWITCH_S: Final = 1e-3  # longer than the spin, so that the watch does not take the interpreter from it
WATCH_S: Final = 0.05  # each look costs a little time
REFUSED_FOR_NS: Final = 1_000_000_000
STATE_NS: Final = 20_000_000
DRAIN_S: Final = 0.1
NO_FINAL: Final = frozenset({"bus-off", "foreign-sender"})  # it would not arrive, or would meet somebody else's
ECHOING: Final = frozenset({"udp_multicast"})  # hand a sender its own frames as if another had sent them


def not_begun(stop: Stop) -> "Outcome":
    """What came of a replay that was stopped before its first frame."""
    return Outcome(stop.reason, stop.text, 0, 0, None, 0, None, 0, 0, array("q"))


@dataclass(frozen=True, slots=True)
class Outcome:
    """What came of it. ``ended``: ``done``, ``interrupted``, ``bus-off``, ``foreign-sender``, ``failed`` (the
    interface) or ``file-failed``.

    ``held_up``: how often a frame had to be offered again. ``flushed``: whether the adapter threw away what it held;
    None where that was not asked for. ``final_frames``: of the final demand.
    """

    ended: str
    text: str
    frames: int
    held_up: int
    lateness: Lateness | None
    duration_ns: int
    flushed: bool | None
    final_frames: int
    recorded: int
    late_ns: "array[int]" = field(repr=False)


class Sender:
    """Sends all rounds of a plan on ``bus``, each frame at its moment, until ``stop``."""

    def __init__(
        self, bus: "can.BusABC", plan: Plan, stop: Stop, step: Callable[[str], bool] | None, throttle: Throttle | None
    ) -> None:
        self.sent, self.held_up = 0, 0
        self.late_ns: array[int] = array("q")
        self.last_payload: int | None = None  # of the final demand's message
        self.began_ns, self.ended_ns = 0, 0
        self._bus, self._plan, self._stop, self._step, self._throttle = bus, plan, stop, step, throttle
        self._bits = plan.bits().tolist() if throttle is not None else []
        final = plan.choice.final
        self._final_key = plan.final_key() if final is not None else -1

    def run(self) -> None:
        """Send; what an adapter raises ends it."""
        try:
            self._run()
        except Exception as reason:  # of whatever kind an adapter's library has
            self._stop.because("failed", f"the interface failed: {reason or type(reason).__name__}")
        finally:
            self.ended_ns = time.perf_counter_ns()

    def _run(self) -> None:
        speed = self._plan.pace.speed
        offer, is_stopped = self._offer, self._stop.event.is_set
        self.began_ns = time.perf_counter_ns() + (LEAD_NS if speed is not None else 0)
        for at_ns, bits, message, payload, is_last_demand in self._messages():
            if is_stopped():
                return
            if self._step is not None and not self._step(_shown(message)):
                self._stop.because("interrupted")
                return
            due_ns = self.began_ns + int(at_ns / speed) if speed is not None else 0
            if self._throttle is not None:
                due_ns = self._throttle.earliest_ns(max(due_ns, time.perf_counter_ns()), bits)
            now_ns = wait_until(due_ns, self._stop.event)
            if is_stopped():
                return
            if not offer(message):
                return
            self.sent += 1
            if speed is not None:
                self.late_ns.append(now_ns - due_ns)
            if is_last_demand:
                self.last_payload = payload

    def _messages(self) -> "Iterator[tuple[int, int, can.Message, int, bool]]":
        """Each frame, made while there is time; its moment at recorded pace, its bits, its payload."""
        plan = self._plan
        identifiers, flags = plan.sent_key & (EXTENDED_KEY - 1), plan.sent_flags()
        traffic, remakers = plan.traffic, plan.choice.remakers
        for turn in range(plan.choice.times):
            begin_ns = turn * plan.round_ns
            for first in range(0, len(traffic), CHUNK_ROWS):
                rows = slice(first, first + CHUNK_ROWS)
                columns = (
                    plan.at_ns[rows].tolist(),
                    identifiers[rows].tolist(),
                    plan.sent_key[rows].tolist(),
                    flags[rows].tolist(),
                    traffic.length[rows].tolist(),
                    traffic.payload[rows].tolist(),
                    plan.key[rows].tolist(),
                )
                for place, row in enumerate(zip(*columns, strict=True)):
                    at_ns, identifier, sent_key, flag, length, payload, key = row
                    remaker = remakers.get(key)
                    if remaker is not None and not flag & REMOTE:
                        payload = remaker.remade(payload)
                    bits = self._bits[first + place] if self._bits else 0
                    message = _message(identifier, sent_key >= EXTENDED_KEY, flag, length, payload)
                    yield begin_ns + at_ns, bits, message, payload, sent_key == self._final_key

    def _offer(self, message: "can.Message") -> bool:
        """Hand it over, again and again while the adapter has no room; False if it came to a stop."""
        from can import CanError

        first_ns = 0
        while True:
            try:
                self._bus.send(message, timeout=POLL_S)
                return True
            except (CanError, OSError) as reason:
                self.held_up += 1
                now_ns = time.perf_counter_ns()
                first_ns = first_ns or now_ns
                if self._stop.event.is_set():
                    return False
                if now_ns - first_ns > REFUSED_FOR_NS:
                    self._stop.because("failed", f"the interface takes no frame: {reason}")
                    return False
                time.sleep(0.001)


def replay(
    bus: "can.BusABC",
    plan: Plan,
    *,
    interface_name: str,
    stop: Stop,
    step: Callable[[str], bool] | None = None,
    throttle: Throttle | None = None,
    recorder: Recorder | None = None,
    channel: str = "",
    is_watched: bool = True,
    progress: Callable[[float], None] = lambda part: None,
) -> Outcome:
    """Send ``plan`` on ``bus`` and watch over it. ``is_watched``: a foreign sender of its identifiers ends it.

    A recorder that cannot write on ends it too.
    """
    sender = Sender(bus, plan, stop, step, throttle)
    thread = threading.Thread(target=sender.run, name="replay", daemon=True)
    foreign = plan.sent_keys() if is_watched and interface_name not in ECHOING else frozenset()
    watch = _Watch(bus, stop, recorder, channel, foreign)
    with _undisturbed():
        thread.start()
        try:
            while thread.is_alive() and not stop.event.is_set():
                watch.look(WATCH_S)
                progress(sender.sent / plan.frames)
        finally:
            if thread.is_alive() and not stop.event.is_set():
                stop.because("failed", "the watch over it ended")
            thread.join(timeout=0.05)
            flushed = _flush(bus) if stop.event.is_set() else None
        thread.join(timeout=1.0)
    ended = stop.reason or "done"
    final_frames = _send_final(bus, plan, sender) if sender.sent and ended not in NO_FINAL else 0
    watch.drain()
    return Outcome(
        ended,
        stop.text,
        sender.sent,
        sender.held_up,
        lateness_of(sender.late_ns),
        max(0, sender.ended_ns - sender.began_ns),
        flushed,
        final_frames,
        recorder.frames_added if recorder is not None else 0,
        sender.late_ns,
    )


class _Watch:
    def __init__(
        self, bus: "can.BusABC", stop: Stop, recorder: Recorder | None, channel: str, foreign: frozenset[int]
    ) -> None:
        self._bus, self._stop, self._recorder, self._channel = bus, stop, recorder, channel
        self._foreign = foreign
        self._state_at_ns = 0

    def look(self, timeout_s: float) -> bool:
        """Take one frame that came, if one did, and see whether all is well."""
        try:
            message = received(self._bus, timeout_s)
        except InterfaceError as failure:
            self._stop.because("failed", str(failure))
            return False
        now_ns = time.perf_counter_ns()
        if message is None or message.is_error_frame or now_ns - self._state_at_ns > STATE_NS:
            self._state_at_ns = now_ns
            self._look_at_state(message)
        if message is not None:
            self._take(message)
        return message is not None

    def _look_at_state(self, message: "can.Message | None") -> None:
        try:
            is_off = is_bus_off(self._bus, message)
        except Exception as reason:  # of whatever kind an adapter's library has
            self._stop.because("failed", f"the interface failed: {reason or type(reason).__name__}")
            return
        if is_off:
            self._stop.because("bus-off", "the adapter is off the bus: too many of its frames went wrong")

    def drain(self) -> None:
        """Keep what is still on its way."""
        if self._recorder is not None:
            while self.look(DRAIN_S):
                pass

    def _take(self, message: "can.Message") -> None:
        row = row_of(message)
        if row is None:
            return
        key = row[1] + EXTENDED_KEY * bool(message.is_extended_id)
        if message.is_rx and not message.is_error_frame and key in self._foreign:
            text = f"another node sends identifier {row[1]:#x} too"
            self._stop.because("foreign-sender", text)
        if self._recorder is not None:
            self._keep(self._recorder, row)

    def _keep(self, recorder: Recorder, row: Row) -> None:
        try:
            recorder.add(*row[:4], self._channel, row[5])
        except OutputError as failure:  # said when it ends: first the boards, then the file
            self._recorder = None
            self._stop.because("file-failed", str(failure))


def require_no_foreign_sender(plan: Plan, heard: "dict[int, int]") -> None:
    """Raise InterfaceError if an identifier (key: frames) that was ``heard`` is one that would be sent."""
    both = sorted(plan.sent_keys() & heard.keys())
    if not both:
        return
    names = ", ".join(f"{key & (EXTENDED_KEY - 1):#x}" for key in both[:8])
    known = plan.choice.messages
    senders = sorted({known[key].sender for key in both if key in known})
    fix = "leave its frames out, or take that board off the bus"
    if senders:
        fix = f"leave them out: `--without {','.join(senders)}`, or take {' and '.join(senders)} off the bus"
    text = f"another node already sends {names}: two senders of one identifier destroy each other's frames"
    raise interface_error("foreign-sender", text, fix)


def _message(identifier: int, is_extended: bool, flags: int, length: int, payload: int) -> "can.Message":
    import can

    if flags & REMOTE:
        return can.Message(arbitration_id=identifier, is_extended_id=is_extended, is_remote_frame=True, dlc=length)
    data = payload.to_bytes(8, "little")[:length]
    return can.Message(arbitration_id=identifier, is_extended_id=is_extended, data=data)


def _shown(message: "can.Message") -> str:
    digits = 8 if message.is_extended_id else 3
    return (
        f"{message.arbitration_id:0{digits}X}#{'R' if message.is_remote_frame else bytes(message.data).hex().upper()}"
    )


def _flush(bus: "can.BusABC") -> bool:
    """Whether the adapter threw away what it still held; many cannot."""
    try:
        bus.flush_tx_buffer()
    except Exception:  # of whatever kind an adapter's library has
        return False
    return True


def _send_final(bus: "can.BusABC", plan: Plan, sender: Sender) -> int:
    final = plan.choice.final
    if final is None:
        return 0
    message = final.message
    remaker = Remaker(message, final.values)
    key, payload, sent = plan.final_key(), sender.last_payload, 0
    for turn in range(final.repeats):
        if turn:
            time.sleep(message.period_ns / 1e9)
        payload = remaker.after(payload)
        made = _message(key & (EXTENDED_KEY - 1), key >= EXTENDED_KEY, 0, message.length_bytes, payload)
        with suppress(Exception):  # an interface that is gone takes no demand: counted by what it took
            bus.send(made, timeout=POLL_S)
            sent += 1
    return sent


@contextmanager
def _undisturbed() -> Iterator[None]:
    """Without collections of garbage, and with the interpreter left to whoever spins."""
    switch_s, was_collecting = sys.getswitchinterval(), gc.isenabled()
    sys.setswitchinterval(SWITCH_S)
    gc.disable()
    try:
        yield
    finally:
        sys.setswitchinterval(switch_s)
        if was_collecting:
            gc.enable()
