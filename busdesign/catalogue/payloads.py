"""Payloads for messages whose application is not there: random, zero or fixed. Counters and checks are filled in."""

from collections.abc import Callable, Sequence
from random import Random

from busdesign.catalogue.codec import MessageCodec
from busdesign.catalogue.model import Role, Signal
from busdesign.catalogue.values import allowed_raws, float_limits, to_raw

Payloads = Callable[[Sequence[int], int], int]  # (raw numbers of the signals, frames sent before) → payload

_FINELY_DRAWN = 1 << 24  # up to here, the 53 bits of a random float make all numbers equally likely to 2^-29


def random_payloads(codec: MessageCodec, rng: Random) -> Payloads:
    """Independent uniform allowed raw values; in a message without signals every byte is random."""
    message = codec.message
    if not message.signals:
        bits = 8 * message.length_bytes
        return lambda _, count: rng.getrandbits(bits) if bits else 0
    pack, getrandbits = codec.pack, rng.getrandbits
    plain = [_plain(signal) for signal in message.signals]
    if all(one is not None for one in plain):  # the usual case, and several times as quick
        spans = [one for one in plain if one is not None]
        return lambda _, count: pack([least + getrandbits(bits) for least, bits in spans], count)
    draws = [_draw(signal, rng) for signal in message.signals]
    return lambda _, count: pack([draw() for draw in draws], count)


def _plain(signal: Signal) -> tuple[int, int] | None:
    """The least raw number, and of how many bits its distance to any other is, where all of these are allowed."""
    if signal.role is not Role.VALUE:
        return 0, 0
    allowed = () if signal.is_float else allowed_raws(signal)
    if not isinstance(allowed, range):
        return None
    count = allowed.stop - allowed.start  # may be longer than `len` can say
    return (allowed.start, count.bit_length() - 1) if count > 0 and not count & (count - 1) else None


def _draw(signal: Signal, rng: Random) -> Callable[[], int]:
    if signal.role is not Role.VALUE:
        return lambda: 0
    if signal.is_float:
        low, high = float_limits(signal)
        half = high / 2 - low / 2  # the whole distance may be no finite number
        return lambda: to_raw(signal, min(max(low + half * rng.random() + half * rng.random(), low), high))
    allowed = allowed_raws(signal)
    if not allowed:
        return lambda: 0
    if isinstance(allowed, range):  # may be longer than an index can say
        return _in_range(allowed.start, allowed.stop - allowed.start, rng)
    return lambda: rng.choice(allowed)


def _in_range(least: int, count: int, rng: Random) -> Callable[[], int]:
    """``least`` or one of the ``count`` - 1 numbers above it. Drawn once a signal and frame: as cheaply as can be."""
    bits = count.bit_length() - 1
    if count == 1 << bits:
        return (lambda: least + rng.getrandbits(bits)) if bits else lambda: least
    if count > _FINELY_DRAWN:
        return lambda: least + rng.randrange(count)
    return lambda: least + int(rng.random() * count)


def zero_payloads(codec: MessageCodec) -> Payloads:
    """The application's bits are zero."""
    raws = [0] * len(codec.message.signals)
    return lambda _, count: codec.pack(raws, count)


def fixed_payloads(data: bytes) -> Payloads:
    """The same bytes in every frame, exactly as given: nothing is filled in."""
    payload = int.from_bytes(data, "little")
    return lambda _, count: payload
