"""From the frozen catalogue to cantools' database, and to the text of a DBC file.

Everything here can be written: ``dbc_refusals`` was asked before. cantools escapes the quotes in comments of nodes,
messages and signals but not in other texts, so that is done here.
"""

import sys
from collections import OrderedDict
from collections.abc import Mapping
from typing import Any

from cantools.database import Database
from cantools.database.can import Message as DbcMessage
from cantools.database.can import Node as DbcNode
from cantools.database.can import Signal as DbcSignal
from cantools.database.can.bus import Bus as DbcBus
from cantools.database.can.formats.dbc import DbcAttribute, DbcAttributeDefinition, DbcSpecifics
from cantools.database.conversion import BaseConversion

from busdesign.catalogue.model import ByteOrder, Catalogue, Message, Role, Signal
from busdesign.catalogue.values import initial_raw
from busdesign.export.dbc_attributes import (
    MESSAGE_DEFAULTS,
    SIGNAL_DEFAULTS,
    dbc_number,
    message_attributes,
    signal_attributes,
)
from busdesign.export.dbc_losses import is_table_name, written_bit_rate_bit_s
from busdesign.export.dbc_pages import mark_nested_selectors, pages_of, selectors_of, written_signals
from busdesign.export.dbc_timing import CYCLE_TIME, MAX_INTEGER, SEND_TYPE, SEND_TYPES, cycle_time_ms, send_type

START_VALUE = "GenSigStartValue"  # raw; its limits take any number of 64 bits, signed or not
Definitions = OrderedDict[str, Any]


def dump(catalogue: Catalogue) -> str:
    """The text of the DBC file, lines ending in CR LF."""
    messages = [message for message in catalogue.messages if not message.is_remote]
    messages.sort(key=lambda message: message.name)
    definitions = _definitions(has_floats=any(signal.is_float for message in messages for signal in message.signals))
    nodes = [DbcNode(name, catalogue.nodes[name].comment or None) for name in sorted(catalogue.nodes)]
    bus = DbcBus("", comment=_escaped(catalogue.comment) or None, baudrate=written_bit_rate_bit_s(catalogue))
    tables = {table: _choices(catalogue.codes[table]) for table in sorted(catalogue.codes) if is_table_name(table)}
    database = Database(
        messages=[_message(message, catalogue, definitions) for message in messages],
        nodes=nodes,
        buses=[bus],
        version=_escaped(f"{catalogue.name} revision {catalogue.revision}"),
        dbc_specifics=DbcSpecifics(attribute_definitions=definitions, value_tables=OrderedDict(tables)),
        sort_signals=None,
    )
    text = database.as_dbc_string(sort_signals=None, sort_attribute_signals=None)
    return mark_nested_selectors(text, [signal for message in messages for signal in _in_order(message)])


def _definitions(has_floats: bool) -> Definitions:
    starts = (-sys.float_info.max, sys.float_info.max) if has_floats else (-(2**63), 2**64 - 1)
    known: list[DbcAttributeDefinition[Any]] = [
        DbcAttributeDefinition("Baudrate", 0, None, "INT", 0, MAX_INTEGER),
        DbcAttributeDefinition(CYCLE_TIME, 0, "BO_", "INT", 0, MAX_INTEGER),
        DbcAttributeDefinition(SEND_TYPE, SEND_TYPES[0], "BO_", "ENUM", choices=list(SEND_TYPES)),
        DbcAttributeDefinition(START_VALUE, 0, "SG_", "FLOAT", *starts),
    ]
    for kind, defaults in (("BO_", MESSAGE_DEFAULTS), ("SG_", SIGNAL_DEFAULTS)):
        known += [DbcAttributeDefinition(name, default, kind, "STRING") for name, default in defaults.items()]
    return OrderedDict((definition.name, definition) for definition in known)


def _message(message: Message, catalogue: Catalogue, definitions: Definitions) -> DbcMessage:
    assert message.identifier is not None
    said: dict[str, int | str] = {SEND_TYPE: send_type(message), **message_attributes(message, catalogue)}
    return DbcMessage(
        frame_id=message.identifier,
        is_extended_frame=message.extended,
        name=message.name,
        length=message.length_bytes,
        signals=[_signal(signal, message, definitions) for signal in _in_order(message)],
        comment=message.comment or None,
        senders=[message.sender],
        cycle_time=cycle_time_ms(message),
        dbc_specifics=_attributes(said, definitions),
        sort_signals=None,
    )


def _attributes(said: Mapping[str, int | str], definitions: Definitions) -> DbcSpecifics:
    written = {name: _escaped(value) if isinstance(value, str) else value for name, value in said.items()}
    return DbcSpecifics(
        attributes=OrderedDict((name, DbcAttribute(value, definitions[name])) for name, value in written.items())
    )


def _signal(signal: Signal, message: Message, definitions: Definitions) -> DbcSignal:
    minimum, maximum = _limits(signal)
    return DbcSignal(
        name=signal.name,
        start=signal.start_bit,
        length=signal.length_bits,
        byte_order="big_endian" if signal.byte_order is ByteOrder.BIG else "little_endian",
        is_signed=signal.signed or signal.is_float,  # a float signal bears the minus sign; common practice, no source
        raw_initial=None if signal.role is Role.CHECK else dbc_number(signal, initial_raw(signal)),
        conversion=BaseConversion.factory(
            scale=_number(signal.factor),
            offset=_number(signal.offset),
            choices=_choices(signal.codes) or None,
            is_float=signal.is_float,
        ),
        minimum=minimum,
        maximum=maximum,
        unit=_escaped(signal.unit) or None,
        comment=signal.comment or None,
        receivers=list(dict.fromkeys(message.receivers)),
        dbc_specifics=_attributes(signal_attributes(signal), definitions),
        is_multiplexer=signal.name in selectors_of(message),
        multiplexer_ids=pages_of(signal),
        multiplexer_signal=signal.selector or None,
    )


def _in_order(message: Message) -> list[Signal]:
    return sorted(written_signals(message), key=_order)


def _order(signal: Signal) -> tuple[int, str]:
    byte, bit = divmod(signal.start_bit, 8)
    return 8 * byte + (7 - bit if signal.byte_order is ByteOrder.BIG else bit), signal.name


def _limits(signal: Signal) -> tuple[float | None, float | None]:
    if signal.role is Role.COUNTER and signal.modulo <= signal.raw_max:
        return 0, signal.modulo - 1
    if signal.role is Role.CONSTANT:
        return signal.constant, signal.constant
    if signal.minimum is None or signal.maximum is None:
        return None, None
    return _number(signal.minimum), _number(signal.maximum)


def _choices(codes: Mapping[int, str]) -> OrderedDict[int, Any]:
    return OrderedDict((raw, _escaped(codes[raw])) for raw in sorted(codes, reverse=True))


def _number(value: float) -> float:
    """The same number, written without a decimal point where it is whole."""
    return int(value) if value.is_integer() and abs(value) < 2**53 else value


def _escaped(text: str) -> str:
    return text.replace('"', '\\"')
