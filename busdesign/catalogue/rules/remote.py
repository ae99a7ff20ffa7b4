"""Remote requests: a message that says ``requests`` has no form of its own, and what it asks for must be askable."""

from collections.abc import Iterator

from busdesign.catalogue.parts import Draft, MessagePart
from busdesign.findings import Finding, did_you_mean, error

_FORM = {"id": "identifier", "bytes": "length", "signals": "signals", "extended": "identifier"}


def request(draft: Draft) -> Iterator[Finding]:
    """A remote request with a form of its own, of an unknown message, of another request, or by the asked node."""
    first: dict[str | None, MessagePart] = {}  # that asks for it
    for message in draft.messages:
        if message.written.requests is None:
            continue
        for key, what in _FORM.items():
            if key in message.written.model_fields_set:
                text = f"`{message.written_name}` is a remote request: it bears the {what} of what it asks for"
                yield error("request", message.at_key(key), text, f"remove `{key}`")
        earlier = first.setdefault(message.written.requests, message)
        yield from _about_what_it_asks_for(message, earlier, draft)


def _about_what_it_asks_for(message: MessagePart, earlier: MessagePart, draft: Draft) -> Iterator[Finding]:
    where, asked_for, name = message.at("requests"), draft.requested_by(message), message.written.requests
    if asked_for is None:
        if name not in draft.message_names:
            yield error("request", where, f"there is no message `{name}`", did_you_mean(name, draft.message_names))
        return
    if asked_for.written.requests is not None:
        yield error("request", where, f"`{name}` is a remote request itself", "name the message that answers")
    elif asked_for.written.irregular is None:
        text = f"`{name}` comes by itself, every period: a request would bring frames that no bound counts"
        yield error("request", where, text, f"make `{name}` irregular, `{{at_least_apart: ...}}`")
    elif asked_for.written.sender == message.written.sender:
        text = f"`{message.written.sender}` sends `{name}` itself, so it cannot ask for it on the bus"
        yield error("request", message.at("from"), text, "name the node that asks")
    if earlier is not message:
        text = f"`{earlier.name}` asks for `{name}` already: two equal remote frames collide"
        yield error("request", where, text, "let one node ask")
