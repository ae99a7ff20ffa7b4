"""Layout: every signal inside the payload, on bits of its own."""

from collections.abc import Iterator

from busdesign.catalogue.model import MAX_CLASSICAL_BYTES, ByteOrder, bit_positions
from busdesign.catalogue.packing import Clash
from busdesign.catalogue.parts import Draft, MessagePart
from busdesign.findings import Finding, error


def payload_too_long(draft: Draft) -> Iterator[Finding]:
    """More than eight bytes in a classical frame."""
    for message in draft.messages:
        if (message.written.bytes or 0) > MAX_CLASSICAL_BYTES:
            text = f"{message.written.bytes} bytes are more than the {MAX_CLASSICAL_BYTES} of a classical frame"
            yield error("payload-too-long", message.at("bytes"), text, "split the message in two")


def does_not_fit(draft: Draft) -> Iterator[Finding]:
    """A signal on bits that another one holds, or beyond the end of the payload."""
    for message in draft.messages:
        for clash in message.layout.clashes if message.layout else ():
            yield _overlap(message, clash) if clash.other else _outside(message, clash)


def _overlap(message: MessagePart, clash: Clash) -> Finding:
    start = clash.next_free_start
    fix = f"`start: {start}` is free" if start is not None else f"only {clash.free_bits} bits of it are free at all"
    text = f"`{clash.name}` overlaps `{clash.other}` in {_bits(clash.bits)}"
    return error("signal-overlap", message.at("signals", clash.name, "start"), text, fix)


def _outside(message: MessagePart, clash: Clash) -> Finding:
    length = message.written.bytes if message.written.bytes is not None else MAX_CLASSICAL_BYTES
    bits = message.written.signals[clash.name].bits
    if clash.bits:
        text = f"`{clash.name}` reaches bit {max(clash.bits)}, but {length} bytes end with bit {8 * length - 1}"
        start = clash.next_free_start
        fix = f"`start: {start}` is free" if start is not None else _longer(message, clash, bits)
        return error("signal-outside", message.at("signals", clash.name, "start"), text, fix)
    text = f"`{clash.name}` ({bits} bits) finds no room: {clash.free_bits} of {8 * length} bits are free"
    return error("signal-outside", message.at_key("signals", clash.name), text, _longer(message, clash, bits))


def _longer(message: MessagePart, clash: Clash, bits: int) -> str:
    length = message.written.bytes if message.written.bytes is not None else MAX_CLASSICAL_BYTES
    wanted = length + -(-max(bits - clash.free_bits, 1) // 8)
    if wanted <= MAX_CLASSICAL_BYTES:
        return f"`bytes: {wanted}` would hold it"
    return "shorten a signal, or move some to a message of their own"


def check_not_on_a_byte(draft: Draft) -> Iterator[Finding]:
    """A CRC signal that does not fill whole bytes: nobody could say which bytes it covers."""
    for message in draft.messages:
        for name, signal in message.written.signals.items():
            if not signal.crc or message.layout is None or name not in message.layout.start_bits:
                continue
            start = message.layout.start_bits[name]
            bits = bit_positions(start, signal.bits, message.byte_order_of(name))
            if min(bits) % 8 or max(bits) % 8 != 7:
                first = 8 * (start // 8) + (7 if message.byte_order_of(name) is ByteOrder.BIG else 0)
                text = f"the check `{name}` starts at bit {start}; a check fills whole bytes"
                where = message.at("signals", name, "start")
                yield error("check-not-on-a-byte", where, text, f"write `start: {first}` or leave `start` out")


def _bits(bits: tuple[int, ...]) -> str:
    return f"bit {bits[0]}" if len(bits) == 1 else f"bits {bits[0]} to {bits[-1]}"
