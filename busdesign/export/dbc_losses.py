"""What of a catalogue is not in its DBC file, or not exactly: said once for each kind, so that nothing goes in silence.

What stands in an attribute of our own (``dbc_timing``, ``dbc_attributes``) is not lost, and not listed.
"""

from collections.abc import Iterable, Iterator
from fractions import Fraction

from busdesign.catalogue.model import Catalogue, Message, Role, Signal
from busdesign.catalogue.model_wires import Harness
from busdesign.catalogue.values import initial_raw
from busdesign.export.dbc_pages import MAX_NAME_LETTERS, written_signals
from busdesign.export.dbc_refusals import is_name
from busdesign.export.dbc_timing import CYCLE_TIME, MAX_INTEGER, PERIOD, cycle_time_ms, exact_duration, is_exact
from busdesign.findings import Finding, Place, Severity, sort_findings
from busdesign.units import format_bit_rate, format_ratio

Named = tuple[str, Place | None]


def losses_of(catalogue: Catalogue) -> tuple[Finding, ...]:
    """Advice on everything that ``dbc.render`` leaves out or alters, sorted by place."""
    left_out = [*_of_the_bus(catalogue), *_of_nodes(catalogue), *_of_messages(catalogue), *_of_signals(catalogue)]
    altered = [*_rounded_bit_rate(catalogue), *_cut_names(catalogue)]
    for message in catalogue.messages:
        if message.is_remote:
            continue
        altered += _rounded_period(message)
        for signal in written_signals(message):
            altered += _altered_signal(message, signal)
    return sort_findings(left_out + altered)


def _of_the_bus(catalogue: Catalogue) -> Iterator[Finding]:
    bus, wires = catalogue.bus, catalogue.bus.harness
    yield _left_out(f"the sample point ({format_ratio(bus.sample_point)})", [("", bus.place)])
    if bus.load_limit is not None:
        yield _left_out(f"the greatest load that may be asked for ({format_ratio(bus.load_limit)})", [("", bus.place)])
    if bus.errors is not None:
        yield _left_out("how often errors may come", [("", bus.place)])
    if wires != Harness():
        yield _left_out("the harness", [("", wires.place or bus.place)])
    if bus.supply_v is not None:
        yield _left_out("the supply of the nodes", [("", bus.place)])
    promises = [(function.name, function.place) for function in catalogue.functions]
    yield from _if_any("functions and the time they promise", promises)
    whole = Place(catalogue.file, 1, 1) if catalogue.file else None
    unspelt = [(table, whole) for table in sorted(catalogue.codes) if not is_table_name(table)]
    yield from _if_any("codes by these names (signals keep their own copies)", unspelt)


def is_table_name(name: str) -> bool:
    """Whether shared codes can stand in the file under ``name``, which nothing would cut or replace."""
    return is_name(name) and len(name) <= MAX_NAME_LETTERS


def _of_nodes(catalogue: Catalogue) -> Iterator[Finding]:
    nodes = catalogue.nodes.values()
    timed = [(node.name, node.place) for node in nodes if node.clock_hz is not None or node.tolerance]
    yield from _if_any("the clock of a node and its tolerance", timed)
    for what, attribute in (
        ("the limits of a node's controller", "controller"),
        ("the bit timing of a node", "timing"),
        ("the transceiver of a node", "transceiver"),
        ("where a node's transceiver still hears (`common_mode`)", "common_mode_v"),
        ("the supply of a node", "supply"),
        ("the order in which a node offers its frames", "transmit"),
        ("the receive FIFO of a node", "receive"),
    ):
        having = [(node.name, node.place) for node in nodes if getattr(node, attribute) is not None]
        yield from _if_any(what, having)
    busy = [(node.name, node.place) for node in nodes if node.processing_ns]
    yield from _if_any("the processing time of a node", busy)


def _of_messages(catalogue: Catalogue) -> Iterator[Finding]:
    messages = catalogue.messages
    unheard = [
        message for message in messages if message.receivers and not message.is_remote and not written_signals(message)
    ]
    yield from _if_any("the receivers of a message without signals", _named(unheard, "to"))
    for message in messages:
        if message.is_remote:
            yield from _of_a_request(message)
    coded = [message for message in messages if message.long_code is not None and not message.is_remote]
    yield from _if_any("a length code above 8", _named(coded, "length_code"))
    members = [message for message in messages if message.family]
    yield from _if_any("that messages were written as one (`for_each`)", _named(members, ""))


