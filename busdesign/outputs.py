"""Files are written whole or not at all: into a temporary file beside the target, which then takes its place."""

import errno
import os
import secrets
from collections.abc import Iterable
from pathlib import Path

from busdesign.errors import OutputError


def write_text(path: str | os.PathLike[str], text: str) -> None:
    """Write ``text`` to ``path`` as UTF-8, line ends as they are. Raises OutputError, as ``write_bytes``."""
    write_bytes(path, text.encode())


def write_bytes(path: str | os.PathLike[str], data: bytes) -> None:
    """Write ``data`` to ``path``. Raises OutputError; what was there before is then untouched.

    A symbolic link is followed, and a device or a pipe is written to: neither is replaced by a file.
    """
    try:
        _write(Path(os.path.realpath(path)), data)
    except FileNotFoundError:
        raise OutputError(f"cannot write `{path}`: there is no folder `{Path(path).parent}`") from None
    except (OSError, ValueError) as reason:  # ValueError: a NUL in the path
        raise OutputError(f"cannot write `{path}`: {getattr(reason, 'strerror', None) or reason}") from reason


def refuse_to_overwrite(path: str | os.PathLike[str], inputs: Iterable[str | os.PathLike[str]]) -> None:
    """Raises OutputError if the result ``path`` is one of the files that it is made from, by whatever name."""
    for source in inputs:
        if os.path.exists(path) and os.path.exists(source) and os.path.samefile(path, source):
            raise OutputError(f"cannot write `{path}`: it is made from that file, which would be lost")


def _write(target: Path, data: bytes) -> None:
    if target.is_dir():
        raise IsADirectoryError(errno.EISDIR, "it is a folder")
    if target.exists() and not target.is_file():
        target.write_bytes(data)
    else:
        _write_beside_and_replace(target, data)


def _write_beside_and_replace(target: Path, data: bytes) -> None:
    # A name of its own, not the target's with an ending: that could be longer than the disk allows.
    beside = target.with_name(f".busdesign-{secrets.token_hex(6)}.part")
    try:
        with open(beside, "xb") as file:  # not tempfile: it would make the result private to its owner
            file.write(data)
        if target.exists():
            beside.chmod(target.stat().st_mode & 0o7777)
        os.replace(beside, target)
    except BaseException:
        beside.unlink(missing_ok=True)
        raise
