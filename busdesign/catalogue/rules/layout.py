"""Layout: every signal inside the payload, on bits of its own."""

from collections.abc import Iterable, Iterator

from busdesign.catalogue.checksums import CHECKSUMS
from busdesign.catalogue.model import MAX_CLASSICAL_BYTES, ByteOrder, bit_positions
from busdesign.catalogue.packing import Clash, fills_whole_bytes, lay
from busdesign.catalogue.parts import Draft, MessagePart
from busdesign.findings import Finding, counted, error


def payload_too_long(draft: Draft) -> Iterator[Finding]:
    """More than eight bytes in a classical frame."""
    for message in draft.messages:
        if (message.written.bytes or 0) > MAX_CLASSICAL_BYTES:
            text = f"{message.written.bytes} bytes are more than a classical frame holds"
            fix = f"{MAX_CLASSICAL_BYTES} is the most: split the message in two"
            yield error("payload-too-long", message.at("bytes"), text, fix)


def does_not_fit(draft: Draft) -> Iterator[Finding]:
    """A signal on bits that another one holds, or beyond the end of the payload."""
    for message in draft.messages:
        clashes = message.layout.clashes if message.layout else ()
        longer = _longer(message, draft, {clash.name for clash in clashes}) if clashes else ""
        for clash in clashes:
            elsewhere = longer if clash.next_free_start is None else f"`start: {clash.next_free_start}` is free"
            yield _overlap(message, clash, elsewhere) if clash.other else _outside(message, clash, elsewhere)


def _overlap(message: MessagePart, clash: Clash, fix: str) -> Finding:
    text = f"`{clash.name}` overlaps `{clash.other}` in {_runs(clash.bits)}"
    return error("signal-overlap", message.at("signals", clash.name, "start"), text, fix)


def _outside(message: MessagePart, clash: Clash, fix: str) -> Finding:
    room_bytes = _room_bytes(message)
    room_bits, bits = 8 * room_bytes, message.written.signals[clash.name].bits
    if clash.bits:
        last = f"bit {room_bits - 1} is the last of {counted(room_bytes, 'byte')}"
        reach = _reach(message.written.signals[clash.name].start, clash.bits, room_bits)
        text = f"`{clash.name}` {reach}, but {last if room_bits else 'the message has no bytes'}"
        return error("signal-outside", message.at("signals", clash.name, "start"), text, fix)
    free = f"{clash.free_bits} of {counted(room_bits, 'bit')} are free"
    scattered = ", but not together" if bits <= clash.free_bits else ""
    text = f"`{clash.name}` ({counted(bits, 'bit')}) finds no room: {free}{scattered}"
    return error("signal-outside", message.at_key("signals", clash.name), text, fix)


def _reach(start: int | None, bits: Iterable[int], room_bits: int) -> str:
    """How a signal leaves the payload, as short as can be."""
    beyond = tuple(bit for bit in sorted(bits) if bit >= room_bits)
    if start is not None and start >= room_bits:
        return f"starts at bit {start}"
    is_one_run = beyond[-1] - beyond[0] + 1 == len(beyond)
    return f"reaches {_runs(beyond) if is_one_run else f'as far as bit {beyond[-1]}'}"


def _room_bytes(message: MessagePart) -> int:
    return MAX_CLASSICAL_BYTES if message.written.bytes is None else message.written.bytes


def _longer(message: MessagePart, draft: Draft, misplaced: set[str]) -> str:
    """How many bytes would hold all signals, the ``misplaced`` ones packed."""
    slots = [slot.loose() if slot.name in misplaced else slot for slot in message.slots(draft)]
    if sum(slot.length_bits for slot in slots if not slot.pages) <= 8 * MAX_CLASSICAL_BYTES:
        for length in range(_room_bytes(message) + 1, MAX_CLASSICAL_BYTES + 1):
            if not lay(slots, length).clashes:
                return f"`bytes: {length}` would hold " + ("it" if len(misplaced) == 1 else "all of them")
    return "shorten a signal, or move some to a message of their own"


def check_not_on_a_byte(draft: Draft) -> Iterator[Finding]:
    """A CRC signal that does not fill whole bytes: nobody could say which bytes it covers."""
    for message in draft.messages:
        for name, signal in message.written.signals.items():
            known = CHECKSUMS.get(signal.crc or "")
            if known is None or known.width != signal.bits or signal.start is None:
                continue
            order = message.byte_order_of(name)
            bits = bit_positions(signal.start, signal.bits, order)
            if not fills_whole_bytes(bits):
                first = 8 * (signal.start // 8) + (7 if order is ByteOrder.BIG else 0)
                text = f"the check `{name}` starts at bit {signal.start}; a check fills whole bytes"
                where = message.at("signals", name, "start")
                free = _is_free(message, draft, name, bit_positions(first, signal.bits, order))
                fix = f"write `start: {first}`" if free else "leave `start` out"
                yield error("check-not-on-a-byte", where, text, fix)


def _is_free(message: MessagePart, draft: Draft, name: str, bits: Iterable[int]) -> bool:
    starts = message.layout.start_bits if message.layout else {}
    others = {
        bit
        for slot in message.slots(draft)
        if slot.name != name and slot.name in starts
        for bit in bit_positions(starts[slot.name], slot.length_bits, slot.byte_order)
    }
    return all(bit < 8 * _room_bytes(message) and bit not in others for bit in bits)


def _runs(bits: tuple[int, ...]) -> str:
    """``bit 3``, ``bits 3 to 9``, ``bits 3 to 4 and 9``: of ascending bits."""
    runs: list[list[int]] = []
    for bit in bits:
        if runs and bit == runs[-1][-1] + 1:
            runs[-1] = [runs[-1][0], bit]
        else:
            runs.append([bit])
    said = [f"{run[0]}" if len(run) == 1 else f"{run[0]} to {run[-1]}" for run in runs]
    return ("bit " if len(bits) == 1 else "bits ") + " and ".join([", ".join(said[:-1])] * (len(said) > 1) + said[-1:])
