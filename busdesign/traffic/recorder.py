"""Frames kept on disk while they come in, so that little is lost if the computer is switched off at the wrong moment.

    with Recorder("bench.log", channels=("can0",)) as recorder:
        recorder.add(end_ns, 0x110, 0, 2, "can0", 0x0002)

What was added is handed to the operating system after ``flush_s`` at the latest, or ``flush_frames`` if that is sooner,
in whole lines (blocks of a pcapng, parts of a compressed file). So a program that is killed leaves a file that can be
read. A computer without power may lose what its operating system had not written yet, some ten seconds of it.
"""

import contextlib
import os
import threading
import zlib
from types import TracebackType
from typing import Protocol, Self

from busdesign.errors import OutputError
from busdesign.traffic.formats import Encoder, format_to_write
from busdesign.traffic.frames import MAX_CHANNELS, Row, Traffic, require_row

FLUSH_S = 0.5
FLUSH_FRAMES = 1000
_GZIP = 16 + zlib.MAX_WBITS


class _Packing(Protocol):
    def part(self, content: bytes) -> bytes: ...
    def end(self) -> bytes: ...


class Recorder:
    """Writes a new recording at ``path``, in the format of its suffix, while frames are added, from any thread.

    Raises OutputError if the format is none that is written, the file is there already (a recording is not written
    over), or it cannot be written on; what was written before then stays.
    """

    def __init__(
        self,
        path: str | os.PathLike[str],
        *,
        channels: tuple[str, ...] = ("can0",),
        flush_s: float = FLUSH_S,
        flush_frames: int = FLUSH_FRAMES,
    ) -> None:
        if flush_s <= 0 or flush_frames <= 0:
            raise ValueError(f"flush_s and flush_frames must be above 0, got {flush_s} and {flush_frames}")
        self.path = os.fspath(path)
        self.frames_added = 0
        frame_format = format_to_write(path)
        assert frame_format.encoder is not None
        self._encoder: Encoder = frame_format.encoder()
        self._packing: _Packing = _Compressed() if frame_format.is_compressed else _Plain()
        self._channels = {name: index for index, name in enumerate(channels)}
        self._rows: list[Row] = []
        self._flush_s, self._flush_frames = flush_s, flush_frames
        self._failure = ""
        self._lock, self._closing = threading.Lock(), threading.Event()
        try:
            self._file = open(path, "xb", buffering=0)  # noqa: SIM115 closed in close
        except FileExistsError:
            raise OutputError(f"cannot record to `{self.path}`: there is such a file already") from None
        except (OSError, ValueError) as reason:
            raise self._error(reason) from reason
        self.flush()  # the beginning of the file: without a frame it says that nothing was sent
        self._thread = threading.Thread(target=self._flush_in_time, name="recorder", daemon=True)
        self._thread.start()

    def add(self, end_ns: int, identifier: int, flags: int, length: int, channel: str, payload: int) -> None:
        """Keep one frame, as ``Traffic`` has it. Raises ValueError for one that is none, OutputError as above."""
        require_row((end_ns, identifier, flags, length, 0, payload), channel)
        with self._lock:
            self._require_whole()
            index = self._channels.setdefault(channel, len(self._channels))
            if index == MAX_CHANNELS:
                del self._channels[channel]
                raise ValueError(f"channel `{channel}` is one more than the {MAX_CHANNELS} that can be kept")
            self._rows.append((end_ns, identifier, flags, length, index, payload))
            self.frames_added += 1
            if len(self._rows) >= self._flush_frames:
                self._write_out()

    def append(self, traffic: Traffic) -> None:
        """Keep many frames at once. Raises OutputError as above."""
        with self._lock:
            self._require_whole()
            self._write_out()
            self._put(self._encoder.encode(traffic))
            self.frames_added += len(traffic)
            self._require_whole()

    def flush(self) -> None:
        """Hand over what was added. Raises OutputError."""
        with self._lock:
            self._write_out()
            self._require_whole()

    def close(self) -> None:
        """Hand over the rest and close the file; a second time this does nothing. Raises OutputError."""
        if self._closing.is_set():
            return
        self._closing.set()
        self._thread.join()
        with self._lock:
            self._write_out()
            self._write(self._packing.end())
            with contextlib.suppress(OSError):
                self._file.close()
            self._require_whole()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def _flush_in_time(self) -> None:
        while not self._closing.wait(self._flush_s):
            with self._lock:
                self._write_out()

    def _write_out(self) -> None:
        """Under the lock. What cannot be written is told to whoever calls next."""
        rows, self._rows = self._rows, []
        is_beginning = self._file.tell() == 0
        if rows or is_beginning:
            self._put(self._encoder.encode(Traffic.of_rows(rows, tuple(self._channels))))

    def _put(self, content: bytes) -> None:
        self._write(self._packing.part(content))

    def _write(self, content: bytes) -> None:
        left = memoryview(content)
        try:
            while left and not self._failure:
                left = left[self._file.write(left) :]
        except OSError as reason:
            self._failure = str(self._error(reason))

    def _require_whole(self) -> None:
        if self._failure:
            raise OutputError(self._failure)

    def _error(self, reason: Exception) -> OutputError:
        return OutputError(f"cannot record to `{self.path}`: {getattr(reason, 'strerror', None) or reason}")


class _Plain:
    def part(self, content: bytes) -> bytes:
        return content

    def end(self) -> bytes:
        return b""


class _Compressed:
    """Each part ends on a whole byte, so that all before it can be inflated without what comes behind."""

    def __init__(self) -> None:
        self._deflater = zlib.compressobj(wbits=_GZIP)

    def part(self, content: bytes) -> bytes:
        return self._deflater.compress(content) + self._deflater.flush(zlib.Z_SYNC_FLUSH)

    def end(self) -> bytes:
        return self._deflater.flush()
