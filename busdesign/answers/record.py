"""A bus listened to and kept in a file, and audited as it comes where there is a catalogue."""

import os
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from fractions import Fraction
from typing import TYPE_CHECKING, Any, cast

from busdesign.answers.audit import audit_opened
from busdesign.answers.audit_answer import AuditAnswer
from busdesign.answers.plain import without_facts
from busdesign.bench.gate_interface import Interface, is_in_process, open_interface, read_interface, takes_silence
from busdesign.bench.listening import LoneBoard, Stop
from busdesign.bench.recording import EXTENDED_KEY, Counts, Listening
from busdesign.catalogue.model import Catalogue
from busdesign.catalogue.reader import read_catalogue
from busdesign.errors import CaptureError
from busdesign.findings import Finding, Severity, counted
from busdesign.traffic.frames import Traffic, is_channel_name
from busdesign.traffic.recorder import Recorder

if TYPE_CHECKING:
    from busdesign.traffic.capture import Capture


@dataclass(frozen=True, slots=True)
class RecordAnswer:
    """What was recorded. ``ended``: ``time``, ``interrupted`` (as usual) or ``failed``.

    ``silent``: whether the interface was put where it can neither acknowledge nor transmit; None where that cannot be
    proved. ``about_silence`` says how. ``unknown``: frames whose identifier the catalogue does not have. ``audit`` is
    None without a catalogue, or if no frame of it came.
    """

    interface: str
    file: str
    catalogue: str | None
    silent: bool | None
    about_silence: str
    duration_s: float
    frames: int
    error_frames: int
    fd_frames: int
    identifiers: int
    unknown: int | None
    ended: str
    audit: AuditAnswer | None
    findings: tuple[Finding, ...]
    holds: bool
    counts: Counts = field(repr=False, metadata={"json": False})


def record(
    interface: str,
    file: str | os.PathLike[str],
    *,
    catalogue: Catalogue | str | os.PathLike[str] | None = None,
    for_ns: int | None = None,
    bit_rate_bit_s: int | None = None,
    told: Callable[[Counts], None] = lambda counts: None,
    stop: Stop | None = None,
) -> RecordAnswer:
    """Listen to an ``INTERFACE:CHANNEL`` of python-can and keep what comes in ``file``, in the format of its suffix.

    Until ``for_ns`` has passed, ``stop``, or Ctrl-C. ``bit_rate_bit_s``: for the adapter; else the catalogue's.
    ``told`` hears now and then what came so far. Nothing is ever sent.

    Raises InterfaceError, CatalogueError, OutputError.
    """
    stop = stop or Stop()
    named = read_interface(interface)
    definition = catalogue if isinstance(catalogue, Catalogue) or catalogue is None else read_catalogue(catalogue)
    rate = bit_rate_bit_s or (None if definition is None else int(definition.bus.bit_rate_bit_s))
    silence = takes_silence(named)
    bus = open_interface(named, rate, receive_own_messages=False, **(silence or {}))
    channel = named.channel if is_channel_name(named.channel) else "can0"
    try:
        with Recorder(file, channels=(channel,)) as recorder, stop.on_interrupt():
            listening = Listening(
                bus,
                recorder,
                channel,
                stop,
                known=None if definition is None else _keys(definition),
                bit_rate_bit_s=Fraction(rate) if rate else None,
                keeps_rows=definition is not None,
            )
            began_ns = time.perf_counter_ns()
            until_ns = None if for_ns is None else began_ns + for_ns
            listening.start()
            audit, refused = _audited(listening, definition, until_ns, told)
            duration_ns = time.perf_counter_ns() - began_ns
    finally:
        with suppress(Exception):  # an adapter that is gone cannot be closed
            bus.shutdown()
    findings = [*refused, *_findings(listening, duration_ns)]
    return RecordAnswer(
        interface=str(named),
        file=os.fspath(file),
        catalogue=None if definition is None else definition.name,
        silent=True if silence is not None else None,
        about_silence=_about(named, silence is not None),
        duration_s=duration_ns / 1e9,
        frames=listening.counts.frames,
        error_frames=listening.counts.error_frames,
        fd_frames=listening.counts.fd_frames,
        identifiers=len(listening.counts.identifiers),
        unknown=None if definition is None else listening.counts.unknown,
        ended=stop.reason,
        audit=audit,
        findings=tuple(findings),
        holds=(audit is None or audit.holds) and not any(one.severity is not Severity.ADVICE for one in findings),
        counts=listening.counts,
    )


def refused(findings: Sequence[Finding]) -> dict[str, Any]:
    """The shape of ``record --json`` for what cannot be used."""
    return without_facts(RecordAnswer, findings)


class _Live:
    """What listens, as an audit reads a recording."""

    def __init__(self, listening: Listening, until_ns: int | None, told: Callable[[Counts], None]) -> None:
        self.path, self.channel, self.facts = listening.path, listening.channel, listening.facts
        self.bad_lines, self.notices = listening.bad_lines, listening.notices
        self._listening, self._until_ns, self._told = listening, until_ns, told

    def blocks(self, block_frames: int = 0) -> Iterator[Traffic]:
        return self._listening.blocks(self._until_ns, self._told)


def _audited(
    listening: Listening, definition: Catalogue | None, until_ns: int | None, told: Callable[[Counts], None]
) -> tuple[AuditAnswer | None, Sequence[Finding]]:
    if definition is None:
        listening.wait(until_ns, told)
        return None, ()
    try:
        return audit_opened(cast("Capture", _Live(listening, until_ns, told)), definition, None, None, None), ()
    except CaptureError as refusal:  # nothing came, or nothing of this catalogue
        return None, refusal.findings if listening.counts.frames else ()


def _keys(definition: Catalogue) -> frozenset[int]:
    return frozenset(
        message.identifier + EXTENDED_KEY * message.extended
        for message in definition.messages
        if message.identifier is not None
    )


def _about(interface: Interface, is_silent: bool) -> str:
    if is_in_process(interface):
        return "a bus inside this process has no acknowledge, and nothing is sent"
    if is_silent:
        return "the interface was told to listen only: it neither acknowledges nor transmits"
    text = "nothing is sent, but the interface cannot be told here to listen only: it may acknowledge frames"
    if interface.name == "socketcan":
        text += f"; `ip link set {interface.channel} type can listen-only on`, while it is down, keeps it from that"
    return text


def _findings(listening: Listening, duration_ns: int) -> Iterator[Finding]:
    if listening.failure is not None:
        yield Finding(
            "interface-lost", Severity.BROKEN, None, f"{listening.failure}", "what came before is in the file"
        )
    if not listening.counts.frames:
        errors = listening.counts.error_frames
        text = f"no frame came in {duration_ns / 1e9:.1f} s" + (
            f", but {counted(errors, 'error frame')}" * bool(errors)
        )
        fix = (
            "look at the bit rate, the two wires, the termination, and that two nodes are on: one alone is not answered"
        )
        yield Finding("nothing-heard", Severity.BROKEN, None, text, fix)
    if listening.lone_board.is_seen:
        yield _lone(listening.lone_board)


def _lone(board: LoneBoard) -> Finding:
    digits = 8 if board.is_extended else 3
    text = (
        f"0x{board.identifier:0{digits}X} came {board.frames} times back to back with the same content: a lone board "
        "whose frame nobody acknowledges sends it again and again without a pause"
    )
    fix = "put a second node that is not listen-only on the bus; the board itself is likely to be sound"
    return Finding("lone-board", Severity.BROKEN, None, text, fix)
