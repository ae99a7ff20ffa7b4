"""The frames of one bus in a recording, block by block: what audits and comparisons go through."""

from collections.abc import Callable, Iterable, Iterator
from itertools import chain
from typing import TYPE_CHECKING

from busdesign.errors import CaptureError
from busdesign.findings import Finding, Place, Severity

if TYPE_CHECKING:
    from busdesign.traffic.capture import Capture
    from busdesign.traffic.frames import Traffic

BLOCK_FRAMES = 1 << 18  # of a few dozen messages: enough frames of each for whole columns to pay


def first_of(opened: "Capture") -> "tuple[Traffic, Iterator[Traffic]]":
    """The first block that holds frames, and all of them. Raises CaptureError if none does."""
    blocks = iter(opened.blocks(BLOCK_FRAMES))
    for block in blocks:
        if len(block):
            return block, chain([block], blocks)
    text = f"`{opened.path}` holds no frame" + (f" of channel `{opened.channel}`" if opened.channel else "")
    raise CaptureError([of_capture("capture-unreadable", opened.path, text, "check that the recorder was running")])


def one_channel(
    blocks: "Iterable[Traffic]", opened: "Capture", progress: Callable[[float], None] | None = None
) -> "Iterator[Traffic]":
    """The blocks as they are, as long as all frames are of one channel: two buses are not one.

    ``progress`` is told the part of the file that was read, 0 to 1. Raises CaptureError.
    """
    met = None
    for block in blocks:
        if len(block) and opened.channel is None:
            low, high = int(block.channel.min()), int(block.channel.max())
            met = low if met is None else met
            if low != high or low != met:
                names = ", ".join(f"`{name}`" for name in block.channels)
                text, fix = f"`{opened.path}` holds frames of several channels: {names}", "choose one with --channel"
                raise CaptureError([of_capture("capture-channels", opened.path, text, fix)])
        if progress is not None:
            progress(opened.part_read)
        yield block


def of_capture(rule: str, path: str, text: str, fix: str) -> Finding:
    """A finding about a recording as a whole."""
    return Finding(rule, Severity.ERROR, Place(path, 1, 1), text, fix)
