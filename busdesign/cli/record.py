"""``busdesign record``: listen to an interface, keep what comes, hold it against the catalogue as it comes."""

import argparse
import os
import sys
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any

from busdesign.cli.exits import BROKEN, HOLDS

if TYPE_CHECKING:
    from busdesign.answers.record import RecordAnswer
    from busdesign.bench.recording import Counts
    from busdesign.findings import Finding

EPILOG = """exit status: 0 frames came, and with a catalogue none of them breaks a promise, 1 not so,
2 the interface, the catalogue or the file cannot be used

Ctrl-C ends it in order: the file is whole and the answer is printed. Nothing is ever sent.

example: busdesign record socketcan:can0 -o bench.log --catalogue messages/saltmarsh.yaml --for '10 s'"""


def add_to(commands: Any) -> None:
    """Add this command to the command line."""
    about = "listen to an interface of python-can and keep what comes; with a catalogue, audit it as it comes"
    parser = commands.add_parser("record", help=about, description=about, epilog=EPILOG)
    parser.add_argument("interface", metavar="INTERFACE:CHANNEL", help="as python-can names it, such as socketcan:can0")
    where = "a new file: .log (SocketCAN text), .csv or .pcapng, each also with .gz"
    parser.add_argument("-o", "--output", metavar="FILE", required=True, help=where)
    parser.add_argument("--catalogue", metavar="CATALOGUE", help="hold it against this YAML file as it comes")
    parser.add_argument(
        "--for", metavar="TIME", dest="lasting", type=duration, help="such as '10 s'; else until Ctrl-C"
    )
    rate = "for an adapter that must be told; else the catalogue's"
    parser.add_argument("--bit-rate", metavar="RATE", type=_bit_rate, help=rate)
    parser.add_argument("--json", action="store_true", help="the answer as JSON on stdout")
    parser.set_defaults(answer=answer, refused=_refused)


def answer(given: argparse.Namespace) -> int:
    """Listen, print, return the exit status."""
    from busdesign.answers.record import record
    from busdesign.cli.output import say, tell

    quiet_libraries()
    refuse_record_over(given.output, [given.catalogue])
    if not given.json:
        tell(f"listening to {given.interface}; Ctrl-C ends it")
    line = LiveLine()
    found = record(
        given.interface,
        given.output,
        catalogue=given.catalogue,
        for_ns=given.lasting,
        bit_rate_bit_s=given.bit_rate,
        told=line.show,
    )
    line.close()
    if given.json:
        from busdesign.cli.json_output import print_json

        print_json(found)
    else:
        say(record_text(found))
        say(f"\nwritten: {found.file}")
        say(_next(found, given))
    return HOLDS if found.holds else BROKEN


def record_text(found: "RecordAnswer") -> str:
    """The answer for people: with a catalogue, first all that the audit says."""
    from busdesign.cli.audit import audit_text
    from busdesign.cli.text import findings_text, printable, verdict

    parts = [audit_text(found.audit), ""] if found.audit else []
    parts += [f"{printable(found.interface)}: {_counted(found)} in {found.duration_s:.1f} s", found.about_silence, ""]
    if found.findings:
        parts += [findings_text(found.findings, sys.stdout), ""]
    return "\n".join([*parts, verdict(found.holds, _verdict(found), sys.stdout)])


def _counted(found: "RecordAnswer") -> str:
    from busdesign.findings import counted

    parts = [f"{counted(found.frames, 'frame')} of {counted(found.identifiers, 'identifier')}"]
    parts += [f"{found.unknown} of them unknown to the catalogue"] if found.unknown else []
    parts += [counted(found.error_frames, "error frame")] if found.error_frames else []
    parts += [f"{counted(found.fd_frames, 'FD frame')} that cannot be kept yet"] if found.fd_frames else []
    return ", ".join(parts)


def _verdict(found: "RecordAnswer") -> str:
    if found.findings:
        return "; ".join(one.text for one in found.findings)
    if found.audit is None:
        return "recorded; without a catalogue nothing is held against it"
    return "recorded, and it breaks no promise" if found.holds else "recorded, and it breaks a promise"


def _next(found: "RecordAnswer", given: argparse.Namespace) -> str:
    from busdesign.cli.text import about_rules, command, next_steps, typed

    rules = about_rules(found.findings)
    if not found.frames:
        return next_steps(*rules)
    catalogue = given.catalogue or "CATALOGUE"
    onto = command("replay", typed(found.file), "--onto", "virtual:desk")
    return next_steps(*rules, command("audit", typed(found.file), "--catalogue", catalogue), onto)


class LiveLine:
    """One line of counts on stderr, written over; silent where that is no terminal."""

    def __init__(self) -> None:
        self._is_shown = sys.stderr.isatty()
        self._width = 0
        self._at_s = 0.0

    def show(self, counts: "Counts") -> None:
        """Show what came so far, a few times a second."""
        from time import monotonic

        now_s = monotonic()
        if not self._is_shown or now_s - self._at_s < 0.2:
            return
        self._at_s = now_s
        unknown = f", {counts.unknown} unknown" if counts.known is not None else ""
        text = f"{counts.frames} frames, {len(counts.identifiers)} identifiers{unknown}, {counts.error_frames} errors"
        self._write(f"\r{text.ljust(self._width)}")
        self._width = len(text)

    def close(self) -> None:
        """Leave the line clean."""
        if self._width:
            self._write(f"\r{' ' * self._width}\r")

    def _write(self, text: str) -> None:
        try:
            sys.stderr.write(text)
            sys.stderr.flush()
        except OSError:
            self._is_shown = False


def quiet_libraries() -> None:
    """What python-can logs of its own is said by us, once and plainly."""
    import logging

    logging.getLogger("can").setLevel(logging.CRITICAL + 1)


def refuse_record_over(path: str, read: Sequence[str | None]) -> None:
    """Before anything is opened: OutputError if ``path`` cannot become a new recording."""
    from busdesign.answers.compile import folder_for
    from busdesign.errors import OutputError
    from busdesign.traffic.files import require_writable_format

    require_writable_format(path)
    for source in read:
        if source and os.path.realpath(path) == os.path.realpath(source):
            raise OutputError(f"cannot write `{path}`: it is read, and would be lost")
    if os.path.exists(path):
        raise OutputError(f"cannot record to `{path}`: there is such a file already")
    folder_for(os.path.dirname(path) or ".")


def duration(text: str) -> int:
    """A time above zero, such as ``10 s``, in ns; for argparse."""
    from busdesign.units import positive_duration_ns

    return _read(positive_duration_ns, text)


def _bit_rate(text: str) -> int:
    from busdesign.units import positive

    return _read(lambda written: int(positive(written, "bit rate")), text)


def _read(reader: Callable[[str], int], text: str) -> int:
    from busdesign.findings import Refused

    try:
        return reader(text)
    except Refused as refused:
        raise argparse.ArgumentTypeError(str(refused)) from None


def _refused(findings: "Sequence[Finding]") -> Any:
    from busdesign.answers.record import refused

    return refused(findings)
