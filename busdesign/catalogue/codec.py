"""Payloads from values and values from payloads: one codec for each message, written once as straight-line Python.

A payload is handled as an integer in which byte 0 holds bits 0 to 7, so that payload bit ``n`` is bit ``n`` of the
integer. ``pack`` and ``unpack`` are compiled from text made here from the frozen layout (numbers only: no name or text
of the catalogue goes into it), because the simulator calls them once a frame.
"""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from typing import Any

from busdesign.catalogue.checksums import CHECKSUMS, byte_table, checksum_of
from busdesign.catalogue.converters import raw_converter
from busdesign.catalogue.data_ids import bytes_around, counter_of, turns_of
from busdesign.catalogue.model import Message, Role, Signal
from busdesign.catalogue.values import Value, initial_raw, to_value
from busdesign.findings import did_you_mean


class MessageCodec:
    """Encodes and decodes the payload of one message.

    ``pack(raws, count)`` takes one raw number for each signal in the catalogue's order, each within its bits (those of
    counters and checks are ignored), and how many frames were sent before; it returns the payload as an integer,
    counter and check filled in. ``unpack(payload)`` returns the raw numbers of all signals.
    """

    __slots__ = ("_index", "converters", "getters", "initial_raws", "length_bytes", "message", "pack", "unpack")

    def __init__(self, message: Message) -> None:
        self.message = message
        self.length_bytes = message.length_bytes
        self.initial_raws: tuple[int, ...] = tuple(initial_raw(signal) for signal in message.signals)
        self._index = {signal.name: position for position, signal in enumerate(message.signals)}
        self.converters = {
            signal.name: (position, raw_converter(signal))
            for position, signal in enumerate(message.signals)
            if signal.role is Role.VALUE
        }
        self.getters = _Getters(self)
        self.pack: Callable[[Sequence[int], int], int] = _compiled(_pack_text(message), table=_table_of(message))
        self.unpack: Callable[[int], tuple[int, ...]] = _compiled(_unpack_text(message))

    def position_of(self, signal: str) -> int:
        """Where the raw number of ``signal`` stands in ``pack``'s argument. Raises ValueError for an unknown name."""
        try:
            return self._index[signal]
        except KeyError:
            hint = did_you_mean(signal, self._index)
            raise ValueError(f"`{self.message.name}` has no signal `{signal}`; {hint}") from None

    def raws_from(self, values: Mapping[str, object], base: Sequence[int] | None = None) -> list[int]:
        """Raw numbers with ``values`` (physical, or names of codes) over ``base`` or the initial ones.

        Raises ValueError for an unknown signal, a value out of range, or one that the codec fills itself.
        """
        raws = list(self.initial_raws if base is None else base)
        converters = self.converters
        for name, value in values.items():
            try:
                position, to_raw_of = converters[name]
            except KeyError:
                raise self.not_settable(name) from None
            raws[position] = to_raw_of(value)
        return raws

    def not_settable(self, name: str) -> ValueError:
        """Why ``name`` has no converter."""
        signal = self.message.signals[self.position_of(name)]
        if signal.role is Role.RESERVED:
            return ValueError(f"`{name}` of `{self.message.name}` is reserved: its bits are sent as 0")
        return ValueError(f"`{name}` is a {signal.role} of `{self.message.name}`: it is filled in when sending")

    def encode(self, values: Mapping[str, object], count: int = 0) -> bytes:
        """The payload for ``values``; signals not given have their initial value. Raises ValueError."""
        return self.pack(self.raws_from(values), count).to_bytes(self.length_bytes, "little")

    def decode(self, data: bytes) -> dict[str, Value]:
        """What a payload means, signal by signal: those that it carries, reserved bits aside.

        Raises ValueError if it is shorter than the message.
        """
        signals = self.message.signals
        raws = dict(zip((signal.name for signal in signals), self.unpack(self._payload(data)), strict=True))
        return {
            signal.name: to_value(signal, raws[signal.name])
            for signal in signals
            if signal.role is not Role.RESERVED and self.message.is_carried(signal, raws)
        }

    def check_holds(self, data: bytes) -> bool | None:
        """Whether the message's check fits the rest of the payload; None if the message has none.

        Raises ValueError if the payload is shorter than the message.
        """
        raws = self.unpack(self._payload(data))
        for signal, raw in zip(self.message.signals, raws, strict=True):
            if signal.role is Role.CHECK:
                counter = counter_of(self.message)
                before, behind = bytes_around(signal, raws[self._index[counter.name]] if counter else 0)
                covered = bytes(data[byte] for byte in _covered_bytes(self.message, signal))
                return checksum_of(signal.crc, before + covered + behind) == raw
        return None

    def _payload(self, data: bytes) -> int:
        if len(data) < self.length_bytes:
            raise ValueError(f"`{self.message.name}` has {self.length_bytes} bytes, this payload only {len(data)}")
        return int.from_bytes(data, "little")


