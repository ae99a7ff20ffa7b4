"""From a draft in which no rule found an error to the frozen catalogue."""

from types import MappingProxyType

from busdesign.catalogue.draft import MessageWritten, SignalWritten
from busdesign.catalogue.model import (
    Bus,
    Catalogue,
    Function,
    Harness,
    Message,
    Node,
    Role,
    Signal,
)
from busdesign.catalogue.parts import Draft, MessagePart


def freeze(draft: Draft) -> Catalogue:
    """The catalogue that ``draft`` describes. Only for drafts without errors."""
    return Catalogue(
        name=draft.name,
        revision=draft.revision,
        bus=_bus(draft),
        nodes=MappingProxyType({name: _node(draft, name) for name in draft.nodes}),
        messages=tuple(_message(part, draft) for part in draft.messages),
        codes=MappingProxyType({name: MappingProxyType(dict(codes)) for name, codes in draft.codes.items()}),
        functions=tuple(
            Function(name, written.path, written.within, draft.source.of_key(("functions", name)))
            for name, written in draft.functions.items()
        ),
        comment=draft.comment,
        file=draft.source.file,
    )


def _bus(draft: Draft) -> Bus:
    written = draft.bus
    assert written is not None
    wires = written.harness
    harness = Harness(wires.trunk, wires.longest_stub, wires.termination, draft.source.of_key(("bus", "harness")))
    return Bus(written.bit_rate, written.sample_point, harness, draft.source.of_key(("bus",)))


def _node(draft: Draft, name: str) -> Node:
    written = draft.nodes[name]
    place = draft.source.of_key(("nodes", name))
    return Node(name, written.clock, written.tolerance, written.processing, written.comment, place)


def _message(part: MessagePart, draft: Draft) -> Message:
    written, layout = part.written, part.layout
    assert layout is not None
    period_ns = written.every if written.every is not None else written.irregular and written.irregular.at_least_apart
    assert period_ns
    written_keys = [known.alias or name for name, known in MessageWritten.model_fields.items()]
    places = {key: part.at(key) for key in written_keys if key in _keys_set(written)} | {"": part.at_key()}
    return Message(
        name=part.name,
        identifier=written.id,
        extended=written.extended,
        length_bytes=layout.length_bytes,
        sender=written.sender,
        receivers=written.receivers,
        signals=tuple(_signal(part, name, signal, draft) for name, signal in written.signals.items()),
        period_ns=period_ns,
        irregular=written.irregular is not None,
        deadline_ns=written.deadline or period_ns,
        offset_ns=written.offset,
        jitter_ns=written.jitter,
        lost_after_ns=written.lost_after,
        moves=written.moves,
        accept=MappingProxyType({key: str(value) for key, value in written.accept.items()}),
        family=part.family,
        comment=written.comment,
        places=MappingProxyType(places),
    )


def _keys_set(written: MessageWritten) -> set[str]:
    fields = MessageWritten.model_fields
    return {fields[name].alias or name for name in written.model_fields_set}


def _signal(part: MessagePart, name: str, written: SignalWritten, draft: Draft) -> Signal:
    assert part.layout is not None
    codes = draft.codes[written.codes] if isinstance(written.codes, str) else written.codes or {}
    return Signal(
        name=name,
        start_bit=part.layout.start_bits[name],
        length_bits=written.bits,
        byte_order=part.byte_order_of(name),
        signed=written.signed,
        factor=written.factor,
        offset=written.offset,
        minimum=written.range[0] if written.range else None,
        maximum=written.range[1] if written.range else None,
        unit=written.unit,
        codes=MappingProxyType(dict(codes)),
        role=Role.COUNTER if written.counts else Role.CHECK if written.crc else Role.VALUE,
        counts=written.counts or 1,
        modulo=(written.modulo or 1 << written.bits) if written.counts else 0,
        crc=written.crc or "",
        data_id=written.data_id,
        initial=written.initial,
        comment=written.comment,
        place=part.at_key("signals", name),
    )
