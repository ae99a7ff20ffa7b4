"""Recordings on disk: read whole and written whole, by their suffix."""

import gzip
import os

from busdesign.outputs import write_bytes
from busdesign.traffic.capture import Capture
from busdesign.traffic.facts import RecordingFacts
from busdesign.traffic.formats import Format, format_to_write
from busdesign.traffic.frames import Traffic
from busdesign.traffic.reading import Reading

_LEVEL = 6  # of compression: gzip's own choice


def read_traffic(path: str | os.PathLike[str], *, channel: str | None = None) -> Reading:
    """The frames of the recording at ``path``, and what of it could not be read. ``channel``: of that one only.

    Raises CaptureError if there is no such file or channel, its format is unknown (``formats``), or not one frame can
    be read in it. A `.csv` that holds its header and nothing else is read: it says that nothing was sent; so is a
    `.pcapng` without frames. ``capture.open_capture`` reads block by block.
    """
    return Capture(path, channel, RecordingFacts()).whole()


def write_traffic(traffic: Traffic, path: str | os.PathLike[str]) -> None:
    """Write ``traffic`` to ``path``, in the format of its suffix, whole or not at all. Raises OutputError."""
    frame_format = require_writable_format(path)
    assert frame_format.encoder is not None
    content = frame_format.encoder().encode(traffic)
    if frame_format.is_compressed:
        content = gzip.compress(content, _LEVEL, mtime=0)  # no time in it: the same traffic gives the same bytes
    write_bytes(path, content)


def require_writable_format(path: str | os.PathLike[str]) -> Format:
    """The format of ``path`` by its suffix. Raises OutputError if it is none that is written."""
    return format_to_write(path)
