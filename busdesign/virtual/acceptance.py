"""What a receiver believes of a message, by the catalogue's ``accept``: a gate between the controller and the model.

A frame is good if its check and its counter fit (as far as ``accept`` asks). It is believed, and the model told, once
so many of the latest frames are good and agree with it in all words and truths (codes and nothing beside them, single
bits); numbers need not agree. A counter fits if it has moved on by its step since the latest frame whose check fitted;
behind a silence, if it has moved at all. After ``lost_after`` without a good frame the message is lost: with
``when_lost: safe`` the model is told the safe values, in either case its ``missed`` is called.
"""

from collections import deque
from collections.abc import Callable

from busdesign.catalogue.codec import MessageCodec
from busdesign.catalogue.data_ids import counter_of
from busdesign.catalogue.model import Message, Role, Signal
from busdesign.virtual.kernel import MISSED, Kernel
from busdesign.virtual.node import Arrival, StandIn

Heard = Callable[[Arrival], None]
Missed = Callable[[Message], None]

_MOST_KEPT = 4096  # payloads whose check was looked at


class Gate:
    """One message at one receiver. ``heard`` is called with what is believed, ``missed`` once for each silence."""

    __slots__ = (
        "_checked",
        "_codec",
        "_counter",
        "_first",
        "_good_at",
        "_heard",
        "_is_checked",
        "_is_lost",
        "_kernel",
        "_latest",
        "_lost_after",
        "_missed",
        "_raw",
        "_rules",
        "_safe",
        "_step",
        "_watch",
        "_words",
        "refused",
    )

    def __init__(self, kernel: Kernel, codec: MessageCodec, heard: Heard | None, missed: Missed | None) -> None:
        message = codec.message
        assert message.accept is not None
        self._kernel, self._codec, self._heard, self._missed = kernel, codec, heard, missed
        self._rules = message.accept
        self._lost_after = (message.lost_after_ns or 0) * kernel.base.ticks_per_ns
        checks = any(signal.role is Role.CHECK for signal in message.signals)
        self._is_checked = checks and self._rules.drops_bad_check
        self._checked: dict[int, bool] = {}  # whether the check of a payload fits: most come again
        counter = counter_of(message) if self._rules.drops_bad_counter else None
        self._counter = None if counter is None else codec.position_of(counter.name)
        self._step = (0, 1) if counter is None else (counter.counts % counter.modulo, counter.modulo)
        self._words = sum(_mask(signal) for signal in message.signals if _is_word(signal))  # bits that have to agree
        self._safe = _safe_payload(codec) if self._rules.safe_when_lost else None
        self._latest: deque[int | None] = deque(maxlen=self._rules.good_frames[1])
        self._watch = 0  # which watchdog is the valid one
        self.refused = 0  # frames that were not good
        self._begin()

    def _begin(self) -> None:
        self._first = self._rules.ignores_first  # the next frame is the first one after a reset
        self._raw: int | None = None  # of the counter in the latest frame
        self._is_lost = False
        self._latest.clear()
        self._good_at: int | None = None

    def start(self) -> None:
        """The receiver begins, or begins anew: nothing is known."""
        self._begin()
        self._watch_from(self._kernel.clock.now)

    def stop(self) -> None:
        """The receiver has lost its power: nothing is missed."""
        self._watch += 1

    def hear(self, arrival: Arrival) -> None:
        """A frame has arrived."""
        payload = arrival.payload
        if self._first:
            self._first = False
            self._take_counter(payload)
            return
        if not self._is_good(payload):
            self.refused += 1
            self._latest.append(None)
            return
        if self._good_at is None:
            self._watch_from(self._kernel.clock.now)
        self._good_at = self._kernel.clock.now
        self._latest.append(payload)
        if self._heard is not None and self._is_believed(payload):
            self._heard(arrival)

    def _is_good(self, payload: int) -> bool:
        if self._is_checked and not self._check_fits(payload):
            return False
        return self._take_counter(payload)

    def _check_fits(self, payload: int) -> bool:
        fits = self._checked.get(payload)
        if fits is None:
            if len(self._checked) >= _MOST_KEPT:
                self._checked.clear()
            data = payload.to_bytes(self._codec.length_bytes, "little")
            fits = self._checked[payload] = bool(self._codec.check_holds(data))
        return fits

    def _take_counter(self, payload: int) -> bool:
        """Whether the counter has moved on by its step, or is the first one; the next is held against it."""
        if self._counter is None:
            return True
        before, self._raw = self._raw, self._codec.unpack(payload)[self._counter]
        step, modulo = self._step
        moved = None if before is None else (self._raw - before) % modulo
        if self._is_lost:  # by how much it should have moved nobody knows; a sender that hangs is told all the same
            self._is_lost = moved == 0
            return not self._is_lost
        return moved is None or moved == step

    def _is_believed(self, payload: int) -> bool:
        needed, words = self._rules.good_frames[0], self._words
        if needed == 1:
            return True
        return sum(frame is not None and not (frame ^ payload) & words for frame in self._latest) >= needed

    def _watch_from(self, since: int) -> None:
        if self._lost_after:
            self._watch += 1
            self._kernel.at(since + self._lost_after, MISSED, self._look, self._watch)

    def _look(self, watch: int) -> None:
        if watch != self._watch:
            return
        due = 0 if self._good_at is None else self._good_at + self._lost_after
        if due > self._kernel.clock.now:
            self._kernel.at(due, MISSED, self._look, watch)
            return
        self._latest.clear()
        self._good_at, self._is_lost = None, True
        if self._safe is not None and self._heard is not None:
            stand_in = StandIn()
            stand_in.codec, stand_in.payload = self._codec, self._safe
            stand_in.at_ns = self._kernel.clock.ns(self._kernel.clock.now)
            self._heard(stand_in)
        if self._missed is not None:
            self._missed(self._codec.message)


def _is_word(signal: Signal) -> bool:
    is_word = signal.only_codes or (signal.length_bits == 1 and not signal.unit)
    return signal.role is Role.VALUE and is_word and not signal.selector


def _mask(signal: Signal) -> int:
    return sum(1 << bit for bit in signal.bit_positions)


def _safe_payload(codec: MessageCodec) -> int:
    safe = {signal.name: signal.safe for signal in codec.message.signals if signal.safe is not None}
    return codec.pack(codec.raws_from(safe), 0)