class _Getters(dict[str, Callable[[int], Value]]):
    """Signal → a function from a payload integer to its value, each made when it is first asked for."""

    def __init__(self, codec: MessageCodec) -> None:
        super().__init__()
        self._codec = codec

    def __missing__(self, signal: str) -> Callable[[int], Value]:
        """Raises ValueError for an unknown name."""
        codec = self._codec
        found = codec.message.signals[codec.position_of(signal)]
        made = self[signal] = _getter_of_page(codec, found) if found.selector else _getter(found)
        return made


def codecs_of(messages: Iterable[Message]) -> dict[str, MessageCodec]:
    """One codec for each of ``messages``, by the message's name."""
    return {message.name: MessageCodec(message) for message in messages}


def _getter_of_page(codec: MessageCodec, signal: Signal) -> Callable[[int], Value]:
    getter, names = _getter(signal), [known.name for known in codec.message.signals]

    def made(payload: int) -> Value:
        if not codec.message.is_carried(signal, dict(zip(names, codec.unpack(payload), strict=True))):
            raise ValueError(f"this frame of `{codec.message.name}` does not carry `{signal.name}`")
        return getter(payload)

    return made


def _getter(signal: Signal) -> Callable[[int], Value]:
    if signal.is_float:
        raw_of: Callable[[int], int] = _compiled(f"def made(p):\n return {_raw_text(signal)}\n")
        return lambda payload: to_value(signal, raw_of(payload))
    raw = _raw_text(signal)
    number = f"{'r' if signal.codes else raw} * factor" + (" + offset" if signal.offset else "")
    told = f"words.get(r := {raw}) or {number}" if signal.codes else number
    return _compiled(  # type: ignore[no-any-return]
        f"def made(p):\n return {told}\n",
        words=dict(signal.codes),
        factor=float(signal.factor),
        offset=signal.offset,
    )


def _compiled(text: str, **known: object) -> Any:
    """The function ``made`` that ``text`` defines; the text holds nothing but numbers from the layout."""
    namespace: dict[str, Any] = dict(known)
    exec(compile(text, "<codec>", "exec"), namespace)
    return namespace["made"]


def _table_of(message: Message) -> tuple[int, ...]:
    return next((byte_table(signal.crc) for signal in message.signals if signal.role is Role.CHECK), ())


def _pack_text(message: Message) -> str:
    lines = ["def made(v, count):"]
    pages: dict[str, list[str]] = {"": []}  # by the condition under which they are there
    for position, signal in enumerate(message.signals):
        pages.setdefault(_condition(message, signal), []).extend(_terms(position, signal))
    lines.append(f" p = {' | '.join(pages.pop('')) or '0'}")
    for condition, terms in pages.items():
        if terms:
            lines += [f" if {condition}:", f"  p |= {' | '.join(terms)}"]
    for signal in message.signals:
        if signal.role is Role.CHECK:
            lines += _check_lines(message, signal)
    return "\n".join([*lines, " return p", ""])


def _condition(message: Message, signal: Signal) -> str:
    """When a multiplexed signal is there, as text over ``v``; "" for always."""
    conditions = []
    while signal.selector:
        selector = message.signal(signal.selector)
        raw = f"v[{message.signals.index(selector)}]"
        if selector.role is Role.CONSTANT:
            raw = str(selector.constant)
        wanted = ", ".join(map(str, signal.selected_by))
        conditions.append(f"{raw} in ({wanted},)")
        signal = selector
    return " and ".join(conditions)


