"""A recording sent again onto an interface of python-can, and how late its frames were.

A bus outside this process is sent on only through the gate (``bench.gate``). Replay onto the simulated bus, where
recorded neighbours surround a simulated node, will be another way in beside ``_onto_interface``.
"""

import os
from array import array
from collections.abc import Callable
from dataclasses import dataclass, field
from fractions import Fraction
from typing import TYPE_CHECKING, Any

from busdesign.answers.one_bus import one_channel
from busdesign.answers.plain import without_facts
from busdesign.bench.gate import Permission, Question, admit, admit_in_process, open_to_send, require_transmit
from busdesign.bench.gate_interface import (
    Interface,
    interface_error,
    is_in_process,
    open_interface,
    read_interface,
    takes_silence,
)
from busdesign.bench.listening import Stop, heard_for
from busdesign.bench.pace import Lateness, Throttle, read_pace
from busdesign.bench.replay import Outcome, not_begun, require_no_foreign_sender
from busdesign.bench.replay import replay as send_all
from busdesign.bench.replay_choice import EXTENDED_KEY, Asked, chosen
from busdesign.bench.replay_plan import Plan, plan_of
from busdesign.bench.settings import bench_safe_interfaces
from busdesign.catalogue.model import Catalogue
from busdesign.catalogue.reader import read_catalogue
from busdesign.findings import Finding, Severity, counted
from busdesign.traffic.capture import open_capture
from busdesign.traffic.frames import Row, Traffic, concatenate
from busdesign.units import format_ratio
from busdesign.wire.flags import ERROR, EXTENDED

if TYPE_CHECKING:
    import can

LOAD_LIMIT = Fraction(4, 5)  # where the catalogue has none; our choice
LEAST_LISTENING_NS = 500_000_000
_BROKEN_OFF = frozenset({"bus-off", "foreign-sender", "failed", "file-failed"})


@dataclass(frozen=True, slots=True)
class ReplayAnswer:
    """What was sent. ``permission``: ``in-process``, ``bench-safe`` or ``confirmed``. Times in s and us.

    ``holds``: all of it was sent. ``frames_planned`` and ``frames_sent`` are without the final demand, whose frames are
    ``final_frames``. ``held_up``: how often a frame had to be offered again. ``flushed``: whether the adapter threw
    away what it held when it was stopped; None where it was not.
    """

    capture: str
    catalogue: str | None
    interface: str
    permission: str
    pace: str
    times: int
    frames_planned: int
    frames_sent: int
    final_frames: int
    duration_s: float
    lateness: Lateness | None
    held_up: int
    flushed: bool | None
    ended: str
    recorded_to: str | None
    recorded_frames: int
    notices: tuple[str, ...]
    findings: tuple[Finding, ...]
    holds: bool
    plan: Plan = field(repr=False, metadata={"json": False})
    late_ns: "array[int]" = field(repr=False, metadata={"json": False})  # frame by frame


@dataclass(frozen=True, slots=True)
class Manners:
    """How a replay deals with people and files.

    - ``transmit``: a bus outside this process is meant. ``confirm`` shows a text and what to type, and returns what was
      typed; None where nobody can be asked. ``tell`` shows a text that needs no answer.
    - ``step``: shows a frame and waits; False to end. ``progress`` hears the part done, 0 to 1.
    - ``record``: a file for all that is seen on the bus meanwhile.
    - ``load_limit``: a fraction of 1, never above the catalogue's own. ``listen_ns``: longer than would be listened.
    """

    transmit: bool = False
    confirm: Callable[[str, str], str | None] | None = None
    tell: Callable[[str], None] = lambda text: None
    step: Callable[[str], bool] | None = None
    progress: Callable[[float], None] = lambda part: None
    record: str | None = None
    load_limit: Fraction | None = None
    listen_ns: int = 0
    stop: Stop = field(default_factory=Stop)


def replay(
    capture: str | os.PathLike[str],
    onto: str,
    asked: Asked | None = None,
    manners: Manners | None = None,
    *,
    catalogue: Catalogue | str | os.PathLike[str] | None = None,
    pace: str = "recorded",
    channel: str | None = None,
) -> ReplayAnswer:
    """Send the recording at ``capture`` ``onto`` an ``INTERFACE:CHANNEL`` of python-can.

    ``asked``: which frames, changed how. ``channel``: which bus of a recording of several. Raises CaptureError,
    CatalogueError, InterfaceError (an interface, a choice of frames, or the gate), OutputError, and Refused for a pace.
    """
    asked, manners = asked or Asked(), manners or Manners()
    interface, wanted_pace = read_interface(onto), read_pace(pace)
    in_process = is_in_process(interface)
    if not in_process:
        require_transmit(interface, manners.transmit)
        if catalogue is None:
            text = "without a catalogue nobody can say what the frames would move, nor at which bit rate"
            raise interface_error("transmit-catalogue", text, "add `--catalogue FILE`")
    if wanted_pace.is_stepped and manners.step is None:
        raise interface_error("transmit-unconfirmed", "nobody is here to step", "run it on a terminal")
    definition = catalogue if isinstance(catalogue, Catalogue) or catalogue is None else read_catalogue(catalogue)
    choice = chosen(asked, definition)
    traffic, notices = _read(capture, channel)
    plan = plan_of(traffic, choice, wanted_pace)
    notices += plan.notices + _about_seams(plan)
    if in_process or definition is None:
        permission = admit_in_process(interface)
        with manners.stop.on_interrupt():
            outcome = _onto_interface(permission, None, plan, manners, None)
    else:
        permission, room = _through_the_gate(interface, definition, plan, manners)
        with manners.stop.on_interrupt():
            outcome = _after_listening(permission, definition, plan, manners, room)
    return _answer(os.fspath(capture), definition, permission, plan, outcome, manners.record, notices)


