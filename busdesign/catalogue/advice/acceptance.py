"""What a receiver believes and falls back to, and whether it ever comes to that."""

from collections.abc import Iterator

from busdesign.catalogue.advice.told import (
    advice,
    broken,
    listed,
    once_each,
    usual_lost_after_ns,
    written_name,
)
from busdesign.catalogue.model import Acceptance, Catalogue, Message, Role, Signal
from busdesign.findings import Finding
from busdesign.units import format_duration


def _believed(message: Message) -> Acceptance:
    return message.accept or Acceptance()


def slow_to_believe(catalogue: Catalogue) -> Iterator[Finding]:
    """After a silence it takes longer to believe a message again than it took to give it up."""
    periodic = (message for message in catalogue.messages if not message.irregular)
    for message in once_each(message for message in periodic if _takes_long(message)):
        good, _ = _believed(message).good_frames
        takes_ns, lost_ns = (good - 1) * message.period_ns, message.lost_after_ns or 0
        text = (
            f"`{written_name(message)}` is believed after {good} good frames, {format_duration(takes_ns)} from the "
            f"first to the last, but given up after {format_duration(lost_ns)}"
        )
        fewer = -(-lost_ns // message.period_ns)
        yield advice("slow-to-believe", message.place_of("accept"), text, f"`good_frames: {fewer}` would be quicker")


def _takes_long(message: Message) -> bool:
    good, _ = _believed(message).good_frames
    return message.lost_after_ns is not None and (good - 1) * message.period_ns >= message.lost_after_ns


def event_never_believed(catalogue: Catalogue) -> Iterator[Finding]:
    """Several good frames are asked for of a message that may come once."""
    irregular = (message for message in catalogue.messages if message.irregular)
    for message in once_each(message for message in irregular if _believed(message).good_frames[0] > 1):
        good, _ = _believed(message).good_frames
        text = (
            f"`{written_name(message)}` comes when something happens, and is believed only once {good} good frames "
            "have come: a single one is never acted on"
        )
        fix = f"`good_frames: 1`, or let the sender say it {good} times"
        yield advice("event-never-believed", message.place_of("accept"), text, fix)


def acceptance_of_nothing(catalogue: Catalogue) -> Iterator[Finding]:
    """``when_lost: safe`` of a message that does not say when it is lost, or what is safe."""
    for message in once_each(message for message in _falling_back(catalogue) if message.lost_after_ns is None):
        text = f"`{written_name(message)}` takes its safe values `when_lost`, but nothing says when it is lost"
        fix = f"add `lost_after: {format_duration(usual_lost_after_ns(message))}`, or what silence it may bear"
        if message.irregular:  # which may rightly stay away
            fix = "send it periodically and add `lost_after`, or leave `when_lost` out"
        yield broken("acceptance-of-nothing", message.place_of("accept"), text, fix)
    for message in once_each(message for message in _falling_back(catalogue) if _unsafe(message)):
        unsafe = _unsafe(message)
        names = listed([signal.name for signal in unsafe])
        text = f"`{written_name(message)}` takes its safe values `when_lost`, but has none for {names}"
        yield broken("acceptance-of-nothing", unsafe[0].place, text, "add `safe` to each of them")


def _falling_back(catalogue: Catalogue) -> list[Message]:
    return [message for message in catalogue.messages if _believed(message).safe_when_lost]


def _unsafe(message: Message) -> list[Signal]:
    return [signal for signal in message.signals if signal.role is Role.VALUE and signal.safe is None]


def safe_never_taken(catalogue: Catalogue) -> Iterator[Finding]:
    """``safe`` values of a message that is never lost, or whose receivers hold the last ones."""
    with_safe = (
        message for message in catalogue.messages if any(signal.safe is not None for signal in message.signals)
    )
    for message in once_each(message for message in with_safe if not _believed(message).safe_when_lost):
        first = next(signal for signal in message.signals if signal.safe is not None)
        text = f"`{written_name(message)}.{first.name}` has a `safe` value, but its receivers hold the last one"
        fix = "write `when_lost: safe` under `accept`, or leave `safe` out"
        yield advice("safe-never-taken", first.place_of("safe"), text, fix)


def moves_on_bad_frames(catalogue: Catalogue) -> Iterator[Finding]:
    """A message that can move metal is believed although its check or its counter does not fit."""
    for message in once_each(message for message in catalogue.messages if message.moves and _ignored(message)):
        ignored = _ignored(message)
        text = (
            f"`{written_name(message)}` can move metal, and is believed though its {' and '.join(ignored)} may not fit"
        )
        fix = " and ".join(f"`bad_{word}: drop`" for word in ignored)
        yield broken("moves-on-bad-frames", message.place_of("accept"), text, fix)


def _ignored(message: Message) -> list[str]:
    """What its frames bear, and its receivers do not heed."""
    heeded = {
        Role.COUNTER: _believed(message).drops_bad_counter,
        Role.CHECK: _believed(message).drops_bad_check,
    }
    borne = {signal.role for signal in message.signals}
    return [role.value for role, is_heeded in heeded.items() if role in borne and not is_heeded]
