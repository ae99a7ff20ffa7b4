"""Random layouts for the tests of packing and codec, and an oracle that walks through a payload bit by bit."""

from hypothesis import strategies as st

from busdesign.catalogue.model import ByteOrder, Message, Signal
from busdesign.catalogue.packing import Slot, lay

ORDERS = st.sampled_from(list(ByteOrder))


@st.composite
def slots(draw: st.DrawFn, room_bits: int = 64) -> list[Slot]:
    """Loose slots that fill at most ``room_bits``."""
    made: list[Slot] = []
    left = room_bits
    while left and len(made) < 12 and draw(st.booleans() if made else st.just(True)):
        length = draw(st.integers(1, left))
        made.append(Slot(f"s{len(made)}", length, draw(ORDERS), None))
        left -= length
    return made


@st.composite
def messages(draw: st.DrawFn) -> Message:
    """Messages with signals of every length, sign and byte order, all of them placed."""
    loose = draw(slots())
    layout = lay(loose, 8)
    signals = tuple(
        Signal(slot.name, layout.start_bits[slot.name], slot.length_bits, slot.byte_order, draw(st.booleans()))
        for slot in loose
        if slot.name in layout.start_bits
    )
    return Message("m", 1, False, 8, "a", (), signals, period_ns=10**7)


def read_bits(data: bytes, signal: Signal) -> int:
    """The raw number of ``signal`` in ``data``, read one bit after another as the standard drawings number them.

    Little-endian: from the least significant bit at ``start_bit`` upwards, byte 1 after bit 7 of byte 0.
    Big-endian: from the most significant bit at ``start_bit`` down to bit 0 of that byte, then from bit 7 of the next.
    """
    byte, bit = divmod(signal.start_bit, 8)
    found = []
    for _ in range(signal.length_bits):
        found.append(data[byte] >> bit & 1)
        if signal.byte_order is ByteOrder.LITTLE:
            byte, bit = (byte, bit + 1) if bit < 7 else (byte + 1, 0)
        else:
            byte, bit = (byte, bit - 1) if bit > 0 else (byte + 1, 7)
    if signal.byte_order is ByteOrder.LITTLE:
        found.reverse()
    raw = int("".join(map(str, found)), 2)
    return raw - (1 << signal.length_bits) if signal.signed and found[0] else raw
