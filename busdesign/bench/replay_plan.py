"""What goes out and when: the chosen frames of a recording as columns, and the moments at which they are due."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from busdesign.bench.gate_interface import interface_error
from busdesign.bench.pace import WINDOW_NS, Pace
from busdesign.bench.replay_choice import EXTENDED_KEY, Choice
from busdesign.catalogue.model import Message
from busdesign.findings import counted
from busdesign.traffic.frames import Traffic
from busdesign.wire.flags import ERROR, EXTENDED
from busdesign.wire.lengths import longest_published_bits

DAY_NS = 86_400 * 10**9
MOST_ROUNDS = 1000  # within one window, from where on their mean is as good
ALONE_NS = 100_000_000  # from one lone frame to its next round, our choice
MOST_FRAMES = 10**9


@dataclass(frozen=True, eq=False, slots=True)
class Plan:
    """One round of frames as columns of shape [n], which goes out ``choice.times`` times.

    - ``key``: of the recorded identifier (what it was), ``identifier`` and ``flags`` as sent.
    - ``at_ns``: when it is due, from the beginning of the round, at recorded pace; never goes back.
    - ``round_ns``: from the beginning of a round to that of the next one.
    """

    traffic: Traffic
    key: NDArray[np.int64]
    sent_key: NDArray[np.int64]
    at_ns: NDArray[np.int64]
    round_ns: int
    pace: Pace
    choice: Choice
    notices: tuple[str, ...]

    @property
    def frames(self) -> int:
        """How many go out in all."""
        return len(self.traffic) * self.choice.times

    @property
    def duration_ns(self) -> int | None:
        """From the first moment to the last; None where nothing is due at any moment."""
        if self.pace.speed is None:
            return None
        return round(((self.choice.times - 1) * self.round_ns + int(self.at_ns[-1])) / self.pace.speed)

    def sent_keys(self) -> frozenset[int]:
        """The identifiers that would be sent, the final demand's too."""
        keys = {int(key) for key in np.unique(self.sent_key)}
        final = self.choice.final
        return frozenset(keys | ({self.final_key()} if final is not None else set()))

    def final_key(self) -> int:
        """The identifier of the final demand, renamed as its message is. Raises ValueError without one."""
        final = self.choice.final
        if final is None or final.message.identifier is None:
            raise ValueError("there is no final demand")
        key = final.message.identifier + EXTENDED_KEY * final.message.extended
        return self.choice.renamed.get(key, key)

    def of_messages(self) -> tuple[tuple[tuple[Message, int], ...], int]:
        """Messages that receivers will take them for, with their frames; and how many are of none."""
        counts = dict(zip(*(part.tolist() for part in np.unique(self.sent_key, return_counts=True)), strict=True))
        known: Mapping[int, Message] = self.choice.messages
        if self.choice.final is not None:
            counts[self.final_key()] = counts.get(self.final_key(), 0)
        found = tuple((known[key], count * self.choice.times) for key, count in counts.items() if key in known)
        return found, self.frames - sum(count for _, count in found)

    def bits(self) -> NDArray[np.int64]:
        """Bits of each frame of a round, intermission included; the most there can be where payloads are made anew."""
        from busdesign.wire.columns import frame_bits_of_columns  # loads numba

        identifier = (self.sent_key & (EXTENDED_KEY - 1)).astype(np.uint32)
        flags = self.sent_flags()
        bits = frame_bits_of_columns(identifier, flags, self.traffic.length, self.traffic.payload)
        most = bits.astype(np.int64)
        for key, remaker in self.choice.remakers.items():
            length, rows = remaker.message.length_bytes, self.key == key
            is_wide = self.choice.renamed.get(key, key) >= EXTENDED_KEY
            most[rows] = longest_published_bits(length, extended=is_wide)
        return most

    def sent_flags(self) -> NDArray[np.uint8]:
        """The flags as sent: a new identifier may be of another width."""
        wide = np.where(self.sent_key >= EXTENDED_KEY, EXTENDED, 0).astype(np.uint8)
        return (self.traffic.flags & np.uint8(0xFF & ~EXTENDED)) | wide

    def fullest_load(self, bit_rate_bit_s: int) -> float:
        """The load, as a fraction of 1, of the fullest 100 ms at this pace; seams between rounds count too."""
        if self.pace.speed is None:
            return 0.0  # which depends on whoever steps, or is held to the limit
        bits, at_ns = self.bits(), (self.at_ns / float(self.pace.speed)).astype(np.int64)
        round_ns = max(1, int(self.round_ns / self.pace.speed))
        rounds = min(self.choice.times, WINDOW_NS // round_ns + 2)
        if rounds > MOST_ROUNDS:
            return int(bits.sum()) * 1e9 / bit_rate_bit_s / round_ns
        at_ns = (at_ns + round_ns * np.arange(rounds)[:, np.newaxis]).ravel()
        bits = np.tile(bits, rounds)
        before = np.concatenate([[0], np.cumsum(bits)])
        first = np.searchsorted(at_ns, at_ns - WINDOW_NS, side="right")
        most = int((before[1:] - before[first]).max())
        return most * 1e9 / bit_rate_bit_s / WINDOW_NS


def plan_of(traffic: Traffic, choice: Choice, pace: Pace) -> Plan:
    """The plan for one bus's recording. Raises InterfaceError if nothing is left to send, or it cannot be sent so."""
    notices: list[str] = []
    begin_ns, traffic = _between(traffic, choice)
    span_ns = None if choice.between_ns is None else choice.between_ns[1] - choice.between_ns[0]
    is_error = (traffic.flags & np.uint8(ERROR)) != 0
    if is_error.any():
        notices.append(f"{counted(int(is_error.sum()), 'error frame')} left out: no node can send one on purpose")
    every_ns = traffic.end_ns
    key = traffic.identifier.astype(np.int64) + EXTENDED_KEY * (traffic.flags & np.uint8(EXTENDED)).astype(np.int64)
    wanted = ~is_error & ~_is_in(key, choice.without)
    if choice.only is not None:
        wanted &= _is_in(key, choice.only)
    traffic, key = traffic[wanted], key[wanted]
    if not len(traffic):
        raise interface_error("replay-empty", "no frame is left to send", "look at --only, --without and --between")
    if len(traffic) * choice.times > MOST_FRAMES:
        raise interface_error("replay-empty", f"more than {MOST_FRAMES} frames would be sent", "ask for fewer --times")
    _require_lengths(traffic, key, choice)
    sent = _sent_keys(key, choice)
    at_ns = traffic.end_ns - begin_ns
    if (np.diff(at_ns) < 0).any():
        notices.append("its clock goes back: such frames follow the ones before them at once")
        at_ns = np.maximum.accumulate(at_ns)
    if span_ns is None:
        last_ns = int(max(every_ns.max() - begin_ns, 0))
        span_ns = last_ns + last_ns // max(len(every_ns) - 1, 1) or ALONE_NS
    return Plan(traffic, key, sent, at_ns, span_ns, pace, choice, tuple(notices))


def _between(traffic: Traffic, choice: Choice) -> tuple[int, Traffic]:
    """Where the round begins on the recorder's clock, and its frames. Moments count as in an audit."""
    if not len(traffic):
        return 0, traffic
    first_ns = int(traffic.end_ns[0])
    if choice.between_ns is None:
        return first_ns, traffic
    zero_ns = 0 if first_ns <= DAY_NS else first_ns
    begin_ns, end_ns = (zero_ns + moment_ns for moment_ns in choice.between_ns)
    return begin_ns, traffic[(traffic.end_ns >= begin_ns) & (traffic.end_ns < end_ns)]


def _is_in(key: NDArray[np.int64], wanted: frozenset[int]) -> NDArray[np.bool_]:
    return np.isin(key, np.fromiter(wanted, np.int64, len(wanted)))


def _sent_keys(key: NDArray[np.int64], choice: Choice) -> NDArray[np.int64]:
    sent = key.copy()
    for old, new in choice.renamed.items():
        if new not in choice.renamed and (key == new).any():
            text = f"identifier {new & (EXTENDED_KEY - 1):#x} is in the recording already"
            raise interface_error("replay-name", text, "leave its frames out with --without, or rename to another")
        sent[key == old] = new
    return sent


def _require_lengths(traffic: Traffic, key: NDArray[np.int64], choice: Choice) -> None:
    for one, remaker in choice.remakers.items():
        message = remaker.message
        others = (key == one) & (traffic.length != message.length_bytes)
        if others.any():
            count = counted(int(others.sum()), "frame")
            text = f"{count} of `{message.name}` are not {message.length_bytes} bytes long, as declared"
            raise interface_error("replay-value", text, f"leave them out: `--without {message.name}`")
