"""Values: what a signal's bits, factor, range and codes can say together."""

from collections.abc import Iterator, Mapping
from fractions import Fraction

from busdesign.catalogue.checksums import CHECKSUMS
from busdesign.catalogue.draft import SignalWritten
from busdesign.catalogue.parts import Draft, MessagePart
from busdesign.findings import Finding, Place, did_you_mean, error


def _signals(draft: Draft) -> Iterator[tuple[MessagePart, str, SignalWritten]]:
    for message in draft.messages:
        for name, signal in message.written.signals.items():
            yield message, name, signal


def _raw_reach(signal: SignalWritten) -> tuple[int, int]:
    if signal.signed:
        return -(1 << (signal.bits - 1)), (1 << (signal.bits - 1)) - 1
    return 0, (1 << signal.bits) - 1


def unknown_codes(draft: Draft) -> Iterator[Finding]:
    """``codes: name`` where no such enumeration stands under ``codes``."""
    for message, name, signal in _signals(draft):
        if isinstance(signal.codes, str) and signal.codes not in draft.codes:
            text = f"there are no codes called `{signal.codes}`"
            yield error(
                "unknown-codes", message.at("signals", name, "codes"), text, did_you_mean(signal.codes, draft.codes)
            )


def code_outside_bits(draft: Draft) -> Iterator[Finding]:
    """A code that the bits cannot hold."""
    for message, name, signal in _signals(draft):
        codes = _codes(signal, draft)
        low, high = _raw_reach(signal)
        beyond = [raw for raw in codes if not low <= raw <= high]
        if beyond:
            worst = max(beyond, key=abs)
            text = f"code {worst} (`{codes[worst]}`) is outside {signal.bits} bits, which hold {low} to {high}"
            bits = max(raw.bit_length() + int(signal.signed) for raw in codes)
            fix = f"`bits: {bits}` would do" if min(beyond) >= 0 or signal.signed else "add `signed: true`"
            yield error("code-outside-bits", message.at("signals", name, "codes"), text, fix)


def duplicate_code(draft: Draft) -> Iterator[Finding]:
    """One word for two numbers: an expectation or an encoder could not know which is meant."""
    for name, codes in draft.codes.items():
        yield from _twice(codes, {raw: draft.source.of_value(("codes", name, raw)) for raw in codes})
    for message, name, signal in _signals(draft):
        if isinstance(signal.codes, dict):
            places = {raw: message.at("signals", name, "codes", raw) for raw in signal.codes}
            yield from _twice(signal.codes, places)


def _twice(codes: Mapping[int, str], places: Mapping[int, Place]) -> Iterator[Finding]:
    first: dict[str, int] = {}
    for raw, word in codes.items():
        if word in first:
            text = f"`{word}` is the word for {first[word]} already, and for {raw} too"
            yield error("duplicate-code", places[raw], text, f"write `{word}_{raw}` or another word")
        first.setdefault(word, raw)


def _codes(signal: SignalWritten, draft: Draft) -> Mapping[int, str]:
    if isinstance(signal.codes, str):
        return draft.codes.get(signal.codes, {})
    return signal.codes or {}


def range_out_of_reach(draft: Draft) -> Iterator[Finding]:
    """A factor of zero, a range upside down, or one that the bits do not reach with factor and offset."""
    for message, name, signal in _signals(draft):
        if signal.factor == 0:
            where = message.at("signals", name, "factor")
            yield error("factor-zero", where, f"`{name}` has factor 0: every value would read the same")
            continue
        if signal.range is None:
            continue
        where = message.at("signals", name, "range")
        least, most = signal.range
        if least > most:
            fix = f"write `range: [{most:g}, {least:g}]`"
            yield error("range-upside-down", where, f"the range of `{name}` runs from {least:g} down to {most:g}", fix)
            continue
        yield from _beyond(message, name, signal, least, most)


