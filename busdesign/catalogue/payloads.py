"""Payloads for messages whose application is not there: random, zero or fixed. Counters and checks are filled in."""

from collections.abc import Callable, Sequence
from random import Random

from busdesign.catalogue.codec import MessageCodec
from busdesign.catalogue.model import Role, Signal
from busdesign.catalogue.values import allowed_raws, float_limits, to_raw

Payloads = Callable[[Sequence[int], int], int]  # (raw numbers of the signals, frames sent before) → payload


def random_payloads(codec: MessageCodec, rng: Random) -> Payloads:
    """Independent uniform allowed raw values; in a message without signals every byte is random."""
    message = codec.message
    if not message.signals:
        bits = 8 * message.length_bytes
        return lambda _, count: rng.getrandbits(bits) if bits else 0
    draws = [_draw(signal, rng) for signal in message.signals]
    pack = codec.pack
    return lambda _, count: pack([draw() for draw in draws], count)


def _draw(signal: Signal, rng: Random) -> Callable[[], int]:
    if signal.role is not Role.VALUE:
        return lambda: 0
    if signal.is_float:
        low, high = float_limits(signal)
        half = high / 2 - low / 2  # the whole distance may be no finite number
        return lambda: to_raw(signal, min(max(low + half * rng.random() + half * rng.random(), low), high))
    allowed = allowed_raws(signal)
    return lambda: _any_of(allowed, rng)


def _any_of(allowed: Sequence[int], rng: Random) -> int:
    if isinstance(allowed, range):  # may be longer than an index can say
        return allowed.start + rng.randrange(allowed.stop - allowed.start)
    return allowed[rng.randrange(len(allowed))] if allowed else 0


def zero_payloads(codec: MessageCodec) -> Payloads:
    """The application's bits are zero."""
    raws = [0] * len(codec.message.signals)
    return lambda _, count: codec.pack(raws, count)


def fixed_payloads(data: bytes) -> Payloads:
    """The same bytes in every frame, exactly as given: nothing is filled in."""
    payload = int.from_bytes(data, "little")
    return lambda _, count: payload
