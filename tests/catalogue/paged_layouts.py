"""Random messages of every kind of signal, on pages at any depth; and what they mean, by an oracle of their own."""

import struct
from dataclasses import replace
from types import MappingProxyType

from hypothesis import strategies as st

from busdesign.catalogue.model import ByteOrder, Message, Role, Signal
from busdesign.catalogue.packing import Pages, Slot, lay
from tests.catalogue.layouts import ORDERS, read_bits

FACTORS = st.sampled_from([(1.0, 0.0), (0.5, -3.0), (-0.25, 12.5), (0.1, 0.0)])
FLOATS = {32: "f", 64: "d"}
KINDS = ("value", "value", "scaled", "selector", "selector", "float", "constant", "reserved", "unknown")


@st.composite
def paged_messages(draw: st.DrawFn, signed_selectors: bool = True) -> Message:
    """Messages of 8 bytes; selectors have neither factor nor offset."""
    made: list[Signal] = []
    for number in range(draw(st.integers(2, 12))):
        made.append(_on_a_page(draw, _of_a_kind(draw, f"s{number}", signed_selectors), made))
    layout = lay([_slot(signal, made) for signal in made], 8)
    placed: list[Signal] = []
    for signal in made:  # one without a place takes along what hangs on it
        if signal.name in layout.start_bits and (
            not signal.selector or any(signal.selector == other.name for other in placed)
        ):
            placed.append(replace(signal, start_bit=layout.start_bits[signal.name]))
    return Message("m", 1, False, 8, "a", (), tuple(placed), period_ns=10**7)


def _of_a_kind(draw: st.DrawFn, name: str, signed_selectors: bool) -> Signal:
    kind, order = draw(st.sampled_from(KINDS)), draw(ORDERS)
    if kind == "float":
        factor, offset = draw(FACTORS)
        bits = draw(st.sampled_from([32, 32, 64]))
        return Signal(name, 0, bits, order, is_float=True, factor=factor, offset=offset)
    bits, signed = draw(st.integers(1, 9)), draw(st.booleans())
    plain = Signal(name, 0, bits, order, signed)
    if kind == "scaled":
        factor, offset = draw(FACTORS)
        return replace(plain, factor=factor, offset=offset, comment="scaled")
    if kind == "selector":
        plain = replace(plain, signed=signed and signed_selectors, comment="selector")
        raws = draw(st.lists(st.integers(plain.raw_min, plain.raw_max), max_size=3, unique=True))
        return replace(plain, codes=MappingProxyType({raw: f"w{raw}" for raw in raws}))
    if kind == "constant":
        plain = replace(plain, signed=signed and signed_selectors, comment="selector", role=Role.CONSTANT)
        return replace(plain, constant=draw(st.integers(plain.raw_min, plain.raw_max)))
    if kind == "reserved":
        return replace(plain, role=Role.RESERVED, signed=False)
    if kind == "unknown" and bits > 1:
        top = plain.raw_max
        words = MappingProxyType({top: "unknown", top - 1: "invalid"})
        plain = replace(plain, minimum=float(plain.raw_min), maximum=top - 2.0) if bits > 2 else plain
        return replace(plain, codes=words, unknown_raw=top, invalid_raw=top - 1)
    return plain


def _on_a_page(draw: st.DrawFn, signal: Signal, others: list[Signal]) -> Signal:
    selectors = [other for other in others if other.comment == "selector"]
    if not selectors or draw(st.integers(0, 3)) == 0:
        return signal
    selector = draw(st.sampled_from(selectors))
    if selector.role is Role.CONSTANT:
        return replace(signal, selector=selector.name, selected_by=(selector.constant,))
    raws = st.integers(selector.raw_min, selector.raw_max)
    return replace(
        signal, selector=selector.name, selected_by=tuple(draw(st.lists(raws, min_size=1, max_size=4, unique=True)))
    )


def _slot(signal: Signal, signals: list[Signal]) -> Slot:
    pages: Pages = ()
    above = signal
    while above.selector:
        pages += ((above.selector, frozenset(above.selected_by)),)
        above = next(other for other in signals if other.name == above.selector)
    return Slot(signal.name, signal.length_bits, signal.byte_order, None, pages=pages)


# --- the oracle


def is_there(message: Message, signal: Signal, data: bytes) -> bool:
    """Whether a frame carries ``signal``, by the bits of its selector and of the selector's own selector."""
    if not signal.selector:
        return True
    selector = next(other for other in message.signals if other.name == signal.selector)
    return read_bits(data, selector) in signal.selected_by and is_there(message, selector, data)


def meaning(signal: Signal, data: bytes) -> float | str:
    """What the bits of ``signal`` mean, byte by byte."""
    raw = read_bits(data, signal)
    if raw in signal.codes:
        return signal.codes[raw]
    if signal.is_float:
        code = FLOATS[signal.length_bits]
        (number,) = struct.unpack(f">{code}", raw.to_bytes(signal.length_bits // 8, "big"))
        return float(number * signal.factor + signal.offset)
    return raw * signal.factor + signal.offset


def bits_of(signal: Signal) -> set[int]:
    """The payload bits of ``signal``, walked through one by one."""
    bits, (byte, bit) = set(), divmod(signal.start_bit, 8)
    for _ in range(signal.length_bits):
        bits.add(8 * byte + bit)
        if signal.byte_order is ByteOrder.LITTLE:
            byte, bit = (byte, bit + 1) if bit < 7 else (byte + 1, 0)
        else:
            byte, bit = (byte, bit - 1) if bit > 0 else (byte + 1, 7)
    return bits