def _beyond(message: MessagePart, name: str, signal: SignalWritten, least: float, most: float) -> Iterator[Finding]:
    factor, offset = Fraction(repr(signal.factor)), Fraction(repr(signal.offset))
    reach = sorted(raw * factor + offset for raw in _raw_reach(signal))
    if reach[0] <= Fraction(repr(least)) and Fraction(repr(most)) <= reach[1]:
        return
    unit = f" {signal.unit}" if signal.unit else ""
    text = (
        f"`{name}` is {signal.bits} bits and reaches {float(reach[0]):g} to {float(reach[1]):g}{unit}, "
        f"but its range goes from {least:g} to {most:g}{unit}"
    )
    ends = [(Fraction(repr(limit)) - offset) / factor for limit in (least, most)]
    if min(ends) < 0 and not signal.signed:
        fix = f"`offset: {least:g}` or `signed: true` would reach below" if factor > 0 else "look at factor and offset"
    else:
        bits = max((-(-end.numerator // end.denominator)).bit_length() for end in ends) + int(signal.signed)
        fix = f"`bits: {bits}` would reach it" if bits <= 64 else "look at factor and offset"
    yield error("range-out-of-reach", message.at("signals", name, "range"), text, fix)


def counter_out_of_range(draft: Draft) -> Iterator[Finding]:
    """A counter whose modulo the bits cannot hold, or a modulo, step or check where none belongs."""
    for message, name, signal in _signals(draft):
        if signal.modulo is not None and signal.counts is None:
            where = message.at_key("signals", name, "modulo")
            yield error("counter", where, f"`modulo` belongs to a counter, and `{name}` is none", "add `counts: 1`")
        if signal.counts is None:
            continue
        reach = 1 << signal.bits
        if signal.modulo is not None and signal.modulo > reach:
            text = f"`{name}` counts modulo {signal.modulo}, but {signal.bits} bits hold 0 to {reach - 1}"
            fix = f"`bits: {(signal.modulo - 1).bit_length()}` would do"
            yield error("counter", message.at("signals", name, "modulo"), text, fix)
        if signal.counts >= (signal.modulo or reach):
            text = f"`{name}` steps by {signal.counts}, which is no step modulo {signal.modulo or reach}"
            yield error("counter", message.at("signals", name, "counts"), text, "`counts: 1` is usual")
        odd = [key for key in ("signed", "range", "codes", "crc", "initial") if getattr(signal, key)]
        if odd or signal.factor != 1 or signal.offset != 0:
            what = odd[0] if odd else "factor" if signal.factor != 1 else "offset"
            text = f"`{name}` is a counter, a plain number from 0 up; `{what}` does not go with that"
            yield error("counter", message.at_key("signals", name, what), text, f"remove `{what}`")


def unknown_check(draft: Draft) -> Iterator[Finding]:
    """A CRC by a name nobody knows, of another width than its bits, or a second one in the message."""
    for message, name, signal in _signals(draft):
        if signal.data_id is not None and not signal.crc:
            where = message.at_key("signals", name, "data_id")
            yield error("check", where, f"`data_id` belongs to a check, and `{name}` is none", "add `crc: crc8-j1850`")
        if not signal.crc:
            continue
        where = message.at("signals", name, "crc")
        if signal.crc not in CHECKSUMS:
            yield error("check", where, f"no check is called `{signal.crc}`", did_you_mean(signal.crc, CHECKSUMS))
        elif CHECKSUMS[signal.crc].width != signal.bits:
            width = CHECKSUMS[signal.crc].width
            text = f"`{signal.crc}` makes {width} bits, but `{name}` has {signal.bits}"
            yield error("check", message.at("signals", name, "bits"), text, f"write `bits: {width}`")
        checks = [other for other, written in message.written.signals.items() if written.crc]
        if name != checks[0]:
            text = f"`{name}` is a second check; `{checks[0]}` covers all other bytes already"
            yield error("check", where, text, "keep one of them")


def initial_out_of_range(draft: Draft) -> Iterator[Finding]:
    """A value to start with that the signal cannot say."""
    for message, name, signal in _signals(draft):
        if signal.initial is None or signal.factor == 0:
            continue
        where = message.at("signals", name, "initial")
        codes = _codes(signal, draft)
        if isinstance(signal.initial, str):
            if signal.initial not in codes.values():
                hint = did_you_mean(signal.initial, codes.values())
                yield error("initial-out-of-range", where, f"`{signal.initial}` is no code of `{name}`", hint)
            continue
        factor, offset = Fraction(repr(signal.factor)), Fraction(repr(signal.offset))
        reach = sorted(raw * factor + offset for raw in _raw_reach(signal))
        least, most = [Fraction(repr(limit)) for limit in signal.range] if signal.range else reach
        if not least <= Fraction(repr(signal.initial)) <= most:
            text = f"`{name}` starts with {signal.initial:g}, outside {float(least):g} to {float(most):g}"
            yield error("initial-out-of-range", where, text)
