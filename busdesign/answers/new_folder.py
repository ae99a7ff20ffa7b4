"""A folder of files made whole or not at all, where nothing is yet: nothing is ever overwritten."""

import errno
import os
import secrets
import shutil
from collections.abc import Mapping
from contextlib import suppress
from pathlib import Path

from busdesign.errors import OutputError


def require_free(folder: str | os.PathLike[str]) -> None:
    """Raises OutputError unless ``folder`` could be made, or is there and empty."""
    try:
        _require_free(folder)
    except (OSError, ValueError) as reason:  # ValueError: a NUL in the path
        raise _refused(folder, reason) from None


def write_new_folder(folder: str | os.PathLike[str], files: Mapping[str, str]) -> None:
    """Make ``folder`` with all ``files`` (path in it → text, as UTF-8). Raises OutputError, and then leaves nothing.

    They are written into a folder of another name, which then takes the place of ``folder``. An empty folder that is
    there already stays the same one, since somebody may be standing in it: its files are moved in.
    """
    require_free(folder)
    target = Path(os.path.realpath(folder))
    try:
        if target.is_dir():
            _fill(target, files)
        else:
            _make(target, files)
    except OSError as reason:
        raise _refused(folder, reason) from None


def _require_free(folder: str | os.PathLike[str]) -> None:
    target = Path(os.path.realpath(folder))
    if not os.fspath(folder):
        raise OutputError("a new project needs the name of a folder")
    if target.is_dir():
        if any(target.iterdir()):
            raise OutputError(f"cannot make a project in `{folder}`: the folder is not empty")
    elif os.path.lexists(target) or os.path.lexists(folder):
        raise OutputError(f"cannot make the folder `{folder}`: there is a file of that name")
    elif not target.parent.exists():
        raise OutputError(f"cannot make the folder `{folder}`: there is no folder `{Path(folder).parent}`")
    where = target if target.is_dir() else target.parent
    if where.is_dir() and not os.access(where, os.W_OK | os.X_OK):
        raise OutputError(f"cannot make the folder `{folder}`: `{where}` may not be written")


def _make(target: Path, files: Mapping[str, str]) -> None:
    beside = target.with_name(_passing_name())
    try:
        _write(beside, files)
        os.rename(beside, target)  # fails if something with a content has come there meanwhile
    except BaseException:
        _remove(beside)
        raise


def _fill(target: Path, files: Mapping[str, str]) -> None:
    inside = target / _passing_name()
    moves: list[tuple[Path, Path]] = []
    try:
        _write(inside, files)
        moves = [(part, target / part.name) for part in sorted(inside.iterdir())]
        for part, place in moves:
            if os.path.lexists(place):
                raise FileExistsError(errno.EEXIST, f"`{place.name}` has come there meanwhile")
            os.rename(part, place)
        inside.rmdir()
    except BaseException:
        for part, place in moves:
            if not os.path.lexists(part):  # it has moved, so what lies there is ours
                _remove(place)
        _remove(inside)
        raise


def _write(folder: Path, files: Mapping[str, str]) -> None:
    folder.mkdir()
    for name, text in files.items():
        file = folder / name
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_bytes(text.encode())


def _passing_name() -> str:
    # Not the target's with an ending: that could be longer than the disk allows.
    return f".busdesign-{secrets.token_hex(6)}.part"


def _remove(path: Path) -> None:
    if path.is_dir():
        shutil.rmtree(path, ignore_errors=True)
    else:
        with suppress(OSError):
            path.unlink()


def _refused(folder: str | os.PathLike[str], reason: Exception) -> OutputError:
    return OutputError(f"cannot make the folder `{folder}`: {getattr(reason, 'strerror', None) or reason}")
