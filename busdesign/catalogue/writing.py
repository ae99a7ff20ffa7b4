"""A frozen catalogue back into YAML, in the layout of a file written by hand: one line a node, a code, a signal.

``parse_catalogue(catalogue_text(catalogue))`` equals ``catalogue``, but that the members of a family stand as messages
of their own.
"""

from collections.abc import Iterator, Mapping

from busdesign.catalogue.model import Acceptance, ByteOrder, Catalogue, Function, Message, Role, Signal
from busdesign.catalogue.writing_wires import bus_lines, node_parts
from busdesign.catalogue.yaml_text import Parts, block, duration, flow, given, number, text, words


def catalogue_text(catalogue: Catalogue) -> str:
    """The YAML text of ``catalogue``.

    Raises ValueError for a quantity that no decimal number says, such as a bit rate of 1/3 bit/s.
    """
    lines = [f"catalogue: {text(catalogue.name)}", f"revision: {catalogue.revision}"]
    if catalogue.comment:
        lines.append(f"comment: {text(catalogue.comment)}")
    lines += ["", "bus:", *bus_lines(catalogue.bus), "", "nodes:"]
    for name, node in catalogue.nodes.items():
        lines.append(f"  {text(name)}: {flow(node_parts(node))}")
    if catalogue.codes:
        lines += ["", "codes:"]
        lines += [f"  {text(name)}: {_codes(codes)}" for name, codes in catalogue.codes.items()]
    lines += ["", "messages:"]
    for message in catalogue.messages:
        lines += [f"  {text(message.name)}:", *_message(message, catalogue)]
    if catalogue.functions:
        lines += ["", "functions:"]
        for function in catalogue.functions:
            lines.append(f"  {text(function.name)}: {flow(_function(function))}")
    return "\n".join([*lines, ""])


def _message(message: Message, catalogue: Catalogue) -> Iterator[str]:
    has_form = not message.is_remote
    period = duration(message.period_ns)
    parts = {
        "requests": message.requests or None,
        "id": None if message.identifier is None or not has_form else f"0x{message.identifier:X}",
        "extended": "true" if message.extended and has_form else None,
        "from": text(message.sender),
        "to": words(message.receivers) if message.receivers else None,
        "every": None if message.irregular else period,
        "irregular": flow({"at_least_apart": period}) if message.irregular else None,
        "deadline": duration(message.deadline_ns) if message.deadline_ns != message.period_ns else None,
        "offset": duration(message.offset_ns) if message.offset_ns else None,
        "jitter": duration(message.jitter_ns) if message.jitter_ns else None,
        "lost_after": None if message.lost_after_ns is None else duration(message.lost_after_ns),
        "bytes": str(message.length_bytes) if has_form else None,
        "length_code": None if message.long_code is None or not has_form else str(message.long_code),
        "moves": "true" if message.moves else None,
        "tags": words(message.tags) if message.tags else None,
        "accept": None if message.accept is None else _acceptance(message.accept),
        "comment": text(message.comment) if message.comment else None,
    }
    yield from block(given(parts), 4)
    if message.signals:
        yield "    signals:"
        for signal in message.signals:
            yield f"      {text(signal.name)}: {flow(_signal(signal, catalogue))}"


def _function(function: Function) -> Parts:
    return given(
        {
            "path": words(function.path),
            "within": duration(function.within_ns),
            "age": None if function.age_ns is None else duration(function.age_ns),
            "skew": None if function.skew_ns is None else duration(function.skew_ns),
        }
    )


def _acceptance(accept: Acceptance) -> str:
    good, latest = accept.good_frames
    return flow(
        {
            "good_frames": f"{good} of {latest}",
            "bad_counter": "drop" if accept.drops_bad_counter else "accept",
            "bad_check": "drop" if accept.drops_bad_check else "accept",
            "first_after_reset": "ignore" if accept.ignores_first else "accept",
            "when_lost": "safe" if accept.safe_when_lost else "hold",
        }
    )


def _signal(signal: Signal, catalogue: Catalogue) -> Parts:
    told = (signal.unknown_raw, signal.invalid_raw)
    is_value = signal.role is Role.VALUE
    return given(
        {
            "bits": str(signal.length_bits),
            "start": str(signal.start_bit),
            "byte_order": "big" if signal.byte_order is ByteOrder.BIG else None,
            "signed": "true" if signal.signed else None,
            "float": "true" if signal.is_float else None,
            "when": _when(signal) if signal.selector else None,
            "factor": number(signal.factor) if signal.factor != 1 else None,
            "offset": number(signal.offset) if signal.offset else None,
            "unit": text(signal.unit) if signal.unit else None,
            "range": _range(signal),
            "resolution": None if signal.resolution is None else number(signal.resolution),
            "codes": _codes_of(signal, told, catalogue),
            "unknown": None if signal.unknown_raw is None else str(signal.unknown_raw),
            "invalid": None if signal.invalid_raw is None else str(signal.invalid_raw),
            "constant": str(signal.constant) if signal.role is Role.CONSTANT else None,
            "reserved": "true" if signal.role is Role.RESERVED else None,
            "counts": str(signal.counts) if signal.role is Role.COUNTER else None,
            "modulo": str(signal.modulo) if signal.role is Role.COUNTER and signal.modulo <= signal.raw_max else None,
            "crc": signal.crc if signal.role is Role.CHECK else None,
            "data_id": None if signal.data_id is None else f"0x{signal.data_id:X}",
            "data_id_as": signal.data_id_as if signal.data_id_as != "both" else None,
            "data_ids": f"[{', '.join(map(str, signal.data_ids))}]" if signal.data_ids else None,
            "initial": _value(signal.initial) if is_value and signal.initial is not None else None,
            "safe": None if signal.safe is None else _value(signal.safe),
            "comment": text(signal.comment) if signal.comment else None,
        }
    )


def _when(signal: Signal) -> str:
    return flow({text(signal.selector): f"[{', '.join(map(str, signal.selected_by))}]"})


def _range(signal: Signal) -> str | None:
    if signal.minimum is None or signal.maximum is None:
        return None
    return f"[{number(signal.minimum)}, {number(signal.maximum)}]"


def _codes_of(signal: Signal, told: tuple[int | None, ...], catalogue: Catalogue) -> str | None:
    """By name where shared codes are the very same, else themselves; without the two words that have keys."""
    own = {raw: word for raw, word in signal.codes.items() if raw not in told}
    for name, codes in catalogue.codes.items():
        if dict(codes) == own or (codes and dict(codes) == dict(signal.codes)):
            return text(name)
    return _codes(own) if own else None


def _codes(codes: Mapping[int, str]) -> str:
    return flow({str(raw): text(word) for raw, word in codes.items()})


def _value(value: float | str) -> str:
    return text(value) if isinstance(value, str) else number(value)
