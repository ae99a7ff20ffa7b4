"""A recording of traffic, read whole."""

import os

from busdesign.traffic import files
from busdesign.traffic.frames import Traffic


def read_traffic(path: str | os.PathLike[str]) -> Traffic:
    """The frames in the file at ``path``, a text log (``.log``), our CSV (``.csv``) or a ``.pcapng``.

    Each may also be compressed (``.gz``); what else the python-can library reads is read through it.

    Lines that cannot be read cost only themselves; ``busdesign.traffic.files.read_traffic`` tells which and why. Raises
    CaptureError if there is no such file or nothing in it can be read.
    """
    return files.read_traffic(path).traffic
