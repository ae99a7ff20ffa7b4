"""How controllers hold frames, and the length code that they send."""

from collections.abc import Iterator

from busdesign.catalogue.draft_controllers import TransmitWritten
from busdesign.catalogue.model import MAX_CLASSICAL_BYTES
from busdesign.catalogue.model_controllers import Queue
from busdesign.catalogue.parts import Draft
from busdesign.findings import Finding, counted, error

_BELONGS = {"depth": Queue.FIFO, "buffers": Queue.BUFFERS, "abort": Queue.BUFFERS}


def transmit(draft: Draft) -> Iterator[Finding]:
    """Buffers whose number nobody says, or a key that belongs to another kind of queue."""
    for name, node in draft.nodes.items():
        written = node.transmit
        if written is None:
            continue
        at = ("nodes", name, "transmit")
        if written.queue == Queue.BUFFERS and written.buffers is None:
            text = f"nothing says how many buffers `{name}` has"
            yield error("transmit", draft.source.of_value((*at, "queue")), text, "add `buffers: 3`")
        for key in _strangers(written):
            fix = f"write `queue: {_BELONGS[key]}`, or remove `{key}`"
            text = f"`{key}` of `{name}` says nothing of `queue: {written.queue}`"
            yield error("transmit", draft.source.of_key((*at, key)), text, fix)


def _strangers(written: TransmitWritten) -> list[str]:
    return [key for key, queue in _BELONGS.items() if key in written.model_fields_set and written.queue != queue]


def length_code(draft: Draft) -> Iterator[Finding]:
    """A length code above 8 that a receiver would not take for the message's length, or on a remote frame."""
    for message in draft.messages:
        code, name = message.written.length_code, message.written_name
        if code is None:
            continue
        if message.written.requests is not None:
            text = f"`{name}` is a remote frame, which sends the length code of what it asks for"
            yield error("length-code", message.at_key("length_code"), text, "remove `length_code`")
        elif message.layout and message.layout.length_bytes != MAX_CLASSICAL_BYTES:
            length_bytes = message.layout.length_bytes
            text = f"length code {code} means 8 bytes, but `{name}` has {counted(length_bytes, 'byte')}"
            fix = f"write `bytes: 8`, or remove `length_code`: {length_bytes} is sent"
            yield error("length-code", message.at("length_code"), text, fix)
