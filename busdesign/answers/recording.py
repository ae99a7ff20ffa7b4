"""A recording of traffic, read whole."""

import os

from busdesign.traffic import files
from busdesign.traffic.frames import Traffic


def read_traffic(path: str | os.PathLike[str]) -> Traffic:
    """The frames in the file at ``path``, a SocketCAN text log (``.log``) or our CSV (``.csv``).

    Lines that cannot be read cost only themselves; ``busdesign.traffic.files.read_traffic`` tells which and why. Raises
    CaptureError if there is no such file or nothing in it can be read.
    """
    return files.read_traffic(path).traffic
