"""Counters that repeat or skip, and checks that do not fit their payload, over whole columns.

A CRC is linear in its data, so each byte of the payload has a table of its own, with all that follows it worked in: the
check of a frame is the exclusive or of one entry a byte, in any order (the idea of table-driven CRCs with several
tables; M. E. Kounavis, F. L. Berry, "A systematic approach to building high performance software-based CRC
generators", ISCC 2005, from memory). ``catalogue.checksums`` says what the right answer is.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray

from busdesign.bench.blocks import Block, Group
from busdesign.bench.sightings import Notes, Seen, Sighting, sighting
from busdesign.catalogue.checksums import checksum_of
from busdesign.catalogue.data_ids import bytes_around, counter_of, turns_of
from busdesign.catalogue.model import Catalogue, Message, Role, Signal
from busdesign.findings import Severity, counted
from busdesign.traffic.decode import Columns


@dataclass(slots=True)
class _Last:
    raw: int
    end_ns: int


class Counters:
    """Follows every counter from frame to frame; what comes after a silence begins anew."""

    def __init__(self, catalogue: Catalogue) -> None:
        self._catalogue = catalogue
        self._last: dict[tuple[int, str], _Last] = {}
        self._stuck, self._skips = Notes(), Notes()

    def take(self, block: Block) -> None:
        """Look at the frames of ``block``."""
        for group in block.groups:
            for signal in group.message.signals:
                if signal.role is Role.COUNTER and not group.message.is_remote:
                    self._follow(block, group, signal)

    def _follow(self, block: Block, group: Group, signal: Signal) -> None:
        columns = block.columns(group).carrying(signal.name)
        if not len(columns):
            return
        key = (group.index, signal.name)
        raws = columns.raw(signal.name).astype(np.int64)
        before = self._last.get(key)
        self._last[key] = _Last(int(raws[-1]), int(columns.end_ns[-1]))
        first = before or _Last(int(raws[0]) - signal.counts, int(columns.end_ns[0]))
        steps = np.diff(raws, prepend=first.raw)
        steps %= signal.modulo
        wrong = steps != signal.counts % signal.modulo
        if not wrong.any():
            return
        lost = group.message.lost_after_ns
        if lost is not None:
            wrong &= np.diff(columns.end_ns, prepend=first.end_ns) <= lost
        is_stuck = wrong & (steps == 0)
        self._stuck.note(key, block, columns.rows[is_stuck])
        skips = wrong & ~is_stuck
        self._skips.note(key, block, columns.rows[skips], steps[skips])

    def sightings(self) -> Iterator[Sighting]:
        """What was seen."""
        for key, seen in self._stuck:
            message, signal = self._named(key)
            text = f"`{message.name}.{signal.name}` did not move on in {counted(seen.count, 'frame')}"
            fix = "the board sends the same frame again, or its application has stopped while its controller goes on"
            yield self._sighting("counter-stuck", seen, message, signal, text, fix)
        for key, seen in self._skips:
            message, signal = self._named(key)
            steps = f"{seen.least}" if seen.least == seen.most else f"{seen.least} to {seen.most}"
            text = (
                f"`{message.name}.{signal.name}` moved on by {steps} in place of {signal.counts}, "
                f"{counted(seen.count, 'time')}"
            )
            fix = "frames are missing or in another order; a board that starts anew also begins to count anew"
            yield self._sighting("counter-skips", seen, message, signal, text, fix)

    def _named(self, key: tuple[int, str]) -> tuple[Message, Signal]:
        index, name = key
        message = self._catalogue.messages[index]
        return message, message.signal(name)

    @staticmethod
    def _sighting(rule: str, seen: Seen, message: Message, signal: Signal, text: str, fix: str) -> Sighting:
        return sighting(rule, Severity.BROKEN, seen, message.name, text, fix, signal.place_of("counts"))


class Checks:
    """Computes the check of every frame that carries one."""

    def __init__(self, catalogue: Catalogue) -> None:
        self._catalogue = catalogue
        self._checkers = [_checker(message) for message in catalogue.messages]
        self._wrong = Notes()

    def take(self, block: Block) -> None:
        """Look at the frames of ``block``."""
        for group in block.groups:
            checker = self._checkers[group.index]
            if checker is not None:
                columns = block.columns(group).carrying(checker.signal.name)
                wrong = columns.raw(checker.signal.name).astype(np.uint64) != checker.expected(columns)
                self._wrong.note(group.index, block, columns.rows[wrong])

    def sightings(self) -> Iterator[Sighting]:
        """What was seen."""
        for index, seen in self._wrong:
            message = self._catalogue.messages[index]
            checker = self._checkers[index]
            assert checker is not None
            signal = checker.signal
            text = (
                f"`{message.name}.{signal.name}` does not fit the rest of the payload in {counted(seen.count, 'frame')}"
            )
            fix = f"see that the board computes {signal.crc} over the same bytes" + (
                ", with the data id that the catalogue gives" if signal.data_id is not None or signal.data_ids else ""
            )
            yield sighting("wrong-check", Severity.BROKEN, seen, message.name, text, fix, signal.place_of("crc"))


class Checker:
    """The check of one message's frames."""

    def __init__(self, message: Message, signal: Signal) -> None:
        self.signal = signal
        self._counter = counter_of(message)
        own = {bit // 8 for bit in signal.bit_positions}
        self._bytes = [byte for byte in range(message.length_bytes) if byte not in own]
        self._turns = turns_of(signal)
        zeros = bytes(len(self._bytes))
        around = [bytes_around(signal, turn) for turn in range(self._turns)]
        starts = [checksum_of(signal.crc, before + zeros + behind) for before, behind in around]
        self._starts = np.array(starts, np.uint64)
        following = len(around[0][1])  # as many behind the payload, whatever the turn
        self._tables = [_table(signal.crc, following + after) for after in reversed(range(len(zeros)))]

    def expected(self, columns: Columns) -> NDArray[np.uint64]:
        """What the check should be in each frame, uint64 [m]."""
        if self._turns > 1 and self._counter is not None:
            turns = columns.raw(self._counter.name).astype(np.int64) % self._turns
            found: NDArray[np.uint64] = self._starts[turns]
        else:
            found = np.full(len(columns), self._starts[0])
        octets = columns.payload.astype("<u8").view(np.uint8).reshape(-1, 8)
        for byte, table in zip(self._bytes, self._tables, strict=True):
            found ^= table[octets[:, byte]]
        return found


@cache
def _table(crc: str, after: int) -> NDArray[np.uint64]:
    """For each value of a byte, what it changes of a check if so many bytes come ``after`` it."""
    nothing = checksum_of(crc, bytes(after + 1))
    changed = (checksum_of(crc, bytes([byte]) + bytes(after)) ^ nothing for byte in range(256))
    return np.array(list(changed), np.uint64)


def _checker(message: Message) -> Checker | None:
    signal = next((known for known in message.signals if known.role is Role.CHECK), None)
    return None if signal is None or message.is_remote else Checker(message, signal)
