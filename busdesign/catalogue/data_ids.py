"""Data ids: bytes that a check covers and no frame carries, so that the payload of another message does not fit.

The ways are those of the AUTOSAR end-to-end profiles 1, 2 and 5; vectors for each are in tests/published.
"""

from collections.abc import Mapping

from busdesign.catalogue.model import Message, Role, Signal

WAYS: Mapping[str, str] = {  # of ``data_id_as``
    "both": "low byte and high byte, before the payload",
    "alternate": "low byte when the counter is even, high byte when it is odd, before the payload",
    "low": "low byte, before the payload",
    "low-zero": "low byte and a zero byte, before the payload",
    "behind": "low byte and high byte, behind the payload",
}


def counter_of(message: Message) -> Signal | None:
    """The counter that chooses among data ids: the first of the message."""
    return next((signal for signal in message.signals if signal.role is Role.COUNTER), None)


def turns_of(check: Signal) -> int:
    """How many different data ids there are by the counter's raw number, taken modulo this; 1 for the same always."""
    if check.data_ids:
        return len(check.data_ids)
    return 2 if check.data_id is not None and check.data_id_as == "alternate" else 1


def bytes_around(check: Signal, turn: int) -> tuple[bytes, bytes]:
    """What ``check`` covers before and behind the payload's bytes when its counter is at ``turn``."""
    if check.data_ids:
        return b"", bytes([check.data_ids[turn % len(check.data_ids)]])
    if check.data_id is None:
        return b"", b""
    both = check.data_id.to_bytes(2, "little")
    before = {"both": both, "alternate": bytes([both[turn % 2]]), "low": both[:1], "low-zero": both[:1] + b"\0"}
    return before.get(check.data_id_as, b""), both if check.data_id_as == "behind" else b""
