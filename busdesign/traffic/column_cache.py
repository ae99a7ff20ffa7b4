"""Recordings that were read before, kept as columns, so that opening them again takes no time.

A large recording that was read to its end leaves a folder in the cache: one file a column, and `about.json`. It is
used again only for a recording of the same place, size, time of change, beginning and end; in any doubt the recording
is read anew. It is written under another name and renamed when whole; what cannot be written is not kept, silently.

The cache is in the platform's folder for caches, or where the environment's ``BUSDESIGN_CACHE`` says; empty: nowhere.
"""

import hashlib
import json
import os
import secrets
import shutil
import sys
import time
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any, BinaryIO, Final

import numpy as np

from busdesign.traffic.frames import DTYPES, Traffic
from busdesign.traffic.reading import BadLine

ENVIRONMENT: Final = "BUSDESIGN_CACHE"
LAYOUT: Final = 1  # raised whenever a reader says something else of the same file
MIN_BYTES = 1 << 22  # a smaller recording is read sooner than this pays off
MAX_FRAMES = 50_000_000  # 1.2 GB of columns
MAX_CACHE_BYTES = 4 << 30
_LEAST_LINE_BYTES = 20  # about; the frames of a recording are guessed from its size
_EDGE_BYTES = 1 << 16
_SETTLED_S = 2  # a file changed more recently may change again without a new time of change (FAT keeps 2 s)
_ABANDONED_S = 86_400
_ABOUT = "about.json"


@dataclass(frozen=True, slots=True)
class Identity:
    """What a recording is recognised by."""

    file: str
    size_bytes: int
    changed_ns: int
    edges: str

    @property
    def key(self) -> str:
        """The name of its folder in the cache."""
        return hashlib.blake2b(self.file.encode(errors="surrogateescape"), digest_size=16).hexdigest()


@dataclass(frozen=True, eq=False, slots=True)
class Kept:
    """A recording as it was read: all that its readers said."""

    traffic: Traffic
    bad_lines: tuple[BadLine, ...]
    bad_line_count: int
    notices: tuple[str, ...]
    resolution_ns: int | None


def identity(stream: BinaryIO) -> Identity | None:
    """Of the open file, which is left where it is; None if it is not worth keeping, or none that can be kept."""
    try:
        status = os.fstat(stream.fileno())
        if status.st_size < MIN_BYTES or cache_folder() is None:
            return None
        place = stream.tell()
        stream.seek(0)
        edges = hashlib.blake2b(stream.read(_EDGE_BYTES), digest_size=16)
        stream.seek(status.st_size - _EDGE_BYTES)
        edges.update(stream.read(_EDGE_BYTES))
        stream.seek(place)
    except OSError:
        return None
    return Identity(os.path.realpath(stream.name), status.st_size, status.st_mtime_ns, edges.hexdigest())


def cache_folder() -> Path | None:
    """Where recordings are kept; None for nowhere."""
    named = os.environ.get(ENVIRONMENT)
    if named is not None:
        return Path(named) if named else None
    if sys.platform == "win32":
        above = os.environ.get("LOCALAPPDATA", "")
    elif sys.platform == "darwin":
        above = os.path.expanduser("~/Library/Caches")
    else:
        above = os.environ.get("XDG_CACHE_HOME", "") or os.path.expanduser("~/.cache")
    return Path(above, "busdesign", "captures") if os.path.isabs(above) else None


def find(wanted: Identity) -> Kept | None:
    """The recording as it was kept; None if it was not, or is not the same any more."""
    folder = cache_folder()
    if folder is None:
        return None
    folder /= wanted.key
    try:
        about = json.loads((folder / _ABOUT).read_bytes())
        if about["layout"] != LAYOUT or about["byte_order"] != sys.byteorder or about["of"] != asdict(wanted):
            return None
        columns = [_mapped(folder / name, dtype, about["frames"]) for name, dtype in DTYPES.items()]
        return Kept(
            Traffic.of_valid(columns, tuple(about["channels"])),
            tuple(BadLine(**bad) for bad in about["bad_lines"]),
            about["bad_line_count"],
            tuple(about["notices"]),
            about["resolution_ns"],
        )
    except (OSError, ValueError, KeyError, TypeError):  # damaged, or of another version
        return None


