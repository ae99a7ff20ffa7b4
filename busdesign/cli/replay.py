"""``busdesign replay``: a recording sent again onto an interface, and how late its frames were."""

import argparse
import os
import select
import sys
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any, TextIO

from busdesign.cli.exits import BROKEN, HOLDS, INTERRUPTED
from busdesign.cli.record import duration, quiet_libraries, refuse_record_over

if TYPE_CHECKING:
    from fractions import Fraction

    from busdesign.answers.replay import ReplayAnswer
    from busdesign.bench.listening import Stop
    from busdesign.findings import Finding

EPILOG = """exit status: 0 all of it was sent, 1 it was broken off, 2 something cannot be used or was not confirmed,
130 Ctrl-C

WHAT is a message, a family, a node (all that it sends) or an identifier such as 0x110; several with commas.
`virtual:NAME` stays inside this process. On every other interface frames can MOVE METAL: it needs --transmit,
--catalogue and an answer on a terminal. Ctrl-C stops it at once.

example: busdesign replay run.log --onto virtual:desk --catalogue messages/saltmarsh.yaml --without strut_left"""


def add_to(commands: Any) -> None:
    """Add this command to the command line."""
    about = "send a recording again: at its pace or another, chosen frames, changed values; tells how late frames were"
    parser = commands.add_parser("replay", help=about, description=about, epilog=EPILOG)
    parser.add_argument("capture", metavar="CAPTURE", help="the recording, such as a .log (SocketCAN text)")
    onto = "an interface of python-can, such as virtual:desk or socketcan:can0"
    parser.add_argument("--onto", metavar="INTERFACE:CHANNEL", required=True, help=onto)
    parser.add_argument("--catalogue", metavar="CATALOGUE", help="the YAML file that names messages and nodes")
    parser.add_argument("--channel", metavar="NAME", help="of a recording of several buses, this one")
    pace = "recorded (the default), 2x, 0.5x, step (Enter for each frame) or flat-out"
    parser.add_argument("--pace", metavar="PACE", default="recorded", help=pace)
    parser.add_argument("--times", metavar="N", type=_times, default=1, help="so often, one after the other")
    moments = "only from one moment of the recording to another, such as '2 s' '5 s'"
    parser.add_argument("--between", metavar="TIME", nargs=2, type=_moment, help=moments)
    _add_changes(parser)
    parser.add_argument("--record", metavar="FILE", help="keep all that is seen on the bus meanwhile in a new file")
    parser.add_argument("--transmit", action="store_true", help="a bus outside this process is meant; asks before it")
    limit = "of the bus, such as '40 %%'; never above the catalogue's own load_limit (80 %% where it has none)"
    parser.add_argument("--load-limit", metavar="SHARE", type=_share, help=limit)
    listen = "listen for at least so long before sending; never shorter than the longest period"
    parser.add_argument("--listen-for", metavar="TIME", type=duration, default=0, help=listen)
    parser.add_argument("--json", action="store_true", help="the answer as JSON on stdout")
    parser.set_defaults(answer=answer, refused=_refused, refuse=parser.refuse)


def _add_changes(parser: Any) -> None:
    many: dict[str, Any] = {"action": "append", "default": []}
    parser.add_argument("--only", metavar="WHAT", help="these and no others", **many)
    parser.add_argument("--without", metavar="WHAT", help="all but these", **many)
    rename = "another identifier for one message, such as leg_demand=0x111 or 0x110=0x111"
    parser.add_argument("--rename", metavar="OLD=NEW", help=rename, **many)
    values = "another value, such as leg_demand.demand=down; its counter and check are made anew"
    parser.add_argument("--set", metavar="MESSAGE.SIGNAL=VALUE", dest="values", help=values, **many)
    mend = "count on the counters, and make the checks anew, of all messages"
    parser.add_argument("--mend", action="store_true", help=mend)
    final = "what to send once more when it ends or is stopped, such as leg_demand.demand=stay"
    parser.add_argument("--at-end", metavar="MESSAGE.SIGNAL=VALUE", help=final, **many)


def answer(given: argparse.Namespace) -> int:
    """Send, print, return the exit status."""
    from busdesign.answers.replay import Manners, replay
    from busdesign.bench.listening import Stop
    from busdesign.bench.replay_choice import Asked
    from busdesign.cli.output import say, tell
    from busdesign.findings import Refused

    quiet_libraries()
    if given.between and given.between[0] >= given.between[1]:
        given.refuse("--between ends before it begins", "the earlier moment comes first: `--between '2 s' '5 s'`")
    if given.record:
        refuse_record_over(given.record, [given.capture, given.catalogue])
    asked = Asked(
        only=_split(given.only),
        without=_split(given.without),
        rename=given.rename,
        values=given.values,
        final=given.at_end,
        mend=given.mend,
        between_ns=tuple(given.between) if given.between else None,
        times=given.times,
    )
    stop = Stop()
    manners = Manners(
        transmit=given.transmit,
        confirm=_confirm if _is_terminal(sys.stdin) and _is_terminal(sys.stderr) else None,
        tell=tell,
        step=_stepper(stop),
        record=given.record,
        load_limit=given.load_limit,
        listen_ns=given.listen_for,
        stop=stop,
    )
    try:
        found = replay(
            given.capture,
            given.onto,
            asked,
            manners,
            catalogue=given.catalogue,
            pace=given.pace,
            channel=given.channel,
        )
    except Refused as refused:
        given.refuse(refused.text, refused.fix)
    if given.json:
        from busdesign.cli.json_output import print_json

        print_json(found)
    else:
        say(replay_text(found))
        if found.recorded_to:
            say(f"\nwritten: {found.recorded_to}")
        say(_next(found, given))
    if found.ended == "interrupted":
        return INTERRUPTED
    return HOLDS if found.holds else BROKEN


