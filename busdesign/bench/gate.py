"""The gate before a bus that is not inside this process: nothing is sent until a person has read what would be.

``admit`` gives a Permission, and only a Permission opens an interface to send on.
"""

from collections.abc import Callable, Collection
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from busdesign.bench.gate_interface import Interface, interface_error, is_in_process, open_interface
from busdesign.catalogue.model import Message
from busdesign.findings import counted
from busdesign.units import format_bit_rate, format_duration, format_ratio

if TYPE_CHECKING:
    import can

CAUTIONS = (
    "This is a design aid. It is not certified, and nothing it does is evidence of airworthiness.",
    "Keep people and tools clear of landing gear that can move.",
    "Have the aircraft on jacks.",
    "Emergency extension must be independent of this bus, of its boards and of their supply.",
    "Local codes, the responsible authority and licensed practice decide what may be done.",
)
_KEY: Final = object()


@dataclass(frozen=True, slots=True)
class Question:
    """What would be sent. ``messages``: each of the catalogue with its number of frames; ``unknown``: other frames.

    ``final``: what is sent when it ends; "" for nothing. ``load`` (of what is sent) and ``load_limit`` are fractions of
    1, in the fullest 100 ms.
    """

    interface: Interface
    bit_rate_bit_s: int
    frames: int
    duration_ns: int | None  # None: nobody knows, as in steps
    messages: tuple[tuple[Message, int], ...]
    unknown: int
    final: str
    load: float
    load_limit: float
    listen_ns: int


class Permission:
    """That frames may be sent on ``interface``; ``admit`` alone makes one. ``given_by`` says why."""

    __slots__ = ("given_by", "interface")

    def __init__(self, key: object, interface: Interface, given_by: str) -> None:
        if key is not _KEY:
            raise ValueError("a permission is given by `admit`")
        self.interface, self.given_by = interface, given_by

    @property
    def is_for_process(self) -> bool:
        """Whether it is for a bus inside this process."""
        return self.given_by == "in-process"


def admit_in_process(interface: Interface) -> Permission:
    """Permission for a bus that nothing outside this process can hear. Raises InterfaceError for every other one."""
    if not is_in_process(interface):
        raise interface_error("transmit-unasked", f"`{interface}` is a bus outside this process", "add `--transmit`")
    return Permission(_KEY, interface, "in-process")


def require_transmit(interface: Interface, transmit: bool) -> None:
    """Raise InterfaceError unless sending on a bus outside this process was asked for in so many words."""
    if not transmit:
        text = f"`{interface}` is a bus outside this process: frames on it can move metal"
        fix = "add `--transmit` if that is meant; `--onto virtual:NAME` stays inside this process"
        raise interface_error("transmit-unasked", text, fix)


def admit(
    question: Question,
    *,
    transmit: bool,
    bench_safe: Collection[Interface],
    ask: Callable[[str, str], str | None] | None,
    tell: Callable[[str], None] = lambda text: None,
) -> Permission:
    """Permission to send what ``question`` says. Raises InterfaceError if it is not given.

    ``ask`` shows a text and what to type, and returns what was typed, None at the end of the input; it is None where
    nobody can be asked. For a bench-safe interface the text goes to ``tell``, and nobody is asked.
    """
    interface = question.interface
    require_transmit(interface, transmit)
    if interface in bench_safe:
        tell(question_text(question))
        return Permission(_KEY, interface, "bench-safe")
    if ask is None:
        text = f"nobody is here to confirm frames on `{interface}`: stdin or stderr is no terminal"
        raise interface_error("transmit-unconfirmed", text, "run it on a terminal, or list it as bench-safe (guide)")
    typed = ask(question_text(question), str(interface))
    if typed is None or typed.strip() != str(interface):
        raise interface_error("transmit-unconfirmed", f"not confirmed: nothing was sent on `{interface}`")
    return Permission(_KEY, interface, "confirmed")


def open_to_send(permission: Permission, bit_rate_bit_s: int | None, *, echo: bool) -> "can.BusABC":
    """The bus of ``permission``; ``echo``: its own frames come back too. Raises InterfaceError."""
    from can.interfaces.virtual import VirtualBus

    bus = open_interface(permission.interface, bit_rate_bit_s, receive_own_messages=echo)
    if permission.is_for_process and type(bus) is not VirtualBus:
        bus.shutdown()
        raise interface_error("transmit-unasked", f"`{permission.interface}` is a bus outside this process")
    return bus


def question_text(question: Question) -> str:
    """All that a person must know before it is sent, for a terminal."""
    frames = counted(question.frames, "frame")
    lasting = "" if question.duration_ns is None else f" in {format_duration(question.duration_ns)}"
    rate = format_bit_rate(question.bit_rate_bit_s)
    lines = [
        f"about to transmit on {question.interface} at {rate}: {frames}{lasting}",
        f"load of the bus up to {format_ratio(question.load)} in 100 ms (limit {format_ratio(question.load_limit)})",
        "",
        *_about_movers(question),
        *(["  nothing is known of " + counted(question.unknown, "frame") + " beside"] if question.unknown else []),
        "",
        "what the boards do when silence follows:",
        *(f"  {line}" for message, _ in question.messages for line in silence_text(message)),
        f"when it ends or is stopped: {question.final or 'nothing more is sent'}",
        f"before it, the bus is listened to for {format_duration(question.listen_ns)}",
        "",
        *CAUTIONS,
    ]
    return "\n".join(lines)


def _about_movers(question: Question) -> list[str]:
    movers = [(message, count) for message, count in question.messages if message.moves]
    if not movers:
        return ["the catalogue marks none of them as moving metal (`moves: true`)"]
    return [
        "these MOVE METAL (`moves: true` in the catalogue):",
        *(
            f"  {message.name}: {counted(count, 'frame')}, heard by {', '.join(message.receivers) or 'nobody named'}"
            for message, count in movers
        ),
    ]


def silence_text(message: Message) -> list[str]:
    """What the receivers of ``message`` do once it stops coming, as far as the catalogue says."""
    if message.lost_after_ns is None:
        return [f"{message.name}: the catalogue does not say when it is lost"] if message.moves else []
    who = ", ".join(message.receivers) or "who hears it"
    after = f"{message.name}: lost after {format_duration(message.lost_after_ns)}; {who}"
    if message.accept is None:
        return [f"{after}: the catalogue does not say what they do"]
    if not message.accept.safe_when_lost:
        return [f"{after} go on with the last values (`when_lost: hold`)"]
    safe = ", ".join(f"{signal.name} = {signal.safe}" for signal in message.signals if signal.safe is not None)
    return [f"{after} take {safe} (`when_lost: safe`)"]
