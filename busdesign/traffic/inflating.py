"""A compressed file (gzip, RFC 1952) as the stream inside it, inflated in a thread of its own while it is read."""

import io
import queue
import threading
import zlib
from typing import Any, BinaryIO

_READ_BYTES = 1 << 17
_PIECE_BYTES = 1 << 19  # inflated at most at a time, so that a bomb takes no more memory than any other file
_PIECES_AHEAD = 4
_GZIP = 16 + zlib.MAX_WBITS


class Inflating(io.RawIOBase):
    """What is inside ``compressed``. At damage the stream ends, and ``damage`` says why; "" if there was none."""

    def __init__(self, compressed: BinaryIO) -> None:
        self.damage = ""
        self._compressed = compressed
        self._pieces: queue.Queue[bytes] = queue.Queue(_PIECES_AHEAD)
        self._piece = memoryview(b"")
        self._at_end = False
        self._stopped = threading.Event()
        self._thread = threading.Thread(target=self._inflate_all, name="inflating", daemon=True)
        self._thread.start()

    def readable(self) -> bool:
        return True

    def readinto(self, target: Any) -> int:
        if not self._piece and not self._at_end:
            self._piece = memoryview(self._pieces.get())
            self._at_end = not self._piece
        count = min(len(target), len(self._piece))
        target[:count] = self._piece[:count]
        self._piece = self._piece[count:]
        return count

    def close(self) -> None:
        self._stopped.set()
        while self._thread.is_alive():  # it may wait for room
            self._drain()
            self._thread.join(0.01)
        super().close()

    def _drain(self) -> None:
        while not self._pieces.empty():
            self._pieces.get_nowait()

    def _inflate_all(self) -> None:
        try:
            self._inflate()
        except zlib.error as reason:
            self.damage = f"the compressed data are damaged here ({reason})"
        except OSError as reason:
            self.damage = f"the file cannot be read on ({reason.strerror or reason})"
        finally:
            self._put(b"")

    def _inflate(self) -> None:
        inflater: Any = None
        given = b""
        while not self._stopped.is_set():
            given = given or self._compressed.read(_READ_BYTES)
            if not given:
                if inflater is not None:
                    self.damage = "the compressed data are cut off here"
                return
            if inflater is None:  # a file may hold several streams, one after the other, and zeros behind the last
                given = given.lstrip(b"\0")
                if not given:
                    continue
                inflater = zlib.decompressobj(_GZIP)
            before = inflater.copy()
            try:
                piece = inflater.decompress(given, _PIECE_BYTES)
            except zlib.error:
                self._inflate_up_to_damage(before, given)
                raise
            given = inflater.unconsumed_tail
            self._hand_over(piece)
            if inflater.eof:
                given, inflater = inflater.unused_data, None

    def _inflate_up_to_damage(self, inflater: Any, given: bytes) -> None:
        """A byte at a time: what was inflated in the call that meets the damage is lost."""
        pieces: list[bytes] = []
        for at in range(len(given)):
            try:
                pieces.append(inflater.decompress(given[at : at + 1]))
            except zlib.error:
                break
            if at % 256 == 0:
                self._hand_over(b"".join(pieces))
                pieces = []
        self._hand_over(b"".join(pieces))

    def _hand_over(self, piece: bytes) -> None:
        if piece:  # an empty one says that this is the end
            self._put(piece)

    def _put(self, piece: bytes) -> None:
        while not self._stopped.is_set():
            try:
                return self._pieces.put(piece, timeout=0.1)
            except queue.Full:
                continue
        return None