def refused(findings: "tuple[Finding, ...] | list[Finding]") -> dict[str, Any]:
    """The shape of ``replay --json`` for what cannot be used."""
    return without_facts(ReplayAnswer, findings)


def _read(capture: str | os.PathLike[str], channel: str | None) -> tuple[Traffic, tuple[str, ...]]:
    opened = open_capture(capture, channel=channel)
    traffic = concatenate(list(one_channel(opened.blocks(), opened)))
    bad = opened.bad_lines.total
    notices = tuple(opened.notices)
    return traffic, notices + ((f"{counted(bad, 'line')} that cannot be read left out",) if bad else ())


def _about_seams(plan: Plan) -> tuple[str, ...]:
    from busdesign.bench.replay_values import counter_signal

    if plan.choice.times == 1:
        return ()
    recorded = set(plan.key.tolist()) - plan.choice.remakers.keys()
    known = plan.choice.messages
    jump = [known[key].name for key in sorted(recorded) if key in known and counter_signal(known[key])]
    return (f"counters jump where it begins again: {', '.join(jump)}; `--mend` counts on",) if jump else ()


@dataclass(frozen=True, slots=True)
class _Room:
    """What was promised to whoever confirmed it: the load, the limit, how long is listened."""

    bit_rate_bit_s: int
    load: float
    limit: Fraction
    listen_ns: int


def _through_the_gate(
    interface: Interface, definition: Catalogue, plan: Plan, manners: Manners
) -> tuple[Permission, _Room]:
    rate_bit_s = int(definition.bus.bit_rate_bit_s)
    limit = min(filter(None, (manners.load_limit, definition.bus.load_limit)), default=LOAD_LIMIT)
    room = _Room(rate_bit_s, plan.fullest_load(rate_bit_s), limit, max(manners.listen_ns, listening_ns(plan)))
    _require_room(room.load, 0.0, limit)
    messages, unknown = plan.of_messages()
    question = Question(
        interface=interface,
        bit_rate_bit_s=rate_bit_s,
        frames=plan.frames,
        duration_ns=plan.duration_ns,
        messages=messages,
        unknown=unknown,
        final=str(plan.choice.final or ""),
        load=room.load,
        load_limit=float(limit),
        listen_ns=room.listen_ns,
    )
    permission = admit(
        question,
        transmit=manners.transmit,
        bench_safe=bench_safe_interfaces(),
        ask=manners.confirm,
        tell=manners.tell,
    )
    return permission, room


def _after_listening(
    permission: Permission, definition: Catalogue, plan: Plan, manners: Manners, room: _Room
) -> Outcome:
    """Listen, in silence where the interface can be kept silent, and only then send."""
    interface, rate_bit_s = permission.interface, room.bit_rate_bit_s
    silence = takes_silence(interface)
    manners.tell(f"listening to {interface} for {room.listen_ns / 1e9:g} s ...")
    bus = None
    if silence is None:
        bus = open_to_send(permission, rate_bit_s, echo=manners.record is not None)
        rows = _heard(bus, room.listen_ns, manners.stop, closes=False)
    else:
        listener = open_interface(interface, rate_bit_s, receive_own_messages=False, **silence)
        rows = _heard(listener, room.listen_ns, manners.stop, closes=True)
    try:
        share = _room_beside(rows, plan, definition, room)
    except Exception:
        if bus is not None:
            bus.shutdown()
        raise
    if manners.stop.event.is_set():
        if bus is not None:
            bus.shutdown()
        return not_begun(manners.stop)
    throttle = Throttle(rate_bit_s * share, is_even=plan.pace.speed is None)
    return _onto_interface(permission, rate_bit_s, plan, manners, throttle, bus)


def _heard(bus: "can.BusABC", listen_ns: int, stop: Stop, *, closes: bool) -> list[Row]:
    """What other nodes say; the bus is left open only if all went well and ``closes`` is false."""
    try:
        rows = heard_for(bus, listen_ns, stop)
    except BaseException:
        bus.shutdown()
        raise
    if closes:
        bus.shutdown()
    return rows


