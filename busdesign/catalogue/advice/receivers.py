"""Who hears a message, and when its silence is noticed."""

from collections.abc import Iterator

from busdesign.catalogue.advice.told import advice, listed, once_each, usual_lost_after_ns, written_name
from busdesign.catalogue.model import Catalogue, Message
from busdesign.findings import Finding
from busdesign.units import format_duration


def nobody_receives(catalogue: Catalogue) -> Iterator[Finding]:
    """A message that no node acts on: it takes time on the bus, and nobody would miss it.

    A remote request is heard by whoever sends what it asks for.
    """
    spoken = [message for message in catalogue.messages if not message.is_remote]
    unheard = list(once_each(message for message in spoken if not message.receivers))
    if len(unheard) > 1 and _names_no_receivers(catalogue):  # then it is one omission, not one for each message
        text = f"no message names its receivers: {listed([written_name(message) for message in unheard])}"
        fix = f"say which nodes act on each{_such_as(catalogue, unheard[0])}"
        yield advice("nobody-receives", unheard[0].place_of(), text, fix)
        return
    for message in unheard:
        fix = f"name the nodes that act on it{_such_as(catalogue, message)}, or drop it"
        yield advice("nobody-receives", message.place_of(), f"nobody receives `{written_name(message)}`", fix)


def _names_no_receivers(catalogue: Catalogue) -> bool:
    return not any(message.receivers for message in catalogue.messages)


def _such_as(catalogue: Catalogue, message: Message) -> str:
    other = next((node for node in catalogue.nodes if node != message.sender), "")
    return f", such as `to: {other}`" if other else ""


def own_receiver(catalogue: Catalogue) -> Iterator[Finding]:
    """A sender among its own receivers. In a family with many senders ``to`` may well name all of them."""
    senders: dict[str, set[str]] = {}
    for message in catalogue.messages:
        senders.setdefault(written_name(message), set()).add(message.sender)
    for message in once_each(message for message in catalogue.messages if message.sender in message.receivers):
        name, others = written_name(message), [node for node in message.receivers if node != message.sender]
        if len(senders[name]) > 1 and others:
            continue
        text = f"`{message.sender}` sends `{name}`, and does not hear its own frames"
        fix = f"remove `{message.sender}` from `to`" if others else "name the nodes that act on it"
        yield advice("own-receiver", message.place_of("to"), text, fix)


def receiver_twice(catalogue: Catalogue) -> Iterator[Finding]:
    """A receiver named twice: perhaps the second one was to be another."""
    repeating = (message for message in catalogue.messages if len(set(message.receivers)) < len(message.receivers))
    for message in once_each(repeating):
        twice = next(node for node in message.receivers if message.receivers.count(node) > 1)
        text = f"`{twice}` is named twice among the receivers of `{written_name(message)}`"
        yield advice("receiver-twice", message.place_of("to"), text, "once will do; or was another node meant?")


def idle_node(catalogue: Catalogue) -> Iterator[Finding]:
    """A node that neither sends nor receives anything; silent where no receivers are named at all."""
    if _names_no_receivers(catalogue):
        return
    named = {message.sender for message in catalogue.messages}
    named.update(receiver for message in catalogue.messages for receiver in message.receivers)
    for node in catalogue.nodes.values():
        if node.name not in named:
            text = f"`{node.name}` sends nothing and receives nothing"
            yield advice("idle-node", node.place, text, "name it in `to` of what it listens to, or remove it")


def no_lost_after(catalogue: Catalogue) -> Iterator[Finding]:
    """A periodic message whose receivers do not know when to call it silent.

    Silent about those that can move metal, of which ``moves_unguarded`` tells it.
    """
    periodic = [message for message in catalogue.messages if not message.irregular and not message.is_remote]
    open_ended = [message for message in periodic if message.receivers and message.lost_after_ns is None]
    untold = list(once_each(message for message in open_ended if not message.moves))
    if not untold:
        return
    first, names = untold[0], [written_name(message) for message in untold]
    fix = f"`lost_after: {format_duration(usual_lost_after_ns(first))}`"
    common = "three periods are common practice, no source"
    if len(untold) > 1 and all(message.lost_after_ns is None for message in periodic):
        text = f"no periodic message says after what silence it is lost: {listed(names)}"
        yield advice("no-lost-after", first.place_of(), text, f"{fix} for `{names[0]}`, and so on: {common}")
        return
    for message, name in zip(untold, names, strict=True):
        text = f"the receivers of `{name}` do not know when it has fallen silent"
        fix = f"`lost_after: {format_duration(usual_lost_after_ns(message))}`: {common}"
        yield advice("no-lost-after", message.place_of(), text, fix)
