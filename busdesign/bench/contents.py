"""What frames say: values outside their range, raw numbers without a code, constants that are not, bits nobody set.

All is judged on raw numbers, whole columns at a time; only float signals need their physical values.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from busdesign.bench.blocks import Block
from busdesign.bench.sightings import Notes, Seen, Sighting, sighting
from busdesign.catalogue.model import Catalogue, Message, Role, Signal
from busdesign.catalogue.values import float_limits, raw_limits, told
from busdesign.findings import Severity, counted
from busdesign.traffic.decode import Columns

TABLE_BITS = 12  # codes of so many bits are looked up in a table

Raws = NDArray[np.int64] | NDArray[np.uint64]
Test = Callable[[Columns, Signal], NDArray[np.bool_]]


@dataclass(frozen=True, slots=True)
class _Watched:
    """A signal, the rule that it can break, and which of its frames do."""

    signal: Signal
    rule: str
    test: Test


class Contents:
    """Looks into the frames block by block."""

    def __init__(self, catalogue: Catalogue) -> None:
        self._catalogue = catalogue
        self._watched = [tuple(_watched(message)) for message in catalogue.messages]
        self._unused = [_unused_bits(message) for message in catalogue.messages]
        self._notes = Notes()

    def take(self, block: Block) -> None:
        """Look at the frames of ``block``."""
        for group in block.groups:
            if group.message.is_remote:
                continue
            columns, unused = block.columns(group), self._unused[group.index]
            for watched in self._watched[group.index]:
                carried = columns.carrying(watched.signal.name)
                bad = watched.test(carried, watched.signal)
                if bad.any():
                    raws = carried.raw(watched.signal.name)[bad]
                    self._notes.note(
                        (watched.rule, group.index, watched.signal.name), block, carried.rows[bad], _kept(raws)
                    )
            if unused:
                set_bits = (columns.payload & np.uint64(unused)) != 0
                self._notes.note(("unused-bits", group.index, ""), block, columns.rows[set_bits])

    def sightings(self) -> Iterator[Sighting]:
        """What was seen, in the order of the catalogue."""
        for key, seen in sorted(self._notes, key=lambda pair: pair[0][1:]):
            rule, index, name = key
            message = self._catalogue.messages[index]
            frames = counted(seen.count, "frame")
            if rule == "unused-bits":
                text = f"`{message.name}` has bits set that no signal has, in {frames}"
                fix = "unused bits are sent as 0, so that a later revision can use them"
                yield sighting("unused-bits", Severity.ADVICE, seen, message.name, text, fix, message.place_of())
            else:
                yield _of_signal(rule, message, message.signal(name), seen, frames)


def _of_signal(rule: str, message: Message, signal: Signal, seen: Seen, frames: str) -> Sighting:
    about = f"`{message.name}.{signal.name}`"
    raws = f"{seen.least}" if seen.least == seen.most else f"{seen.least} to {seen.most}"
    if rule == "undefined-code" and not signal.only_codes:
        known = ", ".join(map(str, sorted(_pages(message, signal))[:8]))
        text = f"{about} has the raw number {raws} in {frames}, which selects no page (pages: {known})"
        fix = "a board knows more pages than the catalogue, or sends what it should not"
        return sighting("undefined-code", Severity.BROKEN, seen, message.name, text, fix, signal.place_of("bits"))
    if rule == "undefined-code":
        known = ", ".join(map(str, sorted(signal.codes)[:8])) + (" ..." if len(signal.codes) > 8 else "")
        text = f"{about} has the raw number {raws} in {frames}, which is none of its codes ({known})"
        fix = "a board knows more codes than the catalogue, or sends what it should not"
        return sighting("undefined-code", Severity.BROKEN, seen, message.name, text, fix, signal.place_of("codes"))
    if rule == "wrong-constant":
        text = f"{about} is always {signal.constant}; {frames} had {raws}"
        return sighting("wrong-constant", Severity.BROKEN, seen, message.name, text, "", signal.place_of("constant"))
    text = f"{about} is out of its range in {frames}: {_values(signal, seen)}, allowed {_allowed(signal)}"
    return sighting("value-out-of-range", Severity.BROKEN, seen, message.name, text, "", signal.place_of("range"))


def _values(signal: Signal, seen: Seen) -> str:
    if signal.is_float:
        return "no number, or beyond its limits"
    ends = sorted({raw * signal.factor + signal.offset for raw in (seen.least, seen.most)})
    return f"{' to '.join(told(end) for end in ends)} {signal.unit}".rstrip()


def _allowed(signal: Signal) -> str:
    if signal.is_float:
        low, high = float_limits(signal)
    else:
        ends = [raw * signal.factor + signal.offset for raw in raw_limits(signal)]
        low, high = min(ends), max(ends)
    return f"{told(low)} to {told(high)} {signal.unit}".rstrip()


def _watched(message: Message) -> Iterator[_Watched]:
    for signal in message.signals:
        pages = _pages(message, signal)
        if pages and not pages >= set(range(signal.raw_min, signal.raw_max + 1)) and not signal.only_codes:
            yield _Watched(signal, "undefined-code", _is_none_of(pages | set(signal.codes)))
        if signal.role is Role.CONSTANT:
            yield _Watched(signal, "wrong-constant", _is_not_constant)
        elif signal.role is Role.COUNTER and signal.modulo - 1 < signal.raw_max:
            yield _Watched(signal, "value-out-of-range", _is_out_of_range)
        elif signal.role is Role.VALUE and signal.is_float:
            yield _Watched(signal, "value-out-of-range", _is_no_float)
        elif signal.role is Role.VALUE and signal.only_codes:
            if len(signal.codes) <= signal.raw_max - signal.raw_min:
                yield _Watched(signal, "undefined-code", _code_test(signal))
        elif signal.role is Role.VALUE and raw_limits(signal) != (signal.raw_min, signal.raw_max):
            yield _Watched(signal, "value-out-of-range", _is_out_of_range)


def _pages(message: Message, selector: Signal) -> set[int]:
    """The raw numbers of ``selector`` for which the message has other signals; none of a signal that selects none."""
    return {raw for signal in message.signals if signal.selector == selector.name for raw in signal.selected_by}


def _is_none_of(raws: set[int]) -> Test:
    return lambda columns, signal: ~np.isin(own := columns.raw(signal.name), np.array(sorted(raws), own.dtype))


def _is_not_constant(columns: Columns, signal: Signal) -> NDArray[np.bool_]:
    raws = columns.raw(signal.name)
    is_other: NDArray[np.bool_] = raws != raws.dtype.type(signal.constant)
    return is_other


def _is_out_of_range(columns: Columns, signal: Signal) -> NDArray[np.bool_]:
    raws = columns.raw(signal.name)
    low, high = raw_limits(signal)
    kind = raws.dtype.type
    bad: NDArray[np.bool_] = (raws < kind(low)) | (raws > kind(high))
    if signal.codes and bad.any():
        bad &= ~np.isin(raws, np.array(sorted(signal.codes), raws.dtype))
    return bad


def _is_no_float(columns: Columns, signal: Signal) -> NDArray[np.bool_]:
    values = columns.physical(signal.name)
    low, high = float_limits(signal)
    bad: NDArray[np.bool_] = ~((values >= low) & (values <= high))
    if signal.codes and bad.any():
        raws = columns.raw(signal.name)
        bad &= ~np.isin(raws, np.array(sorted(signal.codes), raws.dtype))
    return bad


def _code_test(signal: Signal) -> Test:
    if signal.length_bits > TABLE_BITS:
        return lambda columns, _: ~np.isin(raws := columns.raw(signal.name), np.array(sorted(signal.codes), raws.dtype))
    unknown = np.ones(1 << signal.length_bits, np.bool_)
    unknown[np.array(sorted(signal.codes)) - signal.raw_min] = False
    return lambda columns, _: unknown[columns.raw(signal.name) - signal.raw_min]


def _kept(raws: Raws) -> NDArray[np.int64]:
    """For what is told of them; a number of 64 bits without a sign is told as the greatest one with it."""
    return (np.minimum(raws, np.uint64(2**63 - 1)) if raws.dtype == np.uint64 else raws).astype(np.int64)


def _unused_bits(message: Message) -> int:
    """The bits of the payload that none of the signals has on any page, or that are reserved on every one."""
    used = 0
    for signal in message.signals:
        if signal.role is not Role.RESERVED:
            used |= sum(1 << bit for bit in signal.bit_positions)
    return ~used & ((1 << 8 * message.data_bytes) - 1)