def _terms(position: int, signal: Signal) -> Iterator[str]:
    """The signal's bits on their places, a run of adjacent bits at a time."""
    if signal.role in (Role.CHECK, Role.RESERVED):
        return
    raw, runs = f"v[{position}]", list(_runs(signal))
    if signal.role is Role.CONSTANT:
        raw = str(signal.constant & (1 << signal.length_bits) - 1)
    if signal.role is Role.COUNTER:
        raw = _count_text(signal)
        if len(runs) == 1:
            yield _shifted(raw, runs[0][1])
            return
    elif len(runs) == 1 and not signal.signed:
        yield _shifted(raw, runs[0][1])  # raw numbers have been held against the bits: no mask is needed
        return
    for low_bit, payload_bit, width in runs:
        part = f"{raw} >> {low_bit}" if low_bit else raw
        yield _shifted(f"({part} & {(1 << width) - 1})", payload_bit)


def _count_text(counter: Signal) -> str:
    return f"(count * {counter.counts} % {counter.modulo})"


def _shifted(term: str, bits: int) -> str:
    return f"{term} << {bits}" if bits else term


def _runs(signal: Signal) -> Iterator[tuple[int, int, int]]:
    """(lowest bit within the signal, payload bit it lies in, how many go on upwards together)."""
    places = signal.bit_positions
    start = 0
    for bit in range(1, len(places) + 1):
        if bit == len(places) or places[bit] != places[bit - 1] + 1:
            yield start, places[start], bit - start
            start = bit


def _covered_bytes(message: Message, check: Signal) -> list[int]:
    own = {bit // 8 for bit in check.bit_positions}
    return [byte for byte in range(message.length_bytes) if byte not in own]


def _check_lines(message: Message, check: Signal) -> Iterator[str]:
    checksum = CHECKSUMS[check.crc]
    mask, top = (1 << checksum.width) - 1, checksum.width - 8
    around, turn = [bytes_around(check, turn) for turn in range(turns_of(check))], _turn_text(message, check)
    starts = [checksum_of(check.crc, before) ^ checksum.final_xor for before, _ in around]
    octets = "".join(f"b{byte}, " for byte in range(message.length_bytes))
    yield f" {octets}= p.to_bytes({message.length_bytes}, 'little')"
    yield f" c = {_one_of(starts, turn)}"
    covered = [f"b{byte}" for byte in _covered_bytes(message, check)]
    for byte in covered + [_one_of(behind, turn) for behind in zip(*(behind for _, behind in around), strict=True)]:
        if checksum.reflected:
            yield f" c = c >> 8 ^ table[c & 255 ^ {byte}]"
        elif top == 0:
            yield f" c = table[c ^ {byte}]"
        else:
            yield f" c = c << 8 & {mask} ^ table[c >> {top} ^ {byte}]"
    if checksum.final_xor:
        yield f" c ^= {checksum.final_xor}"
    for low_bit, payload_bit, width in _runs(check):
        share = "c" if width == checksum.width else f"(c >> {low_bit} & {(1 << width) - 1})"
        yield f" p |= {_shifted(share, payload_bit)}"


def _turn_text(message: Message, check: Signal) -> str:
    """Which of the data ids it is, as text over ``count``; no matter where there is one only."""
    counter = counter_of(message)
    return f"{_count_text(counter)} % {turns_of(check)}" if counter else "0"


def _one_of(numbers: Sequence[int], turn: str) -> str:
    return f"{tuple(numbers)}[{turn}]" if len(numbers) > 1 else str(numbers[0])


def _unpack_text(message: Message) -> str:
    raws = ", ".join(_raw_text(signal) for signal in message.signals)
    return f"def made(p):\n return ({raws}{',' if message.signals else ''})\n"


def _raw_text(signal: Signal) -> str:
    parts = []
    for low_bit, payload_bit, width in _runs(signal):
        part = f"p >> {payload_bit}" if payload_bit else "p"
        parts.append(_shifted(f"({part} & {(1 << width) - 1})", low_bit))
    unsigned = " | ".join(parts)
    if not signal.signed:
        return f"({unsigned})"
    half = 1 << (signal.length_bits - 1)
    return f"((({unsigned}) ^ {half}) - {half})"