def _of_a_request(request: Message) -> Iterator[Finding]:
    """All but its name, its sender and how often it comes, which stand in attributes of the message it asks for."""
    lost = {
        "to": bool(request.receivers),
        "deadline": request.deadline_ns != request.period_ns,
        "offset": bool(request.offset_ns),
        "jitter": bool(request.jitter_ns),
        "lost_after": request.lost_after_ns is not None,
        "moves": request.moves,
        "tags": bool(request.tags),
        "accept": request.accept is not None,
        "comment": bool(request.comment),
    }
    keys = [key for key, is_said in lost.items() if is_said]
    if keys:
        listed = ", ".join(f"`{key}`" for key in keys)
        yield _left_out(f"a remote request, so that it has no {listed}", _named([request], keys[0]))


def _of_signals(catalogue: Catalogue) -> Iterator[Finding]:
    for role, what in (
        (Role.RESERVED, "reserved bits, which it takes for free ones"),
        (Role.CHECK, "that a signal is a check, with its algorithm and `data_id`"),
        (Role.COUNTER, "that a signal is a counter, with its step"),
    ):
        places: dict[str, Place | None] = {}
        for message in catalogue.messages:
            for signal in message.signals:
                if signal.role is role:
                    places.setdefault(message.family or message.name, signal.place or message.place_of("signals"))
        yield from _if_any(what, list(places.items()))


def _rounded_bit_rate(catalogue: Catalogue) -> Iterator[Finding]:
    exact = catalogue.bus.bit_rate_bit_s
    if exact.denominator == 1 and exact <= MAX_INTEGER:
        return
    said = f"written as {round(exact)} bit/s" if _is_writable(exact) else "not written: out of range"
    yield _altered(catalogue.bus.place, f"the bit rate of {format_bit_rate(exact)} is {said}; DBC takes whole bit/s")


def _is_writable(bit_rate_bit_s: Fraction) -> bool:
    return 1 <= round(bit_rate_bit_s) <= MAX_INTEGER


def written_bit_rate_bit_s(catalogue: Catalogue) -> int | None:
    """The bit rate as a whole number, or None where DBC has no room for it."""
    exact = catalogue.bus.bit_rate_bit_s
    return round(exact) if _is_writable(exact) else None


def _cut_names(catalogue: Catalogue) -> Iterator[Finding]:
    names = [("node", node.name, node.place) for node in catalogue.nodes.values()]
    for message in catalogue.messages:
        if message.is_remote:
            continue
        names.append(("message", message.name, message.place_of()))
        signals = written_signals(message)
        names += [("signal", signal.name, signal.place or message.place_of("signals")) for signal in signals]
    for what, name, where in names:
        if len(name) > MAX_NAME_LETTERS:
            text = f"the {what} name `{name}` has {len(name)} letters; DBC cuts it to {MAX_NAME_LETTERS}"
            yield _altered(where, f"{text}, and has it whole in an attribute")


def _rounded_period(message: Message) -> Iterator[Finding]:
    if is_exact(message):
        return
    name, exact, written_ms = message.family or message.name, exact_duration(message.period_ns), cycle_time_ms(message)
    said = f"{written_ms} ms" if written_ms else "none"
    text = f"the period of `{name}`, {exact}, is written as {said} in `{CYCLE_TIME}`; `{PERIOD}` has it exactly"
    yield _altered(message.place_of("every"), text)


def _altered_signal(message: Message, signal: Signal) -> Iterator[Finding]:
    where = signal.place or message.place_of("signals")
    name = f"{message.family or message.name}.{signal.name}"
    if signal.minimum == 0 and signal.maximum == 0:
        yield _altered(where, f"the range 0 to 0 of `{name}` reads as no range at all in DBC")
    start = 0 if signal.is_float else initial_raw(signal)
    if float(start) != start:
        yield _altered(where, f"the start value of `{name}`, raw {start}, is written as the float nearest to it")


def _named(messages: Iterable[Message], key: str) -> list[Named]:
    """Each of ``messages``, or the family it was written in, with the first place of ``key``."""
    places: dict[str, Place | None] = {}
    for message in messages:
        places.setdefault(message.family or message.name, message.place_of(key))
    return list(places.items())


def _if_any(what: str, named: list[Named]) -> Iterator[Finding]:
    if named:
        yield _left_out(what, named)


def _left_out(what: str, named: list[Named], most: int = 8) -> Finding:
    names = [f"`{name}`" for name, _ in named if name]
    listed = ", ".join(names[:most]) + (f" ... ({len(names)} in all)" if len(names) > most else "")
    text = f"DBC has no word for {what}" + (f": {listed}" if names else "")
    return Finding("dbc-left-out", Severity.ADVICE, named[0][1], text)


def _altered(where: Place | None, text: str) -> Finding:
    return Finding("dbc-altered", Severity.ADVICE, where, text)
