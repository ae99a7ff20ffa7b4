"""What kind of thing a signal is: a float, a constant, reserved bits; and the numbers that mean no value."""

from collections.abc import Iterator

from busdesign.catalogue.draft import SignalWritten
from busdesign.catalogue.model import Role
from busdesign.catalogue.parts import Draft, MessagePart
from busdesign.catalogue.values import FLOAT_BITS, Scale, told
from busdesign.findings import Finding, counted, error

_WHOLE_ONLY = ("signed", "codes", "unknown", "invalid", "counts", "crc", "constant", "reserved")
_OF_VALUES = ("factor", "offset", "range", "initial", "safe", "resolution", "unknown", "invalid")


def float_signal(draft: Draft) -> Iterator[Finding]:
    """A float signal of another size than IEEE 754 has, or with keys of whole numbers."""
    for message in draft.messages:
        for name, signal in message.written.signals.items():
            if not signal.is_float:
                continue
            if signal.bits not in FLOAT_BITS:
                text = f"`{name}` is a float signal of {counted(signal.bits, 'bit')}; IEEE 754 has 32 or 64 of them"
                fix = f"write `bits: {32 if signal.bits <= 32 else 64}`"
                yield error("float", message.at("signals", name, "bits"), text, fix)
            for key in _keys(signal, _WHOLE_ONLY):
                text = f"`{name}` is a float signal; `{key}` belongs to whole numbers"
                yield error("float", message.at_key("signals", name, key), text, f"remove `{key}`, or `float`")
            if signal.range is not None and signal.range[0] > signal.range[1]:
                text = f"the range of `{name}` runs from {told(signal.range[0])} down to {told(signal.range[1])}"
                fix = f"write `range: [{told(signal.range[1])}, {told(signal.range[0])}]`"
                yield error("range-upside-down", message.at("signals", name, "range"), text, fix)


def constant_or_reserved(draft: Draft) -> Iterator[Finding]:
    """A constant that its bits cannot hold; a constant or reserved bits with keys of a value."""
    for message in draft.messages:
        for name, signal in message.written.signals.items():
            if signal.constant is None and not signal.reserved:
                continue
            rule, what = ("reserved", "reserved bits") if signal.reserved else ("constant", "a constant")
            others = ("constant", "codes", "counts", "crc") if signal.reserved else ("counts", "crc")
            for key in _keys(signal, (*others, *_OF_VALUES)):
                text = f"`{name}` is {what}; `{key}` does not go with that"
                yield error(rule, message.at_key("signals", name, key), text, f"remove `{key}`")
            if signal.constant is not None:
                yield from _outside_bits("constant", message, name, signal, "constant", signal.constant)


def no_value(draft: Draft) -> Iterator[Finding]:
    """``unknown`` or ``invalid`` that the bits cannot hold, or that means something else, or lies among the values."""
    for message in draft.messages:
        for name, signal in message.written.signals.items():
            for key, raw in (("unknown", signal.unknown), ("invalid", signal.invalid)):
                if raw is not None and not signal.is_float and signal.role is Role.VALUE:
                    yield from _about_no_value(draft, message, name, signal, key, raw)


def _about_no_value(
    draft: Draft, message: MessagePart, name: str, signal: SignalWritten, key: str, raw: int
) -> Iterator[Finding]:
    outside = list(_outside_bits("no-value", message, name, signal, key, raw))
    yield from outside
    if outside or signal.factor == 0:
        return
    where = message.at("signals", name, key)
    codes = draft.codes.get(signal.codes, {}) if isinstance(signal.codes, str) else signal.codes or {}
    if raw in codes and codes[raw] != key:
        yield error("no-value", where, f"raw {raw} of `{name}` means `{codes[raw]}` already", "take a free number")
    elif any(word == key and other != raw for other, word in codes.items()):
        text = f"`{key}` of `{name}` is raw {raw}, but another of its codes is called `{key}` too"
        yield error("no-value", where, text, "rename that code, or leave one of the two out")
    elif key == "invalid" and raw == signal.unknown:
        text = f"raw {raw} of `{name}` is `unknown` already"
        yield error("no-value", where, text, "take another number, or keep one of the two")
    elif signal.codes is None:
        least, most = signal.range or (None, None)
        scale = Scale(signal.bits, signal.signed, signal.factor, signal.offset, least, most)
        low, high = scale.raw_limits()
        if low <= raw <= high:
            text = f"raw {raw} of `{name}` is {told(scale.number(raw))}, a value like any other"
            yield error("no-value", where, text, _range_without(scale, raw, low, high))


def _range_without(scale: Scale, raw: int, low: int, high: int) -> str:
    last = raw - 1 if high - raw < raw - low else high
    first = low if high - raw < raw - low else raw + 1
    least, most = sorted((scale.number(first), scale.number(last)))
    return f"`range: [{told(least)}, {told(most)}]` would leave it out"


def _outside_bits(
    rule: str, message: MessagePart, name: str, signal: SignalWritten, key: str, raw: int
) -> Iterator[Finding]:
    low, high = Scale(signal.bits, signal.signed).raw_reach
    if not low <= raw <= high:
        text = f"`{key}` of `{name}` is raw {raw}, but {counted(signal.bits, 'bit')} hold {low} to {high}"
        fix = f"`{high}` is the greatest" if raw > high else f"`{low}` is the least"
        yield error(rule, message.at("signals", name, key), text, fix)


def _keys(signal: SignalWritten, keys: tuple[str, ...]) -> list[str]:
    return [key for key in keys if getattr(signal, key) != SignalWritten.model_fields[key].default]
