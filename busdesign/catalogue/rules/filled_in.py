"""Counters and checks: the signals that the codec fills in, and what does not go with that."""

from collections.abc import Iterator

from busdesign.catalogue.checksums import CHECKSUMS
from busdesign.catalogue.draft import SignalWritten
from busdesign.catalogue.edits import other_word, word_meant
from busdesign.catalogue.model import MAX_SIGNAL_BITS
from busdesign.catalogue.parts import Draft, MessagePart
from busdesign.findings import Finding, counted, did_you_mean, error

_DATA_IDS = ("data_id", "data_id_as", "data_ids")
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
        fix = f"`bits: {bits}` would hold it" if bits <= MAX_SIGNAL_BITS else f"`modulo: {reach}` is the most"
        yield error("counter", message.at("signals", name, "modulo"), text, fix)
    elif counts >= (signal.modulo or reach):
        text = f"`{name}` steps by {counts}, which is no step modulo {signal.modulo or reach}"
        yield error("counter", message.at("signals", name, "counts"), text, "`counts: 1` is usual")


def check(draft: Draft) -> Iterator[Finding]:
    """A CRC by an unknown name, of another width than its bits, or a second one; data ids where no check is."""
    for message in draft.messages:
        checks = [name for name, signal in message.written.signals.items() if signal.crc is not None]
        for name, signal in message.written.signals.items():
            if signal.crc is not None:
                yield from _not_a_value(message, name, signal, "check", "a plain number that the sender works out")
                yield from _about_check(message, name, signal.crc, signal.bits, checks[0])
                yield from _about_data_ids(message, name, signal)
            for key in _DATA_IDS:
                if signal.crc is None and getattr(signal, key) is not None:
                    where = message.at_key("signals", name, key)
                    text = f"`{key}` belongs to a check, and `{name}` is none"
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


def _about_data_ids(message: MessagePart, name: str, signal: SignalWritten) -> Iterator[Finding]:
    at = ("signals", name)
    if signal.data_ids is not None and signal.data_id is not None:
        text = f"`{name}` has a `data_id` and a list of `data_ids`"
        yield error("check", message.at_key(*at, "data_ids"), text, "keep one of the two")
    if signal.data_id_as is not None and signal.data_id is None:
        text = f"`data_id_as` says how a `data_id` is covered, and `{name}` has none"
        yield error("check", message.at_key(*at, "data_id_as"), text, "add `data_id`, or remove it")
    key = "data_ids" if signal.data_ids is not None else "data_id_as" if signal.data_id_as == "alternate" else ""
    counter = next((one for one in message.written.signals.values() if one.counts is not None), None)
    if key and counter is None:
        text = f"the counter chooses the data id that `{name}` covers, and `{message.written_name}` has none"
        yield error("check", message.at_key(*at, key), text, "add `counter: {bits: 4, counts: 1}`")
    elif signal.data_ids is not None and counter is not None:
        turns = counter.modulo or 1 << counter.bits
        if len(signal.data_ids) != turns:
            text = f"`{name}` has {len(signal.data_ids)} data ids, but the counter has {turns} numbers to choose one by"
            yield error("check", message.at(*at, "data_ids"), text, "list one for each of them")


def _not_a_value(message: MessagePart, name: str, signal: SignalWritten, what: str, why: str) -> Iterator[Finding]:
    plain = {key: SignalWritten.model_fields[key].default for key in _OF_VALUES}
    for key in _OF_VALUES:
        if getattr(signal, key) != plain[key]:
            text = f"`{name}` is a {what}, {why}; `{key}` does not go with that"
            yield error(what, message.at_key("signals", name, key), text, f"remove `{key}`")
