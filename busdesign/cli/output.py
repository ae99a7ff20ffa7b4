"""What goes to stdout and stderr: a reader that leaves early changes no verdict, and a full disk is said once."""

import os
import sys
from typing import TextIO

from busdesign.errors import OutputError


def say(text: str) -> None:
    """Print ``text`` on stdout; nothing more is printed once its reader has left. Raises OutputError."""
    try:
        print(text, flush=True)
    except BrokenPipeError:
        _drop_the_rest(sys.stdout)
    except OSError as reason:
        _drop_the_rest(sys.stdout)
        raise OutputError(f"cannot print the answer: {reason.strerror}") from None


def tell(text: str) -> None:
    """Print ``text`` on stderr, if anybody is there to read it."""
    try:
        print(text, file=sys.stderr, flush=True)
    except OSError:
        _drop_the_rest(sys.stderr)


def prepare_streams() -> None:
    """Make stdout and stderr such that no text fails on them, even where one is closed or knows few letters."""
    for name in ("stdout", "stderr"):
        stream = getattr(sys, name)
        if stream is None:
            setattr(sys, name, open(os.devnull, "w"))  # noqa: SIM115 (it lasts as long as the process)
        else:
            stream.reconfigure(errors="backslashreplace")


def flush_streams() -> None:
    """Leave nothing for the interpreter to flush, which would complain of a reader that has left."""
    for stream in (sys.stdout, sys.stderr):
        try:
            stream.flush()
        except OSError:
            _drop_the_rest(stream)


def can_show(text: str, stream: TextIO) -> bool:
    """Whether ``stream`` knows all letters of ``text``."""
    try:
        text.encode(stream.encoding or "ascii")
    except UnicodeEncodeError:
        return False
    return True


def _drop_the_rest(stream: TextIO) -> None:
    os.dup2(os.open(os.devnull, os.O_WRONLY), stream.fileno())
