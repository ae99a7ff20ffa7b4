"""Recordings on disk: read and written by their suffix."""

import os
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

from busdesign.errors import CaptureError, OutputError
from busdesign.findings import Finding, Place, Severity, did_you_mean
from busdesign.outputs import write_bytes
from busdesign.traffic import csv_file, text_log
from busdesign.traffic.frames import Traffic
from busdesign.traffic.reading import Reading

LARGE_BYTES = 1 << 24  # a text log of about 400 000 frames: from here on compiled code is worth its start-up time


def _read_text_log(stream: BinaryIO) -> Reading:
    if os.fstat(stream.fileno()).st_size < LARGE_BYTES:
        return text_log.read(stream)
    from busdesign.traffic import large_log  # loads numba

    return large_log.read(stream)


@dataclass(frozen=True, slots=True)
class _Format:
    name: str
    read: Callable[[BinaryIO], Reading]
    write: Callable[[Traffic], bytes]


_FORMATS: Mapping[str, _Format] = {
    ".log": _Format("SocketCAN text log", _read_text_log, text_log.write),
    ".csv": _Format("comma-separated values", csv_file.read, csv_file.write),
}


def read_traffic(path: str | os.PathLike[str]) -> Reading:
    """The frames of the recording at ``path``, and what of it could not be read.

    Raises CaptureError if there is no such file, its suffix is none of `.log` and `.csv`, or not one frame can be
    read in it. A `.csv` that holds its header and nothing else is read: it says that nothing was sent.
    """
    frame_format = _FORMATS.get(Path(path).suffix.lower())
    if frame_format is None:
        raise _refused(path, "capture-format", f"`{path}` is no recording that can be read", _about_suffix(path))
    try:
        with open(path, "rb") as stream:
            reading = frame_format.read(stream)
            size_bytes = stream.tell()
    except FileNotFoundError:
        raise _refused(path, "capture-missing", f"there is no file `{path}`", _about_neighbours(Path(path))) from None
    except IsADirectoryError:
        raise _refused(path, "capture-missing", f"`{path}` is a folder", "name one file in it") from None
    except (OSError, ValueError) as reason:  # ValueError: a NUL in the path
        text = f"`{path}` cannot be read: {getattr(reason, 'strerror', None) or reason}"
        raise _refused(path, "capture-missing", text, "check the path and the right to read it") from reason
    if len(reading.traffic) == 0:
        _require_plausible(path, frame_format, reading, size_bytes)
    return reading


def write_traffic(traffic: Traffic, path: str | os.PathLike[str]) -> None:
    """Write ``traffic`` to ``path``, in the format of its suffix, whole or not at all. Raises OutputError."""
    write_bytes(path, require_writable_format(path).write(traffic))


def require_writable_format(path: str | os.PathLike[str]) -> "_Format":
    """The format of ``path`` by its suffix. Raises OutputError if that is none of `.log` and `.csv`."""
    frame_format = _FORMATS.get(Path(path).suffix.lower())
    if frame_format is None:
        raise OutputError(f"cannot write `{path}` as a recording: {_about_suffix(path)}")
    return frame_format


def _require_plausible(path: str | os.PathLike[str], frame_format: _Format, reading: Reading, size_bytes: int) -> None:
    """Raise CaptureError unless a recording without frames says in so many words that it has none."""
    if reading.bad_lines:
        first = reading.bad_lines[0]
        raise CaptureError(
            [
                Finding(
                    "capture-unreadable",
                    Severity.ERROR,
                    Place(os.fspath(path), first.line, 1, first.quoted),
                    f"no frame can be read in `{path}` ({reading.bad_line_count} bad lines): {first.reason}",
                    f"a `{Path(path).suffix}` file is read as {frame_format.name}; rename the file if it is another",
                )
            ]
        )
    if frame_format is not _FORMATS[".csv"] or size_bytes == 0:
        raise _refused(path, "capture-unreadable", f"`{path}` holds no frame", "check that the recorder was running")


def _refused(path: str | os.PathLike[str], rule: str, text: str, fix: str) -> CaptureError:
    return CaptureError([Finding(rule, Severity.ERROR, Place(os.fspath(path), 1, 1), text, fix)])


def _about_suffix(path: str | os.PathLike[str]) -> str:
    known = ", ".join(f"`{suffix}` ({known.name})" for suffix, known in _FORMATS.items())
    suffix = Path(path).suffix
    return f"its suffix {f'`{suffix}` is unknown' if suffix else 'is missing'}; allowed: {known}"


def _about_neighbours(path: Path) -> str:
    if not path.parent.is_dir():
        return f"there is no folder `{path.parent}` either"
    recordings = sorted(other.name for other in path.parent.iterdir() if other.suffix.lower() in _FORMATS)
    return did_you_mean(path.name, recordings) or f"there is no recording in `{path.parent}`"
