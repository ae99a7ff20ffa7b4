"""From a draft in which no rule found an error to the frozen catalogue."""

from functools import cache
from types import MappingProxyType

from busdesign.catalogue.draft import AcceptWritten, FunctionWritten, MessageWritten, SignalWritten
from busdesign.catalogue.freeze_wires import bus_of, node_of, places_of
from busdesign.catalogue.model import Acceptance, Catalogue, Function, Message, Signal
from busdesign.catalogue.parts import Draft, FunctionPart, MessagePart
from busdesign.findings import Place


def freeze(draft: Draft) -> Catalogue:
    """The catalogue that ``draft`` describes. Only for drafts without errors."""
    assert draft.bus is not None
    places: dict[tuple[str, ...], Place] = {
        ("codes", name): draft.source.of_key(("codes", name)) for name in draft.codes
    }
    return Catalogue(
        name=draft.name,
        revision=draft.revision,
        bus=bus_of(draft.bus, draft.source),
        nodes=MappingProxyType({name: node_of(name, node, draft.source) for name, node in draft.nodes.items()}),
        messages=tuple(_message(part, draft) for part in draft.messages),
        codes=MappingProxyType({name: MappingProxyType(dict(codes)) for name, codes in draft.codes.items()}),
        functions=tuple(_function(part) for part in draft.functions),
        comment=draft.comment,
        file=draft.source.file,
        files=(draft.source.file, *draft.source.included),
        places=MappingProxyType(places | dict(places_of(draft.source))),
    )


def _message(part: MessagePart, draft: Draft) -> Message:
    written = part.written
    form = draft.requested_by(part) or part  # a remote frame bears the identifier and the length of what it asks for
    assert form.layout is not None
    period_ns = written.every if written.every is not None else written.irregular and written.irregular.at_least_apart
    assert period_ns
    written_keys = [known.alias or name for name, known in MessageWritten.model_fields.items()]
    places = {key: part.at(key) for key in written_keys if key in _keys_set(written)} | {"": part.at_key()}
    return Message(
        name=part.name,
        identifier=form.written.id,
        extended=form.written.extended,
        length_bytes=form.layout.length_bytes,
        long_code=form.written.length_code,
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
        accept=_acceptance(written.accept),
        requests=written.requests or "",
        tags=written.tags,
        family=part.family,
        comment=written.comment,
        places=MappingProxyType(places),
    )


def _function(part: FunctionPart) -> Function:
    written = part.written
    return Function(
        name=part.name,
        path=written.path,
        within_ns=written.within,
        age_ns=written.age,
        skew_ns=written.skew,
        place=part.at_name(),
        places=MappingProxyType({key: part.at(key) for key in _keys_set(written)}),
    )


def _keys_set(written: MessageWritten | SignalWritten | FunctionWritten) -> set[str]:
    aliases = _aliases(type(written))
    return {aliases[name] for name in written.model_fields_set}


@cache
def _aliases(kind: type[MessageWritten | SignalWritten | FunctionWritten]) -> dict[str, str]:
    return {name: field.alias or name for name, field in kind.model_fields.items()}


def _acceptance(written: AcceptWritten | None) -> Acceptance | None:
    if written is None:
        return None
    return Acceptance(
        good_frames=written.good_frames,
        drops_bad_counter=written.bad_counter == "drop",
        drops_bad_check=written.bad_check == "drop",
        ignores_first=written.first_after_reset == "ignore",
        safe_when_lost=written.when_lost == "safe",
    )


def _signal(part: MessagePart, name: str, written: SignalWritten, draft: Draft) -> Signal:
    assert part.layout is not None
    selector, selected_by = draft.selection(part, written)
    return Signal(
        name=name,
        start_bit=part.layout.start_bits[name],
        length_bits=written.bits,
        byte_order=part.byte_order_of(name),
        signed=written.signed,
        is_float=written.is_float,
        factor=written.factor,
        offset=written.offset,
        minimum=written.range[0] if written.range else None,
        maximum=written.range[1] if written.range else None,
        unit=written.unit,
        codes=MappingProxyType(draft.codes_of(written)),
        unknown_raw=written.unknown,
        invalid_raw=written.invalid,
        resolution=written.resolution,
        selector=selector,
        selected_by=selected_by,
        role=written.role,
        constant=written.constant or 0,
        counts=written.counts or 1,
        modulo=(written.modulo or 1 << written.bits) if written.counts else 0,
        crc=written.crc or "",
        data_id=written.data_id,
        data_id_as=written.data_id_as or "both",
        data_ids=tuple(written.data_ids or ()),
        initial=written.initial,
        safe=written.safe,
        comment=written.comment,
        place=part.at_key("signals", name),
        places=MappingProxyType({key: part.at("signals", name, key) for key in _keys_set(written)}),
    )
