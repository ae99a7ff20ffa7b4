"""A recording opened for reading block by block, so that its length does not matter.

capture = open_capture("bench.log.gz", channel="can1")
for block in capture.blocks():          # Traffic, some ten thousand frames at a time
    ...
capture.bad_lines.total, capture.channels, capture.facts
"""

import io
import os
from collections.abc import Generator, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import replace
from typing import BinaryIO, cast

from busdesign.errors import CaptureError
from busdesign.findings import Finding, Place, Severity, did_you_mean
from busdesign.traffic import column_cache
from busdesign.traffic.facts import RecordingFacts, read_facts
from busdesign.traffic.formats import Format, about_neighbours, format_to_read, refused
from busdesign.traffic.frames import Traffic
from busdesign.traffic.inflating import Inflating
from busdesign.traffic.reading import BLOCK_FRAMES, BadLines, Gathering, Reading, joined

_LEAST_LINE_BYTES = 27  # about; where a file is read whole, its block is made as large as its frames may need


class Capture:
    """A recording and what is known of it; ``blocks`` reads it from its beginning each time.

    ``channels`` (names), ``bad_lines`` and ``notices`` (sentences about the file as a whole) hold what was met so far,
    all of it once ``blocks`` has come to its end; ``part_read`` is the part of the file, 0 to 1, that was read so far.
    ``facts`` gains the clock's resolution where the file says it.
    """

    def __init__(self, path: str | os.PathLike[str], channel: str | None, facts: RecordingFacts) -> None:
        self.path = os.fspath(path)
        self.channel = channel
        self.facts = facts
        self.bad_lines = BadLines()
        self.notices: Sequence[str] = ()
        self.channels: tuple[str, ...] = ()
        self.is_from_cache = False
        self.part_read = 0.0

    def blocks(self, block_frames: int = BLOCK_FRAMES) -> Generator[Traffic, None, None]:
        """The frames in the order of the file, at most ``block_frames`` at a time; times go on from block to block.

        The memory this takes does not grow with the file. Raises CaptureError if there is no such file, its format is
        unknown, nothing in it can be read, or the chosen channel is not in it.
        """
        with self._opened() as (frame_format, stream):
            recording = column_cache.identity(stream)
            kept = column_cache.find(recording) if recording else None
            if kept:
                self._recall(kept)
                for at in range(0, len(kept.traffic), block_frames):
                    self.part_read = min((at + block_frames) / len(kept.traffic), 1.0)
                    yield self._chosen(kept.traffic[at : at + block_frames])
            else:
                yield from self._read(frame_format, stream, block_frames, column_cache.Keeper(recording))
        if self.channel is not None and self.channel not in self.channels:
            text = f"there is no channel `{self.channel}` in `{self.path}`"
            raise refused(self.path, "capture-channel", text, did_you_mean(self.channel, self.channels))

    def whole(self) -> Reading:
        """All frames in one piece. Raises CaptureError as ``blocks``."""
        try:
            block_frames = max(os.path.getsize(self.path) // _LEAST_LINE_BYTES, BLOCK_FRAMES)
        except (OSError, ValueError):  # which opening it will say better
            block_frames = BLOCK_FRAMES
        traffic = joined(list(self.blocks(block_frames)), self.channels)
        return Reading(traffic, tuple(self.bad_lines), self.bad_lines.total, tuple(self.notices))

    @contextmanager
    def _opened(self) -> Iterator[tuple[Format, BinaryIO]]:
        frame_format = format_to_read(self.path)
        try:
            with open(self.path, "rb") as stream:
                yield frame_format, stream
        except FileNotFoundError:
            text = f"there is no file `{self.path}`"
            raise refused(self.path, "capture-missing", text, about_neighbours(self.path)) from None
        except IsADirectoryError:
            text = f"`{self.path}` is a folder"
            raise refused(self.path, "capture-missing", text, "name one file in it") from None
        except (OSError, ValueError) as reason:  # ValueError: a NUL in the path
            text = f"`{self.path}` cannot be read: {getattr(reason, 'strerror', None) or reason}"
            raise refused(self.path, "capture-missing", text, "check the path and the right to read it") from reason

    def _read(
        self, frame_format: Format, stream: BinaryIO, block_frames: int, keeper: column_cache.Keeper
    ) -> Iterator[Traffic]:
        gathering = Gathering(block_frames)
        self.is_from_cache, self.bad_lines, self.notices = False, gathering.bad_lines, gathering.notices
        count, size = 0, os.fstat(stream.fileno()).st_size  # 0 of a pipe
        try:
            with _content(stream, frame_format, gathering) as content:
                for block in frame_format.reader(stream)(content, gathering):
                    count += len(block)
                    self.part_read = stream.tell() / size if size else 0.0
                    self.channels = block.channels
                    keeper.add(block)
                    yield self._chosen(block)
            self.channels = gathering.channel_names
            if gathering.resolution_ns and self.facts.resolution_ns is None:
                self.facts = replace(self.facts, resolution_ns=gathering.resolution_ns)
            if count == 0:
                self._require_plausible(frame_format, stream)
            keeper.finish(
                stream, self.channels, self.bad_lines, self.bad_lines.total, self.notices, gathering.resolution_ns
            )
        finally:
            keeper.drop()

    def _recall(self, kept: column_cache.Kept) -> None:
        self.is_from_cache = True
        self.bad_lines = BadLines(kept.bad_lines, kept.bad_line_count)
        self.notices, self.channels = kept.notices, kept.traffic.channels
        if kept.resolution_ns and self.facts.resolution_ns is None:
            self.facts = replace(self.facts, resolution_ns=kept.resolution_ns)

    def _chosen(self, block: Traffic) -> Traffic:
        if self.channel is None:
            return block
        if self.channel not in block.channels:
            return block[:0]
        return block[block.channel == block.channels.index(self.channel)]

    def _require_plausible(self, frame_format: Format, stream: BinaryIO) -> None:
        """Raise CaptureError unless a recording without frames says in so many words that it has none."""
        if self.bad_lines:
            first = self.bad_lines[0]
            place = Place(self.path, first.line, 1, first.quoted)
            text = f"no frame can be read in `{self.path}` ({self.bad_lines.total} bad lines): {first.reason}"
            fix = f"it is read as {frame_format.name}, by its suffix; rename the file if it is another"
            raise CaptureError([Finding("capture-unreadable", Severity.ERROR, place, text, fix)])
        if not frame_format.may_be_empty or os.fstat(stream.fileno()).st_size == 0:
            text = f"`{self.path}` holds no frame"
            raise refused(self.path, "capture-unreadable", text, "check that the recorder was running")


@contextmanager
def _content(stream: BinaryIO, frame_format: Format, gathering: Gathering) -> Iterator[BinaryIO]:
    """The file as it is, or what is inside a compressed one, whose damage counts as one bad line more."""
    if not frame_format.is_compressed:
        yield stream
        return
    inflating = Inflating(stream)
    with cast(BinaryIO, io.BufferedReader(inflating, 1 << 16)) as content:
        yield content
        if inflating.damage:
            gathering.refuse(gathering.line_count + 1, b"", inflating.damage)


def open_capture(
    path: str | os.PathLike[str], *, channel: str | None = None, facts: RecordingFacts | None = None
) -> Capture:
    """The recording at ``path``; nothing of it is read yet. ``channel``: the frames of that one only, by its name.

    ``facts`` go before those that stand in a file beside it (see ``facts``). Raises CaptureError if that file is wrong.
    """
    return Capture(path, channel, read_facts(path) if facts is None else facts)
