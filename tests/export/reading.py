"""A DBC file as cantools reads it, held against its catalogue, and frame by frame against our codec."""

import math
from collections.abc import Mapping
from fractions import Fraction
from random import Random

import cantools
from cantools.database import DecodeError
from cantools.database.can import Database
from cantools.database.can import Message as DbcMessage
from cantools.database.can import Signal as DbcSignal

from busdesign.catalogue.codec import MessageCodec
from busdesign.catalogue.model import Catalogue, Message, Role, Signal
from busdesign.catalogue.values import allowed_raws, float_limits, float_of, initial_raw, raw_limits, to_raw
from busdesign.export.dbc import render
from busdesign.units import duration_ns


def load(catalogue: Catalogue) -> Database:
    loaded = cantools.database.load_string(render(catalogue).text, "dbc", strict=True)
    assert isinstance(loaded, Database)
    return loaded


def frames_of(catalogue: Catalogue) -> list[Message]:
    """The messages that stand in the file."""
    return [message for message in catalogue.messages if not message.requests]


def signals_of(message: Message) -> list[Signal]:
    """The signals that stand in the file."""
    return [signal for signal in message.signals if signal.role is not Role.RESERVED]


def attribute(read: DbcMessage | DbcSignal, name: str) -> str:
    """The text of an attribute, or its default."""
    assert read.dbc is not None
    found = read.dbc.attributes.get(name)
    return str(found.value if found else read.dbc.attribute_definitions[name].default_value)


# --- the same meaning


def same_meaning(catalogue: Catalogue, loaded: Database) -> None:
    assert loaded.version == f"{catalogue.name} revision {catalogue.revision}"
    assert {node.name: node.comment or "" for node in loaded.nodes} == {
        name: node.comment for name, node in catalogue.nodes.items()
    }
    (bus,) = loaded.buses
    assert (bus.comment or "") == catalogue.comment
    assert Fraction(bus.baudrate or 0) == catalogue.bus.bit_rate_bit_s
    messages = frames_of(catalogue)
    assert sorted(message.name for message in loaded.messages) == sorted(message.name for message in messages)
    for message in messages:
        same_message(message, loaded.get_message_by_name(message.name))


def same_message(message: Message, read: DbcMessage) -> None:
    assert (read.frame_id, read.is_extended_frame) == (message.identifier, message.extended)
    assert (read.length, read.senders, read.comment or "") == (message.length_bytes, [message.sender], message.comment)
    same_times(message, read)
    same_belief(message, read)
    assert {signal.name for signal in read.signals} == {signal.name for signal in signals_of(message)}
    for signal in signals_of(message):
        same_signal(signal, read.get_signal_by_name(signal.name), message)


def same_times(message: Message, read: DbcMessage) -> None:
    assert read.send_type == ("Event" if message.irregular else "Cyclic")
    assert read.dbc is not None
    assert "GenMsgSendType" in read.dbc.attributes
    nearest_ms = max(1, math.floor(Fraction(message.period_ns, 10**6) + Fraction(1, 2)))
    in_range = not message.irregular and nearest_ms < 2**31
    assert read.cycle_time == (nearest_ms if in_range else None)

    def read_ns(name: str) -> int | None:
        text = attribute(read, name)
        return duration_ns(text) if text else None

    exact_ns = read_ns("MsgAtLeastApart") if message.irregular else read_ns("MsgPeriod")
    assert message.period_ns == (exact_ns or (read.cycle_time or 0) * 10**6)
    assert read_ns("MsgDeadline") == message.deadline_ns
    assert read_ns("MsgFirstRelease") == message.offset_ns
    assert read_ns("MsgJitter") == message.jitter_ns
    assert read_ns("MsgLostAfter") == message.lost_after_ns


def same_belief(message: Message, read: DbcMessage) -> None:
    assert (attribute(read, "MsgMoves") == "yes") == message.moves
    assert tuple(attribute(read, "MsgTags").split(",")) == (message.tags or ("",))
    good = attribute(read, "MsgGoodFrames")
    assert (message.accept is not None) == bool(good)
    if message.accept is None:
        return
    assert tuple(map(int, good.split(" of "))) == message.accept.good_frames
    assert (attribute(read, "MsgBadCounter") == "drop") == message.accept.drops_bad_counter
    assert (attribute(read, "MsgBadCheck") == "drop") == message.accept.drops_bad_check
    assert (attribute(read, "MsgFirstAfterReset") == "ignore") == message.accept.ignores_first
    assert (attribute(read, "MsgWhenLost") == "safe") == message.accept.safe_when_lost


def same_signal(signal: Signal, read: DbcSignal, message: Message) -> None:
    assert (read.start, read.length, read.byte_order) == (
        signal.start_bit,
        signal.length_bits,
        f"{signal.byte_order}_endian",
    )
    assert (read.is_signed, read.conversion.is_float) == (signal.signed or signal.is_float, signal.is_float)
    assert (read.scale, read.offset) == (signal.factor, signal.offset)
    assert (read.unit or "", read.comment or "") == (signal.unit, signal.comment)
    assert read.receivers == list(dict.fromkeys(message.receivers))
    assert {raw: str(word) for raw, word in (read.choices or {}).items()} == signal.codes
    assert (read.minimum, read.maximum) == readable_limits(signal)
    assert read.raw_initial == (None if signal.role is Role.CHECK else float(wire_number(signal, initial_raw(signal))))
    assert (read.multiplexer_signal or "") == signal.selector
    assert sorted(read.multiplexer_ids or []) == sorted(set(signal.selected_by))
    assert read.is_multiplexer == any(other.selector == signal.name for other in signals_of(message))
    same_own_attributes(signal, read)


