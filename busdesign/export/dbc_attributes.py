"""What DBC has no word for, in attributes of our own: texts that a person, or ``adopt``, can read back exactly.

A raw number is a whole number, of a float signal the IEEE 754 number itself, as in DBC's own start value; words are
those of the catalogue's keys. An attribute that is not set says nothing. Times are in ``dbc_timing``.
"""

from collections.abc import Mapping

from busdesign.catalogue.model import Catalogue, Message, Role, Signal
from busdesign.catalogue.values import float_of, to_raw
from busdesign.export.dbc_timing import OWN_DEFAULTS, exact_duration, own_attributes

MOVES = "MsgMoves"  # "yes"
TAGS = "MsgTags"  # joined by TAG_SEPARATOR, which no tag holds
GOOD_FRAMES = "MsgGoodFrames"  # "2 of 3"; with the next four, what a receiver believes
BAD_COUNTER = "MsgBadCounter"
BAD_CHECK = "MsgBadCheck"
FIRST_AFTER_RESET = "MsgFirstAfterReset"
WHEN_LOST = "MsgWhenLost"
REQUEST = "MsgRequest"  # the remote frame that asks for this message
REQUESTED_BY = "MsgRequestedBy"  # the node that sends it
REQUEST_PERIOD = "MsgRequestPeriod"
REQUEST_APART = "MsgRequestAtLeastApart"
TAG_SEPARATOR = ","

CONSTANT = "SigConstant"
UNKNOWN = "SigUnknown"
INVALID = "SigInvalid"
SAFE = "SigSafe"
RESOLUTION = "SigResolution"  # physical

_OF_MESSAGES = (
    MOVES,
    TAGS,
    GOOD_FRAMES,
    BAD_COUNTER,
    BAD_CHECK,
    FIRST_AFTER_RESET,
    WHEN_LOST,
    REQUEST,
    REQUESTED_BY,
    REQUEST_PERIOD,
    REQUEST_APART,
)
MESSAGE_DEFAULTS: Mapping[str, str] = {**OWN_DEFAULTS, **dict.fromkeys(_OF_MESSAGES, "")}
SIGNAL_DEFAULTS: Mapping[str, str] = dict.fromkeys((CONSTANT, UNKNOWN, INVALID, SAFE, RESOLUTION), "")


def requests_for(message: Message, catalogue: Catalogue) -> tuple[Message, ...]:
    """The remote frames that ask for ``message``; the catalogue's rules allow one."""
    return tuple(other for other in catalogue.messages if other.requests == message.name)


def message_attributes(message: Message, catalogue: Catalogue) -> dict[str, str]:
    """Name and text of each attribute of our own that is set for ``message``."""
    said = dict(own_attributes(message))
    if message.moves:
        said[MOVES] = "yes"
    if message.tags:
        said[TAGS] = TAG_SEPARATOR.join(message.tags)
    said |= _belief(message)
    for request in requests_for(message, catalogue):
        said |= {REQUEST: request.name, REQUESTED_BY: request.sender}
        said[REQUEST_APART if request.irregular else REQUEST_PERIOD] = exact_duration(request.period_ns)
    return said


def _belief(message: Message) -> dict[str, str]:
    accept = message.accept
    if accept is None:
        return {}
    good, latest = accept.good_frames
    return {
        GOOD_FRAMES: f"{good} of {latest}",
        BAD_COUNTER: "drop" if accept.drops_bad_counter else "accept",
        BAD_CHECK: "drop" if accept.drops_bad_check else "accept",
        FIRST_AFTER_RESET: "ignore" if accept.ignores_first else "accept",
        WHEN_LOST: "safe" if accept.safe_when_lost else "hold",
    }


def signal_attributes(signal: Signal) -> dict[str, str]:
    """Name and text of each attribute of our own that is set for ``signal``."""
    said: dict[str, str | None] = {
        CONSTANT: str(signal.constant) if signal.role is Role.CONSTANT else None,
        UNKNOWN: None if signal.unknown_raw is None else str(signal.unknown_raw),
        INVALID: None if signal.invalid_raw is None else str(signal.invalid_raw),
        SAFE: None if signal.safe is None else repr(dbc_number(signal, to_raw(signal, signal.safe))),
        RESOLUTION: None if signal.resolution is None else repr(signal.resolution),
    }
    return {name: text for name, text in said.items() if text is not None}


def dbc_number(signal: Signal, raw: int) -> float:
    """What DBC calls the raw value: of a float signal the IEEE 754 number, else ``raw`` itself."""
    return float_of(raw, signal.length_bits) if signal.is_float else raw