def replay_text(found: "ReplayAnswer") -> str:
    """The answer for people."""
    from busdesign.cli.text import findings_text, printable, verdict

    times = f", {found.times} times" if found.times > 1 else ""
    parts = [
        f"{printable(found.capture)} onto {printable(found.interface)}, pace {found.pace}{times}",
        f"{found.frames_sent} of {found.frames_planned} frames in {found.duration_s:.3f} s",
        *(printable(notice) for notice in found.notices),
    ]
    late = found.lateness
    if late is not None:
        spread = (
            f"{late.median_us:.1f} us in the middle, {late.p99_us:.1f} us for 99 %, {late.worst_us:.1f} us at worst"
        )
        parts.append(f"late, until handed to python-can: {spread}")
    parts += [f"offered again, because the adapter had no room: {found.held_up} times"] if found.held_up else []
    parts += [f"final demand: {found.final_frames} frames"] if found.final_frames else []
    if found.flushed is not None:
        held = "thrown away" if found.flushed else "not thrown away: this adapter cannot; it may still send them"
        parts.append(f"frames that the adapter still held: {held}")
    parts += [f"seen on the bus and kept: {found.recorded_frames} frames"] if found.recorded_to else []
    if found.findings:
        parts += ["", findings_text(found.findings, sys.stdout)]
    return "\n".join([*parts, "", verdict(found.holds, _verdict(found), sys.stdout)])


def _verdict(found: "ReplayAnswer") -> str:
    if found.holds:
        return "all of it was sent"
    why = "stopped" if found.ended == "interrupted" else "broken off"
    return f"{why} after {found.frames_sent} of {found.frames_planned} frames"


def _next(found: "ReplayAnswer", given: argparse.Namespace) -> str:
    from busdesign.cli.text import about_rules, command, next_steps, typed

    rules = about_rules(found.findings)
    capture = typed(given.capture)
    if given.catalogue:
        return next_steps(*rules, command("audit", capture, "--catalogue", given.catalogue))
    return next_steps(*rules, command("replay", capture, "--onto", given.onto, "--pace", "2x"))


def _is_terminal(stream: TextIO | None) -> bool:
    try:
        return stream is not None and stream.isatty()
    except ValueError:  # it is closed
        return False


def _confirm(text: str, wanted: str) -> str | None:
    """What was typed at the prompt; None at the end of the input. Ctrl-C is raised as ever: nothing was sent."""
    from busdesign.cli.output import tell

    tell(f"{text}\n\ntype {wanted} to transmit, anything else to leave it: ")
    return sys.stdin.readline() or None


def _stepper(stop: "Stop") -> Callable[[str], bool]:
    """Shows a frame and waits for Enter; False at the end of the input, or once it is stopped."""
    from busdesign.cli.output import tell

    def step(shown: str) -> bool:
        tell(f"{shown}   (Enter sends it, Ctrl-D ends)")
        return _next_line(stop)

    return step


def _next_line(stop: "Stop") -> bool:
    if sys.platform == "win32":
        return bool(sys.stdin.readline())
    while not stop.event.is_set():
        if select.select([sys.stdin], [], [], 0.05)[0]:
            sign = os.read(sys.stdin.fileno(), 1)  # no more than that, so that none of it waits where select is blind
            if sign in (b"", b"\n"):
                return bool(sign)
    return False


def _split(given: Sequence[str]) -> list[str]:
    return [word.strip() for text in given for word in text.split(",") if word.strip()]


def _times(text: str) -> int:
    if not text.isascii() or not text.isdecimal() or not 1 <= len(text) <= 7 or int(text) == 0:
        from busdesign.findings import shown

        raise argparse.ArgumentTypeError(f"{shown(text)} is no number of times; write 1 or more")
    return int(text)


def _moment(text: str) -> int:
    from busdesign.findings import Refused
    from busdesign.units import duration_ns

    try:
        return duration_ns(text)
    except Refused as refused:
        raise argparse.ArgumentTypeError(str(refused)) from None


def _share(text: str) -> "Fraction":
    from busdesign.findings import Refused, shown
    from busdesign.units import positive

    try:
        share = positive(text, "ratio")
    except Refused as refused:
        raise argparse.ArgumentTypeError(str(refused)) from None
    if share > 1:
        raise argparse.ArgumentTypeError(f"{shown(text)} is more than the whole bus")
    return share


def _refused(findings: "Sequence[Finding]") -> Any:
    from busdesign.answers.replay import refused

    return refused(list(findings))