def _mapped(file: Path, dtype: np.dtype[Any], frames: int) -> Any:
    column = np.memmap(file, dtype, mode="r").view(np.ndarray)
    if column.shape != (frames,):
        raise ValueError("a column of another length")
    return column


class Keeper:
    """Writes the blocks of one recording into the cache while it is being read."""

    def __init__(self, recording: Identity | None) -> None:
        self._of = recording
        self._frames = 0
        self._part: Path | None = None
        self._files: list[BinaryIO] = []
        if recording is not None and _is_worthwhile(recording):
            self._attempt(self._begin)

    def add(self, block: Traffic) -> None:
        """Keep one more block."""
        if self._part is not None:
            self._frames += len(block)
            self._attempt(self._write, block)

    def finish(
        self,
        stream: BinaryIO,
        channels: Sequence[str],
        bad_lines: Sequence[BadLine],
        bad_line_count: int,
        notices: Sequence[str],
        resolution_ns: int | None,
    ) -> None:
        """All blocks were added: keep them, unless the recording changed meanwhile or holds nothing."""
        if self._part is None or self._of is None:
            return
        if self._frames == 0 or identity(stream) != self._of:
            self.drop()
            return
        about = {
            "layout": LAYOUT,
            "byte_order": sys.byteorder,
            "of": asdict(self._of),
            "frames": self._frames,
            "channels": list(channels),
            "bad_lines": [asdict(bad) for bad in bad_lines],
            "bad_line_count": bad_line_count,
            "notices": list(notices),
            "resolution_ns": resolution_ns,
        }
        self._attempt(self._put_in_place, about)

    def drop(self) -> None:
        """Keep nothing."""
        for file in self._files:
            try:
                file.close()
            except OSError:  # a full disk: its last bytes could not be written
                continue
        if self._part is not None:
            shutil.rmtree(self._part, ignore_errors=True)
        self._part, self._files = None, []

    def _attempt(self, step: Any, *arguments: Any) -> None:
        try:
            step(*arguments)
        except (OSError, ValueError):
            self.drop()

    def _begin(self) -> None:
        folder = cache_folder()
        if folder is None:
            return
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        self._part = folder / f".{secrets.token_hex(6)}.part"
        self._part.mkdir(mode=0o700)
        for name in DTYPES:
            self._files.append(open(self._part / name, "xb", buffering=0))  # noqa: SIM115 closed in drop, and when whole

    def _write(self, block: Traffic) -> None:
        if self._frames > MAX_FRAMES:
            raise ValueError("too long to be kept")
        for name, file in zip(DTYPES, self._files, strict=True):
            column = getattr(block, name)
            if file.write(memoryview(column)) != column.nbytes:
                raise OSError("the disk is full")

    def _put_in_place(self, about: dict[str, Any]) -> None:
        assert self._part is not None
        assert self._of is not None
        for file in self._files:
            file.close()
        (self._part / _ABOUT).write_text(json.dumps(about))
        folder = self._part.parent
        place = folder / self._of.key
        if place.exists():
            stale = self._part.with_suffix(".stale")
            os.replace(place, stale)
            shutil.rmtree(stale, ignore_errors=True)
        os.replace(self._part, place)
        self._part, self._files = None, []
        _make_room(folder, place)


def _is_worthwhile(recording: Identity) -> bool:
    is_settled = recording.changed_ns < (time.time() - _SETTLED_S) * 1e9
    return is_settled and recording.size_bytes <= MAX_FRAMES * _LEAST_LINE_BYTES


def _make_room(folder: Path, newest: Path) -> None:
    """Remove what was left behind, and the recordings that were kept longest ago while all take too much room."""
    entries = []
    for entry in folder.iterdir():
        changed_s = entry.stat().st_mtime
        if entry.name.startswith("."):
            if changed_s < time.time() - _ABANDONED_S:
                shutil.rmtree(entry, ignore_errors=True)
        elif entry != newest:
            entries.append((changed_s, entry))
    taken = _size_bytes(newest)
    for _, entry in sorted(entries, reverse=True):
        taken += _size_bytes(entry)
        if taken > MAX_CACHE_BYTES:
            shutil.rmtree(entry, ignore_errors=True)


def _size_bytes(entry: Path) -> int:
    return sum(file.stat().st_size for file in entry.iterdir()) if entry.is_dir() else 0
