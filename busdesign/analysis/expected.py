"""The load of an ordinary day: frames of their mean length at their nominal periods."""

from fractions import Fraction

from busdesign.catalogue.codec import MessageCodec
from busdesign.catalogue.model import Catalogue, Message
from busdesign.catalogue.payloads import random_payloads
from busdesign.chance import stream
from busdesign.wire.lengths import frame_bits

SAMPLES = 200  # payloads a message; stuff bits scatter by about two, so the mean is good to about 0.15 bit


def mean_frame_bits(message: Message) -> Fraction:
    """Mean length of a frame in bits, intermission included, over independent uniform allowed raw values.

    Estimated from the exact lengths of ``SAMPLES`` payloads, the same ones each time.
    """
    if message.is_remote:
        sent = frame_bits(message.identifier or 0, extended=message.extended, remote=True, dlc=message.length_code)
        return Fraction(sent)
    codec = MessageCodec(message)
    draw = random_payloads(codec, stream(0, "mean length", message.name))
    identifier = message.identifier or 0
    total = 0
    for count in range(SAMPLES):
        data = draw(codec.initial_raws, count).to_bytes(message.length_bytes, "little")
        total += frame_bits(identifier, data, extended=message.extended, dlc=message.length_code)
    return Fraction(total, SAMPLES)


def nominal_load(catalogue: Catalogue) -> Fraction:
    """Fraction of bus time that mean frames take at nominal periods; irregular messages as often as they may come."""
    bit_ns = catalogue.bus.bit_ns
    return sum((mean_frame_bits(message) * bit_ns / message.period_ns for message in catalogue.messages), Fraction(0))
