"""Counters and checks: the signals that the codec fills in, and what does not go with that."""

from collections.abc import Iterator

from busdesign.catalogue.checksums import CHECKSUMS
from busdesign.catalogue.draft import SignalWritten
from busdesign.catalogue.edits import other_word, word_meant
from busdesign.catalogue.parts import Draft, MessagePart
from busdesign.findings import Finding, counted, did_you_mean, error

_MAX_BITS = 64
_OF_VALUES = (
    "signed",
    "factor",
    "offset",
    "range",
    "codes",
    "initial",
    "safe",
    "resolution",
    "unknown",
    "invalid",
    "when",
)


def counter(draft: Draft) -> Iterator[Finding]:
    """A counter whose step or modulo does not go with its bits; ``modulo`` where no counter is."""
    for message in draft.messages:
        for name, signal in message.written.signals.items():
            if signal.counts is not None:
                yield from _not_a_value(message, name, signal, "counter", "a plain number from 0 up")
                yield from _about_counter(message, name, signal, signal.counts)
            elif signal.modulo is not None:
                where = message.at_key("signals", name, "modulo")
                text = f"`modulo` belongs to a counter, and `{name}` is none"
                yield error("counter", where, text, "add `counts: 1`")


def _about_counter(message: MessagePart, name: str, signal: SignalWritten, counts: int) -> Iterator[Finding]:
    reach = 1 << signal.bits
    if signal.crc is not None:
        text = f"`{name}` is a counter (`counts`) and a check (`crc`) at once"
        yield error("counter", message.at_key("signals", name, "crc"), text, "make them two signals")
    if signal.modulo is not None and signal.modulo > reach:
        text = f"`{name}` counts modulo {signal.modulo}, but {reach - 1} is the most in {counted(signal.bits, 'bit')}"
        bits = (signal.modulo - 1).bit_length()
        fix = f"`bits: {bits}` would hold it" if bits <= _MAX_BITS else f"`modulo: {reach}` is the most"
        yield error("counter", message.at("signals", name, "modulo"), text, fix)
    elif counts >= (signal.modulo or reach):
        text = f"`{name}` steps by {counts}, which is no step modulo {signal.modulo or reach}"
        yield error("counter", message.at("signals", name, "counts"), text, "`counts: 1` is usual")


def check(draft: Draft) -> Iterator[Finding]:
    """A CRC by an unknown name, of another width than its bits, or a second one; ``data_id`` where no check is."""
    for message in draft.messages:
        checks = [name for name, signal in message.written.signals.items() if signal.crc is not None]
        for name, signal in message.written.signals.items():
            if signal.crc is not None:
                yield from _not_a_value(message, name, signal, "check", "a plain number that the sender works out")
                yield from _about_check(message, name, signal.crc, signal.bits, checks[0])
            elif signal.data_id is not None:
                where = message.at_key("signals", name, "data_id")
                text = f"`data_id` belongs to a check, and `{name}` is none"
                yield error("check", where, text, "add `crc: crc8-j1850`")


def _about_check(message: MessagePart, name: str, crc: str, bits: int, first: str) -> Iterator[Finding]:
    where = message.at("signals", name, "crc")
    if crc not in CHECKSUMS:
        hint = did_you_mean(crc, CHECKSUMS)
        edit = other_word(where, crc, word_meant(crc, CHECKSUMS, hint, closed=True))
        yield error("check", where, f"no check is called `{crc}`", hint, edit)
    elif CHECKSUMS[crc].width != bits:
        text = f"`{crc}` makes {CHECKSUMS[crc].width} bits, but `{name}` has {bits}"
        yield error("check", message.at("signals", name, "bits"), text, f"write `bits: {CHECKSUMS[crc].width}`")
    if name != first:
        text = f"`{name}` is a second check; `{first}` covers all other bytes already"
        yield error("check", where, text, "keep one of them")


def _not_a_value(message: MessagePart, name: str, signal: SignalWritten, what: str, why: str) -> Iterator[Finding]:
    plain = {key: SignalWritten.model_fields[key].default for key in _OF_VALUES}
    for key in _OF_VALUES:
        if getattr(signal, key) != plain[key]:
            text = f"`{name}` is a {what}, {why}; `{key}` does not go with that"
            yield error(what, message.at_key("signals", name, key), text, f"remove `{key}`")
