"""Signals that say less, or something else, than their readers will think."""

from collections.abc import Iterable, Iterator

from busdesign.catalogue.advice.told import advice, listed, number, once_each, written_name
from busdesign.catalogue.model import ByteOrder, Catalogue, Message, Role, Signal
from busdesign.catalogue.values import allowed_raws, float_limits, initial_raw, to_value
from busdesign.findings import Finding


def _values(messages: Iterable[Message]) -> Iterator[tuple[Message, Signal]]:
    for message in once_each(messages):
        for signal in message.signals:
            if signal.role is Role.VALUE:
                yield message, signal


def _starting(catalogue: Catalogue) -> Iterator[tuple[Message, Signal]]:
    """What is sent, of messages that come before anybody filled them, as nobody has said how they start."""
    periodic = (message for message in catalogue.messages if not message.irregular)
    for message, signal in _values(periodic):
        if signal.initial is None:
            yield message, signal


def starts_elsewhere(catalogue: Catalogue) -> Iterator[Finding]:
    """Without ``initial`` the bits start as 0, which here is no allowed value: so the nearest one is sent instead."""
    for message, signal in _starting(catalogue):
        if signal.unknown_raw is not None or _may_be_zero(signal):
            continue
        start = to_value(signal, initial_raw(signal))
        said = start if isinstance(start, str) else number(start)
        unit = f" {signal.unit}" if signal.unit and not isinstance(start, str) else ""
        zero = "0" if signal.is_float else "raw 0"
        text = f"`{written_name(message)}.{signal.name}` starts as {said}{unit}, as {zero} is none of its values"
        fix = f"say so, `initial: {_in_yaml(said)}`, or what it is to start with"
        yield advice("starts-elsewhere", signal.place, text, fix)


def _may_be_zero(signal: Signal) -> bool:
    if signal.is_float:
        low, high = float_limits(signal)
        return low <= 0 <= high
    return 0 in allowed_raws(signal)


def _in_yaml(said: str) -> str:
    """``said`` as it may stand behind a key; one of these words is no text there."""
    is_plain = said.replace("_", "").replace(".", "").replace("-", "").replace("+", "").isalnum()
    return said if is_plain and said.lower() not in ("true", "false", "null") else "'" + said.replace("'", "''") + "'"


def starts_as_if_known(catalogue: Catalogue) -> Iterator[Finding]:
    """A signal that can say ``unknown``, and begins with a value that nobody has measured."""
    for message, signal in _starting(catalogue):
        unknown = signal.unknown_raw
        if unknown is None or initial_raw(signal) == unknown:
            continue
        start = to_value(signal, initial_raw(signal))
        said = start if isinstance(start, str) else f"{number(start)}{' ' * bool(signal.unit)}{signal.unit}"
        text = f"`{written_name(message)}.{signal.name}` can say that it is unknown, but starts as {said}, as if known"
        yield advice("starts-as-if-known", signal.place, text, f"`initial: {_in_yaml(signal.codes[unknown])}`")


def number_without_unit(catalogue: Catalogue) -> Iterator[Finding]:
    """Scaled or floating numbers without a unit: a bare 12.5 may be volts or per cent."""
    bare: dict[str, list[Signal]] = {}
    for message, signal in _values(catalogue.messages):
        is_scaled = signal.is_float or signal.factor != 1 or signal.offset != 0
        if is_scaled and not signal.unit and not signal.only_codes:
            bare.setdefault(written_name(message), []).append(signal)
    for name, signals in bare.items():
        names = listed([f"{name}.{signal.name}" for signal in signals])
        text = f"{names} {'is a number' if len(signals) == 1 else 'are numbers'} without a unit"
        fix = "add what it is, such as `unit: mm`; a pure ratio can say `unit: '1'`"
        yield advice("number-without-unit", signals[0].place, text, fix)


def mixed_byte_orders(catalogue: Catalogue) -> Iterator[Finding]:
    """Signals of both byte orders that go on beyond a byte, in one message."""
    for message in once_each(message for message in catalogue.messages if len(_orders(message)) > 1):
        first, other = _orders(message).values()
        text = (
            f"in `{written_name(message)}`, `{first.name}` is {first.byte_order.value}-endian and `{other.name}` is "
            f"{other.byte_order.value}-endian: whoever unpacks it by hand gets one of them wrong"
        )
        fix = f"one order for the whole message, such as `byte_order: {first.byte_order.value}`"
        yield advice("mixed-byte-orders", other.place_of("byte_order"), text, fix)


def _orders(message: Message) -> dict[ByteOrder, Signal]:
    """The first signal of each byte order that lies in more than one byte."""
    found: dict[ByteOrder, Signal] = {}
    for signal in message.signals:
        if len({bit // 8 for bit in signal.bit_positions}) > 1:
            found.setdefault(signal.byte_order, signal)
    return found


def one_name_two_meanings(catalogue: Catalogue) -> Iterator[Finding]:
    """Two signals of one name, said by one node, in different units or with different numbers for one word."""
    first: dict[tuple[str, str], tuple[Message, Signal]] = {}
    for message, signal in _values(catalogue.messages):
        other_message, other = first.setdefault((message.sender, signal.name), (message, signal))
        differing = _differing(other, signal)
        if differing:
            text = (
                f"`{written_name(message)}.{signal.name}` {differing[1]}, but "
                f"`{written_name(other_message)}.{other.name}` {differing[0]}"
            )
            fix = "say it one way, or call one of them otherwise"
            yield advice("one-name-two-meanings", signal.place_of("unit" if signal.unit else "codes"), text, fix)


def _differing(one: Signal, other: Signal) -> tuple[str, str] | None:
    if one.unit and other.unit and one.unit != other.unit:
        return f"is in {one.unit}", f"is in {other.unit}"
    if one.only_codes and other.only_codes:
        numbers = {word: raw for raw, word in one.codes.items()}
        for raw, word in other.codes.items():
            if word in ("unknown", "invalid"):
                continue
            if numbers.get(word, raw) != raw:
                return f"says `{word}` by {numbers[word]}", f"says `{word}` by {raw}"
    return None
