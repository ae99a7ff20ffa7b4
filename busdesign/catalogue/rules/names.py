"""Names: usable as identifiers in C and DBC and in expectations, given once, and pointing at something."""

import re
from collections import Counter
from collections.abc import Iterator

from busdesign.catalogue.edits import name_meant, other_word, uses_of
from busdesign.catalogue.hints import Hints
from busdesign.catalogue.parts import Draft, FunctionPart, MessagePart, line_of
from busdesign.findings import Finding, Place, error

_IDENTIFIER = re.compile(r"[A-Za-z_][A-Za-z0-9_]*\Z")
_WORDS_OF_EXPECTATIONS = frozenset(("and", "or", "not", "true", "false", "never", "always"))


def unusable_name(draft: Draft) -> Iterator[Finding]:
    """A name that C, DBC or an expectation could not spell."""
    for name in draft.node_names:
        yield from _unusable(name, "node", draft.source.of_key(("nodes", name)))
    for message in draft.messages:
        whole = list(_unusable(message.written_name, "message", message.at_key()))
        yield from whole or _unusable_ending(message)
        for signal in message.written.signals:
            yield from _unusable(signal, "signal", message.at_key("signals", signal))


def _unusable(name: str, what: str, where: Place) -> Iterator[Finding]:
    if not _IDENTIFIER.match(name):
        text = f"the {what} `{name}` needs a name of letters, digits and `_`, with no digit first"
        spelt = _spelt(name)
        yield error("unusable-name", where, text, f"write `{spelt if _IDENTIFIER.match(spelt) else '_' + spelt}`")
    elif name in _WORDS_OF_EXPECTATIONS:
        text = f"`{name}` is a word of expectations, so no {what} can bear it"
        yield error("unusable-name", where, text, f"write `{name}_`")


def _unusable_ending(message: MessagePart) -> Iterator[Finding]:
    if not _IDENTIFIER.match(message.name):
        ending = message.name.removeprefix(message.family + "_")
        text = f"`{ending}` would make the message `{message.name}`: a name is of letters, digits and `_`"
        yield error("unusable-name", message.at_name(), text, f"write `{_spelt(ending)}`")


def _spelt(name: str) -> str:
    return re.sub(r"[^A-Za-z0-9_]", "_", name)


def name_taken(draft: Draft) -> Iterator[Finding]:
    """Two messages or two functions of one name after families are spread out, or a message named like a node."""
    first: dict[str, MessagePart] = {}
    nodes = frozenset(draft.node_names)
    for message in draft.messages:
        if message.name in nodes:
            text = f"`{message.name}` is a node already; `{message.name}.x` would mean two things in an expectation"
            yield error("name-taken", message.at_name(), text, f"write `{message.name}_message`, or what it says")
        other = first.setdefault(message.name, message)
        if other is not message:
            text = f"the message `{message.name}` is there already ({line_of(other.at_name(), message.at_name())})"
            yield error("name-taken", message.at_name(), text, "rename one of the two")
    known: dict[str, FunctionPart] = {}
    for function in draft.functions:
        earlier = known.setdefault(function.name, function)
        if earlier is not function:
            line = line_of(earlier.at_name(), function.at_name())
            text = f"the function `{function.name}` is there already ({line})"
            yield error("name-taken", function.at_name(), text, "rename one of the two")


def unknown_node(draft: Draft) -> Iterator[Finding]:
    """A sender, a receiver or the end of a stub that is no node."""
    if not draft.node_names:
        return  # that is one finding, not one for every message
    known = frozenset(draft.node_names)
    unknown = [(name, where) for name, where in _nodes_named(draft) if name not in known]
    uses = uses_of(_nodes_named(draft)) if unknown else Counter()
    hints = Hints(draft.node_names, "nodes")
    yield from (_no_node(name, where, draft, uses, hints) for name, where in unknown)


def _nodes_named(draft: Draft) -> Iterator[tuple[str, Place]]:
    for message in draft.messages:
        yield message.written.sender, message.at("from")
        for index, receiver in enumerate(message.written.receivers):
            yield receiver, message.at("to", index)
    for index, stub in enumerate((draft.bus and draft.bus.harness.stubs) or ()):
        yield stub.node, draft.source.of_value(("bus", "harness", "stubs", index, "node"))


def _no_node(name: str, where: Place, draft: Draft, uses: Counter[str], hints: Hints) -> Finding:
    hint = hints.of(name)
    edit = other_word(where, name, name_meant(name, draft.node_names, hint, uses))
    return error("unknown-node", where, f"there is no node `{name}`", hint, edit)


def unknown_step(draft: Draft) -> Iterator[Finding]:
    """A step of a function's path that is neither a message nor a label ``node.word``."""
    uses = uses_of(_nodes_named(draft)) if draft.functions else Counter()
    nodes, messages = frozenset(draft.node_names), frozenset(draft.message_names)
    hints, of_messages = Hints(draft.node_names, "nodes"), Hints(draft.message_names, "messages")
    for function in draft.functions:
        for index, step in enumerate(function.written.path):
            where = function.at("path", index)
            node, dot, label = step.partition(".")
            if not dot:
                if step not in messages:
                    yield from _unknown_message(step, where, draft, of_messages)
            elif node not in nodes:
                yield _no_node(node, where, draft, uses, hints)
            elif not _IDENTIFIER.match(label):
                text = f"`{step}` has no label that can be spelt after the dot"
                yield error("unusable-name", where, text, f"a label is written like `{node}.switch`")


def _unknown_message(step: str, where: Place, draft: Draft, hints: Hints) -> Iterator[Finding]:
    may_be_there = any(step.startswith(f"{family}_") for family in draft.broken_families)
    if not may_be_there:
        text = f"there is no message `{step}`"
        fix = hints.of(step)
        yield error("unknown-message", where, text, fix if fix.startswith("did") else f"{fix}; a label is `node.word`")