def same_own_attributes(signal: Signal, read: DbcSignal) -> None:
    constant, resolution = attribute(read, "SigConstant"), attribute(read, "SigResolution")
    assert (int(constant) if constant else None) == (signal.constant if signal.role is Role.CONSTANT else None)
    assert (float(resolution) if resolution else None) == signal.resolution
    for name, raw in (("SigUnknown", signal.unknown_raw), ("SigInvalid", signal.invalid_raw)):
        assert attribute(read, name) == ("" if raw is None else str(raw))
    safe = attribute(read, "SigSafe")
    expected = None if signal.safe is None else wire_number(signal, to_raw(signal, signal.safe))
    assert (float(safe) if safe else None) == expected


def wire_number(signal: Signal, raw: int) -> float:
    return float_of(raw, signal.length_bits) if signal.is_float else raw


def readable_limits(signal: Signal) -> tuple[float | None, float | None]:
    limits: tuple[float | None, float | None] = (signal.minimum, signal.maximum)
    if signal.role is Role.COUNTER and signal.modulo < 1 << signal.length_bits:
        limits = raw_limits(signal)
    elif signal.role is Role.CONSTANT:
        limits = (signal.constant, signal.constant)
    return (None, None) if limits == (0, 0) else limits  # the way in which DBC says that there are none


# --- the same frames


def same_frames(catalogue: Catalogue, loaded: Database, frames: int, random: Random) -> tuple[int, int]:
    """Compare ``frames`` random frames, spread over the messages, each way: how many were decoded, how many encoded.

    Half of those to decode are random bytes, half are what random values make. cantools refuses frames whose selector
    says a page that has no signal: those are counted in neither number.
    """
    messages, decoded, encoded = frames_of(catalogue), 0, 0
    for message in messages:
        codec, read = MessageCodec(message), loaded.get_message_by_name(message.name)
        for count in range(-(-frames // len(messages))):
            raws = [any_raw(signal, message, random) for signal in message.signals]
            packed = codec.pack(raws, count).to_bytes(message.length_bytes, "little")
            decoded += same_decoding(codec, read, packed if count % 2 else random.randbytes(message.length_bytes))
            encoded += same_encoding(codec, read, packed)
    return decoded, encoded


def any_raw(signal: Signal, message: Message, random: Random) -> int:
    """A raw number that may be sent, of a selector often one that selects."""
    if signal.is_float:
        low, high = float_limits(signal)
        return to_raw(signal, random.choice([low, high, random.uniform(max(low, -1e6), min(high, 1e6))]))
    allowed = allowed_raws(signal)
    pages = [raw for other in signals_of(message) if other.selector == signal.name for raw in other.selected_by]
    if pages and random.random() < 0.8:
        return random.choice(pages)
    return random.randrange(allowed.start, allowed.stop) if isinstance(allowed, range) else random.choice(allowed)


def pages_are_known(message: Message, carried: Mapping[str, int]) -> bool:
    """Whether each selector that a frame carries says a page with a signal, or one with a word."""
    for name, raw in carried.items():
        pages = {page for other in signals_of(message) if other.selector == name for page in other.selected_by}
        if pages and raw not in pages | set(message.signal(name).codes):
            return False
    return True


def carried_raws(codec: MessageCodec, data: bytes) -> dict[str, int]:
    """The raw numbers of the signals that a frame carries and that stand in the file."""
    names = [signal.name for signal in codec.message.signals]
    raws = dict(zip(names, codec.unpack(int.from_bytes(data, "little")), strict=True))
    present = codec.decode(data)
    return {name: raw for name, raw in raws.items() if name in present}


def same_decoding(codec: MessageCodec, read: DbcMessage, data: bytes) -> bool:
    ours = codec.decode(data)
    try:
        theirs = read.decode(data)
    except DecodeError:
        assert not pages_are_known(codec.message, carried_raws(codec, data))
        return False
    assert isinstance(theirs, dict)
    assert theirs.keys() == ours.keys()
    for name, value in ours.items():
        other = theirs[name]
        if isinstance(value, str):
            assert str(other) == value
        else:
            assert isinstance(other, int | float)
            both_nan = math.isnan(other) and math.isnan(value)
            assert both_nan or math.isclose(other, value, rel_tol=1e-9, abs_tol=1e-9)
    return True


def same_encoding(codec: MessageCodec, read: DbcMessage, data: bytes) -> bool:
    carried = carried_raws(codec, data)
    if not pages_are_known(codec.message, carried):
        return False
    filled = {name: wire_number(codec.message.signal(name), raw) for name, raw in carried.items()}
    assert read.encode(filled, scaling=False, strict=True) == data
    # Three roundings to 53 bits stay below half a step up to 2**50 steps; of a float with a factor they do not cancel.
    signals = [codec.message.signal(name) for name in carried]
    if all(one.length_bits <= 48 and not (one.is_float and (one.factor != 1 or one.offset)) for one in signals):
        assert read.encode(codec.decode(data), strict=True) == data
    return True
