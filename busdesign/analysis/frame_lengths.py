"""How long a message's frames can be, by three methods; all count to the end of intermission.

``published``: the textbook formula, which no frame attains. ``any-payload``: the exact longest frame with that
identifier and length, whatever the data. ``as-declared``: the exact longest one if every board keeps to the declared
ranges, codes and constants; counters, application checks and the pages of multiplexed messages are taken as free. It is
for information: one faulty board that sends something else voids it.
"""

from collections.abc import Callable, Iterator, Mapping
from typing import TypedDict

from busdesign.catalogue.model import Catalogue, Message, Role, Signal
from busdesign.catalogue.values import allowed_raws
from busdesign.wire.frame import Frame
from busdesign.wire.lengths import longest_published_bits, shortest_bits
from busdesign.wire.longest import (
    longest_bits_of_any_identifier,
    longest_exact_bits,
    longest_frame,
    shortest_exact_bits,
)
from busdesign.wire.payload_sets import PayloadSet, all_of, any_payload, with_bits, with_field

DEFAULT = "any-payload"


class _Kind(TypedDict):
    extended: bool
    remote: bool
    dlc: int | None


def longest_frames(catalogue: Catalogue, lengths: str = DEFAULT) -> dict[str, int]:
    """The longest frame of every message in bits, by the method named ``lengths``. Raises KeyError for another."""
    longest = LENGTHS[lengths]
    return {message.name: longest(message) for message in catalogue.messages}


def formula_bits(message: Message) -> int:
    """The textbook's longest frame of ``message``."""
    return longest_published_bits(message.data_bytes, extended=message.extended)


def shortest_frame_bits(message: Message) -> int:
    """The exact shortest frame of ``message``, whatever the data; without an identifier, one without stuff bits."""
    if message.identifier is None:
        return shortest_bits(message.data_bytes, extended=message.extended)
    return shortest_exact_bits(message.identifier, any_payload(message.data_bytes), **_kind(message))


def a_longest_frame(message: Message, lengths: str = DEFAULT) -> Frame | None:
    """A frame of ``message`` that is as long as ``lengths`` says; None for ``published``, which none attains.

    None, too, for a message without an identifier.
    """
    if message.identifier is None or lengths not in _PAYLOADS:
        return None
    return longest_frame(message.identifier, _PAYLOADS[lengths](message), **_kind(message))


def declared_payloads(message: Message) -> PayloadSet:
    """Every payload that keeps to what is declared of ``message``, and no fewer."""
    length_bytes = message.data_bytes
    if not message.signals:
        return any_payload(length_bytes)
    steady = [signal for signal in message.signals if not signal.selector]
    sets = [_unused_bits(message)]
    for signal in steady:
        ranges = list(_pattern_ranges(signal))
        if ranges != [(0, (1 << signal.length_bits) - 1)]:
            sets.append(with_field(length_bytes, signal.bit_positions, ranges))
    return all_of(sets[0], *sets[1:])


def _unused_bits(message: Message) -> PayloadSet:
    used = {bit for signal in message.signals for bit in signal.bit_positions}
    unused = sum(1 << bit for bit in range(8 * message.data_bytes) if bit not in used)
    return with_bits(message.data_bytes, unused, 0)


def _pattern_ranges(signal: Signal) -> Iterator[tuple[int, int]]:
    """The raw numbers that ``signal`` may have, as ranges of its bits' patterns without a sign."""
    every = (1 << signal.length_bits) - 1
    if signal.is_float or signal.role is Role.CHECK:
        yield 0, every
        return
    if signal.role is Role.COUNTER:
        yield 0, min(signal.modulo - 1, every)
        return
    allowed = allowed_raws(signal)
    numbers = set(signal.codes) if signal.role is Role.VALUE else set[int]()
    if isinstance(allowed, range):
        if allowed.stop > allowed.start:
            yield from _without_sign(allowed.start, allowed.stop - 1, every)
        numbers -= {raw for raw in numbers if raw in allowed}
    else:
        numbers |= set(allowed)
    for raw in sorted(numbers):
        yield raw & every, raw & every


def _without_sign(low: int, high: int, every: int) -> Iterator[tuple[int, int]]:
    if low < 0 <= high:
        yield low & every, every
        yield 0, high
    else:
        yield low & every, high & every


def _of_any_payload(message: Message) -> PayloadSet:
    return any_payload(message.data_bytes)


_PAYLOADS: Mapping[str, Callable[[Message], PayloadSet]] = {
    "any-payload": _of_any_payload,
    "as-declared": declared_payloads,
}


def _exact(lengths: str) -> Callable[[Message], int]:
    payloads_of = _PAYLOADS[lengths]

    def longest(message: Message) -> int:
        if message.identifier is None:
            return longest_bits_of_any_identifier(message.data_bytes, extended=message.extended, dlc=message.long_code)
        return longest_exact_bits(message.identifier, payloads_of(message), **_kind(message))

    return longest


def _kind(message: Message) -> _Kind:
    return {"extended": message.extended, "remote": message.is_remote, "dlc": message.length_code}


LENGTHS: Mapping[str, Callable[[Message], int]] = {
    "published": formula_bits,
    "any-payload": _exact("any-payload"),
    "as-declared": _exact("as-declared"),
}
