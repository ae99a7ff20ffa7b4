"""Names: usable as identifiers in C and DBC and in expectations, given once, and pointing at something."""

import re
from collections.abc import Iterator

from busdesign.catalogue.parts import Draft, MessagePart
from busdesign.findings import Finding, Place, did_you_mean, error

_IDENTIFIER = re.compile(r"[A-Za-z_][A-Za-z0-9_]*\Z")
_WORDS_OF_EXPECTATIONS = {"and", "or", "not", "true", "false", "never", "always"}


def unusable_name(draft: Draft) -> Iterator[Finding]:
    """A name that C, DBC or an expectation could not spell."""
    for name in draft.node_names:
        yield from _unusable(name, "node", draft.source.of_key(("nodes", name)))
    for message in draft.messages:
        yield from _unusable(message.name, "message", message.at_key())
        for signal in message.written.signals:
            yield from _unusable(signal, "signal", message.at_key("signals", signal))


def _unusable(name: str, what: str, where: Place) -> Iterator[Finding]:
    if _IDENTIFIER.match(name) and name not in _WORDS_OF_EXPECTATIONS:
        return
    if name in _WORDS_OF_EXPECTATIONS:
        text = f"the {what} `{name}` has the name of a word that expectations use"
        yield error("unusable-name", where, text, f"call it `{name}_` or otherwise")
        return
    spelt = re.sub(r"[^A-Za-z0-9_]", "_", name)
    fix = f"write `{spelt if _IDENTIFIER.match(spelt) else '_' + spelt}`"
    yield error("unusable-name", where, f"the {what} name `{name}` is not letters, digits and _ (no digit first)", fix)


def name_taken(draft: Draft) -> Iterator[Finding]:
    """Two messages of one name after families are spread out, or a message named like a node."""
    first: dict[str, MessagePart] = {}
    for message in draft.messages:
        if message.name in draft.node_names:
            text = f"`{message.name}` is a node already; `{message.name}.x` would mean two things in an expectation"
            yield error("name-taken", message.at_key(), text, "give the message another name")
        if message.name in first:
            line = first[message.name].at_key().line
            text = f"the message `{message.name}` is made a second time (first from line {line})"
            yield error("name-taken", message.at_key(), text, "rename one of the two families or messages")
        first.setdefault(message.name, message)


def unknown_node(draft: Draft) -> Iterator[Finding]:
    """A sender or receiver that is no node."""
    for message in draft.messages:
        if message.written.sender not in draft.node_names:
            yield _no_node(message.written.sender, message.at("from"), draft)
        for index, receiver in enumerate(message.written.receivers):
            if receiver not in draft.node_names:
                yield _no_node(receiver, message.at("to", index), draft)


def _no_node(name: str, where: Place, draft: Draft) -> Finding:
    return error("unknown-node", where, f"there is no node `{name}`", did_you_mean(name, draft.node_names))


def unknown_message(draft: Draft) -> Iterator[Finding]:
    """A step of a function's path that is neither a message nor a label ``node.word``."""
    for name, function in draft.functions.items():
        for index, step in enumerate(function.path):
            where = draft.source.of_value(("functions", name, "path", index))
            node, dot, _ = step.partition(".")
            if dot and node not in draft.node_names:
                yield _no_node(node, where, draft)
            if not dot and step not in draft.message_names:
                text = f"`{step}` is no message; a label is written `node.word`"
                yield error("unknown-message", where, text, did_you_mean(step, draft.message_names))
