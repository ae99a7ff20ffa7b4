"""A message's timing in DBC attributes: the two that every reader knows, and exact ones of our own.

``GenMsgCycleTime`` holds whole milliseconds and ``GenMsgSendType`` a word; both names are common practice, no source.
The attributes of our own hold a duration as text with its unit (``2500 us``), exact to the nanosecond: ``adopt`` or
a person can read it back without knowing a scale.
"""

from collections.abc import Mapping

from busdesign.catalogue.model import Message

CYCLE_TIME = "GenMsgCycleTime"
SEND_TYPE = "GenMsgSendType"
SEND_TYPES = ("Cyclic", "Event")

PERIOD = "MsgPeriod"  # only where CYCLE_TIME cannot say it exactly
AT_LEAST_APART = "MsgAtLeastApart"  # of an irregular message
DEADLINE = "MsgDeadline"
FIRST_RELEASE = "MsgFirstRelease"
JITTER = "MsgJitter"
LOST_AFTER = "MsgLostAfter"
OWN_DEFAULTS: Mapping[str, str] = {
    PERIOD: "",
    AT_LEAST_APART: "",
    DEADLINE: "",
    FIRST_RELEASE: "0 s",
    JITTER: "0 s",
    LOST_AFTER: "",
}

MAX_INTEGER = 2**31 - 1  # an INT attribute is a 32-bit number to most readers; common practice, no source
NS_PER_MS = 1_000_000


def send_type(message: Message) -> int:
    """Which of ``SEND_TYPES`` the message is, as its index."""
    return int(message.irregular)


def cycle_time_ms(message: Message) -> int | None:
    """The period in whole milliseconds, at least one; None of an irregular message, and where it is out of range."""
    if message.irregular:
        return None
    rounded = max(1, (message.period_ns + NS_PER_MS // 2) // NS_PER_MS)
    return rounded if rounded <= MAX_INTEGER else None


def is_exact(message: Message) -> bool:
    """Whether ``cycle_time_ms`` says all there is to say about the period."""
    return message.irregular or (cycle_time_ms(message) or 0) * NS_PER_MS == message.period_ns


def own_attributes(message: Message) -> dict[str, str]:
    """Name and text of each attribute of our own in which ``message`` differs from the default."""
    durations_ns = {
        PERIOD: None if is_exact(message) else message.period_ns,
        AT_LEAST_APART: message.period_ns if message.irregular else None,
        DEADLINE: message.deadline_ns or None,
        FIRST_RELEASE: message.offset_ns or None,
        JITTER: message.jitter_ns or None,
        LOST_AFTER: message.lost_after_ns,
    }
    return {name: exact_duration(time_ns) for name, time_ns in durations_ns.items() if time_ns is not None}


def exact_duration(time_ns: int) -> str:
    """Whole nanoseconds in the largest unit in which they are a whole number: ``50 ms``, ``2500 us``."""
    for unit, scale in (("s", 10**9), ("ms", 10**6), ("us", 10**3)):
        if time_ns % scale == 0:
            return f"{time_ns // scale} {unit}"
    return f"{time_ns} ns"
