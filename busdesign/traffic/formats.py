"""Which format a recording has: by its suffix, and by the one before it where that is `.gz`."""

import os
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import BinaryIO, Protocol

from busdesign.errors import CaptureError, OutputError
from busdesign.findings import Finding, Place, Severity, did_you_mean
from busdesign.traffic import csv_file, other_formats, pcapng, text_log
from busdesign.traffic.frames import Traffic
from busdesign.traffic.reading import BlockReader

LARGE_BYTES = 1 << 24  # a text log of about 400 000 frames: from here on compiled code is worth its start-up time
LARGE_COMPRESSED_BYTES = LARGE_BYTES // 4
COMPRESSED = ".gz"


class Encoder(Protocol):
    """Traffic as bytes of one format, a part after the other."""

    def encode(self, traffic: Traffic) -> bytes:
        """The bytes that follow those given so far; the first ones begin the file."""
        ...


@dataclass(frozen=True, slots=True)
class Format:
    """How a recording is read and, where it can be, written. ``may_be_empty``: without a frame it still says so."""

    name: str
    reader: Callable[[BinaryIO], BlockReader]
    encoder: Callable[[], Encoder] | None
    may_be_empty: bool = False
    is_compressed: bool = False


def _text_log_reader(stream: BinaryIO) -> BlockReader:
    is_compressed = os.fspath(stream.name).lower().endswith(COMPRESSED)
    if os.fstat(stream.fileno()).st_size < (LARGE_COMPRESSED_BYTES if is_compressed else LARGE_BYTES):
        return text_log.blocks
    from busdesign.traffic import large_log  # loads numba

    return large_log.blocks


_FORMATS: Mapping[str, Format] = {
    ".log": Format("SocketCAN text log", _text_log_reader, text_log.Encoder),
    ".csv": Format("comma-separated values", lambda _: csv_file.blocks, csv_file.Encoder, may_be_empty=True),
    ".pcapng": Format("pcapng, link type 227", lambda _: pcapng.blocks, pcapng.Encoder, may_be_empty=True),
}


def format_to_read(path: str | os.PathLike[str]) -> Format:
    """The format of ``path`` by its suffix. Raises CaptureError if neither we nor python-can read it."""
    suffix, is_compressed = _suffix(path)
    if suffix in _FORMATS:
        return replace(_FORMATS[suffix], is_compressed=is_compressed)
    if suffix and suffix in other_formats.suffixes():
        return Format(f"`{suffix}`, through python-can", lambda _: other_formats.blocks, None)
    fix = f"{_about_suffix(suffix)}, each also with `{COMPRESSED}`; and what python-can reads"
    raise refused(path, "capture-format", f"`{os.fspath(path)}` is no recording that can be read", fix)


def format_to_write(path: str | os.PathLike[str]) -> Format:
    """The format of ``path`` by its suffix. Raises OutputError if it is none that is written."""
    suffix, is_compressed = _suffix(path)
    if suffix not in _FORMATS:
        raise OutputError(f"cannot write `{os.fspath(path)}` as a recording: {_about_suffix(suffix)}")
    return replace(_FORMATS[suffix], is_compressed=is_compressed)


def refused(path: str | os.PathLike[str], rule: str, text: str, fix: str) -> CaptureError:
    """A finding about a recording as a whole, to be raised."""
    return CaptureError([Finding(rule, Severity.ERROR, Place(os.fspath(path), 1, 1), text, fix)])


def about_neighbours(path: str | os.PathLike[str]) -> str:
    """A hint for a recording that is not there: the one beside it that may be meant."""
    folder, name = Path(path).parent, Path(path).name
    if not folder.is_dir():
        return f"there is no folder `{folder}` either"
    recordings = sorted(other.name for other in folder.iterdir() if _suffix(other)[0] in _FORMATS)
    return did_you_mean(name, recordings) or f"there is no recording in `{folder}`"


def _suffix(path: str | os.PathLike[str]) -> tuple[str, bool]:
    name = Path(path).name.lower()
    return Path(name.removesuffix(COMPRESSED)).suffix, name.endswith(COMPRESSED)


def _about_suffix(suffix: str) -> str:
    known = ", ".join(f"`{suffix}` ({known.name})" for suffix, known in _FORMATS.items())
    return f"its suffix {f'`{suffix}` is unknown' if suffix else 'is missing'}; allowed: {known}"