def _room_beside(rows: list[Row], plan: Plan, definition: Catalogue, room: _Room) -> float:
    """The share of the bus that is left for us. Raises InterfaceError if it is too little, or a sender is there."""
    heard: dict[int, int] = {}
    for row in rows:
        if not row[2] & ERROR:
            key = row[1] + EXTENDED_KEY * bool(row[2] & EXTENDED)
            heard[key] = heard.get(key, 0) + 1
    require_no_foreign_sender(plan, heard)
    theirs = _bits(rows) * 1e9 / room.listen_ns / float(definition.bus.bit_rate_bit_s)
    _require_room(room.load, theirs, room.limit)
    return float(room.limit) - theirs


def _bits(rows: list[Row]) -> int:
    from busdesign.wire.columns import frame_bits_of_columns

    traffic = Traffic.of_rows(rows)
    return int(frame_bits_of_columns(traffic.identifier, traffic.flags, traffic.length, traffic.payload).sum())


def _require_room(load: float, theirs: float, limit: Fraction) -> None:
    if load + theirs <= limit and theirs < limit:
        return
    beside = f" beside {format_ratio(theirs)} of other nodes" if theirs else ""
    text = f"it would load the bus with {format_ratio(load)} in its fullest 100 ms{beside}: more than the limit of "
    fix = "send fewer messages (--only, --without), or at a slower pace such as 0.5x"
    raise interface_error("load-limit", text + format_ratio(limit), fix)


def listening_ns(plan: Plan) -> int:
    """How long to listen: the longest period of what would be sent, and some more; half a second at the least.

    Of frames that the catalogue does not know, the longest of their distances in the middle.
    """
    import numpy as np

    known = plan.choice.messages
    longest = LEAST_LISTENING_NS
    for key in plan.sent_keys():
        if key in known:
            message = known[key]
            period_ns = message.period_ns + message.jitter_ns
        else:
            moments = plan.at_ns[plan.sent_key == key]
            period_ns = int(np.median(np.diff(moments))) if len(moments) > 1 else 0
        longest = max(longest, period_ns * 11 // 10)
    return longest


def _onto_interface(
    permission: Permission,
    bit_rate_bit_s: int | None,
    plan: Plan,
    manners: Manners,
    throttle: Throttle | None,
    bus: "can.BusABC | None" = None,
) -> Outcome:
    from contextlib import ExitStack

    from busdesign.traffic.recorder import Recorder

    interface = permission.interface
    with ExitStack() as open_things:
        if bus is None:
            bus = open_to_send(permission, bit_rate_bit_s, echo=manners.record is not None)
        open_things.callback(bus.shutdown)
        channel = channel_name(interface)
        recorder = open_things.enter_context(Recorder(manners.record, channels=(channel,))) if manners.record else None
        return send_all(
            bus,
            plan,
            interface_name=interface.name,
            stop=manners.stop,
            step=manners.step if plan.pace.is_stepped else None,
            throttle=throttle,
            recorder=recorder,
            channel=channel,
            progress=manners.progress,
        )


def channel_name(interface: Interface) -> str:
    """What the channel is called in a recording."""
    from busdesign.traffic.frames import is_channel_name

    return interface.channel if is_channel_name(interface.channel) else "can0"


def _answer(
    capture: str,
    definition: Catalogue | None,
    permission: Permission,
    plan: Plan,
    outcome: Outcome,
    record: str | None,
    notices: tuple[str, ...],
) -> ReplayAnswer:
    findings = []
    if outcome.ended in _BROKEN_OFF:
        findings.append(_ending(outcome))
    return ReplayAnswer(
        capture=capture,
        catalogue=None if definition is None else definition.name,
        interface=str(permission.interface),
        permission=permission.given_by,
        pace=plan.pace.name,
        times=plan.choice.times,
        frames_planned=plan.frames,
        frames_sent=outcome.frames,
        final_frames=outcome.final_frames,
        duration_s=outcome.duration_ns / 1e9,
        lateness=outcome.lateness,
        held_up=outcome.held_up,
        flushed=outcome.flushed,
        ended=outcome.ended,
        recorded_to=record,
        recorded_frames=outcome.recorded,
        notices=notices,
        findings=tuple(findings),
        holds=outcome.ended == "done" and outcome.frames == plan.frames,
        plan=plan,
        late_ns=outcome.late_ns,
    )


def _ending(outcome: Outcome) -> Finding:
    text = f"{outcome.text}; it was stopped after {counted(outcome.frames, 'frame')}"
    if outcome.ended == "bus-off":
        fix = "look at the bit rate, the termination, and whether any node acknowledges"
        return Finding("bus-off", Severity.BROKEN, None, text, fix)
    if outcome.ended == "foreign-sender":
        return Finding("foreign-sender", Severity.BROKEN, None, text, "leave its frames out with --without")
    if outcome.ended == "file-failed":
        return Finding("cannot-write", Severity.BROKEN, None, text, "give it more room, or record elsewhere")
    fix = "is it still plugged in, its channel up, and is there a node that acknowledges?"
    return Finding("interface-lost", Severity.BROKEN, None, text, fix)
