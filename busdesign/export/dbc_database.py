"""From the frozen catalogue to cantools' database, and to the text of a DBC file.

Everything here can be written: ``dbc_refusals`` was asked before. cantools escapes the quotes in comments of nodes,
messages and signals but not in other texts, so that is done here.
"""

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
from busdesign.export.dbc_losses import is_table_name, written_bit_rate_bit_s
from busdesign.export.dbc_timing import (
    CYCLE_TIME,
    MAX_INTEGER,
    OWN_DEFAULTS,
    SEND_TYPE,
    SEND_TYPES,
    cycle_time_ms,
    own_attributes,
    send_type,
)

START_VALUE = "GenSigStartValue"  # raw; its limits take any number of 64 bits, signed or not
Definitions = OrderedDict[str, Any]


def dump(catalogue: Catalogue) -> str:
    """The text of the DBC file, lines ending in CR LF."""
    definitions = _definitions()
    nodes = [DbcNode(name, catalogue.nodes[name].comment or None) for name in sorted(catalogue.nodes)]
    bus = DbcBus("", comment=_escaped(catalogue.comment) or None, baudrate=written_bit_rate_bit_s(catalogue))
    tables = {table: _choices(catalogue.codes[table]) for table in sorted(catalogue.codes) if is_table_name(table)}
    database = Database(
        messages=[_message(message, definitions) for message in sorted(catalogue.messages, key=lambda one: one.name)],
        nodes=nodes,
        buses=[bus],
        version=_escaped(f"{catalogue.name} revision {catalogue.revision}"),
        dbc_specifics=DbcSpecifics(attribute_definitions=definitions, value_tables=OrderedDict(tables)),
        sort_signals=None,
    )
    return database.as_dbc_string(sort_signals=None, sort_attribute_signals=None)


def _definitions() -> Definitions:
    known: list[DbcAttributeDefinition[Any]] = [
        DbcAttributeDefinition("Baudrate", 0, None, "INT", 0, MAX_INTEGER),
        DbcAttributeDefinition(CYCLE_TIME, 0, "BO_", "INT", 0, MAX_INTEGER),
        DbcAttributeDefinition(SEND_TYPE, SEND_TYPES[0], "BO_", "ENUM", choices=list(SEND_TYPES)),
        DbcAttributeDefinition(START_VALUE, 0, "SG_", "FLOAT", -(2**63), 2**64 - 1),
    ]
    known += [DbcAttributeDefinition(name, default, "BO_", "STRING") for name, default in OWN_DEFAULTS.items()]
    return OrderedDict((definition.name, definition) for definition in known)


def _message(message: Message, definitions: Definitions) -> DbcMessage:
    assert message.identifier is not None
    said: dict[str, int | str] = {SEND_TYPE: send_type(message), **own_attributes(message)}
    attributes = OrderedDict((name, DbcAttribute(value, definitions[name])) for name, value in said.items())
    return DbcMessage(
        frame_id=message.identifier,
        is_extended_frame=message.extended,
        name=message.name,
        length=message.length_bytes,
        signals=[_signal(signal, message) for signal in sorted(message.signals, key=_order)],
        comment=message.comment or None,
        senders=[message.sender],
        cycle_time=cycle_time_ms(message),
        dbc_specifics=DbcSpecifics(attributes=attributes),
        sort_signals=None,
    )


def _signal(signal: Signal, message: Message) -> DbcSignal:
    minimum, maximum = _limits(signal)
    return DbcSignal(
        name=signal.name,
        start=signal.start_bit,
        length=signal.length_bits,
        byte_order="big_endian" if signal.byte_order is ByteOrder.BIG else "little_endian",
        is_signed=signal.signed,
        raw_initial=None if signal.role is Role.CHECK else initial_raw(signal),
        conversion=BaseConversion.factory(
            scale=_number(signal.factor), offset=_number(signal.offset), choices=_choices(signal.codes) or None
        ),
        minimum=minimum,
        maximum=maximum,
        unit=_escaped(signal.unit) or None,
        comment=signal.comment or None,
        receivers=list(dict.fromkeys(message.receivers)),
    )


def _order(signal: Signal) -> tuple[int, str]:
    byte, bit = divmod(signal.start_bit, 8)
    return 8 * byte + (7 - bit if signal.byte_order is ByteOrder.BIG else bit), signal.name


def _limits(signal: Signal) -> tuple[float | None, float | None]:
    if signal.role is Role.COUNTER and signal.modulo <= signal.raw_max:
        return 0, signal.modulo - 1
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
