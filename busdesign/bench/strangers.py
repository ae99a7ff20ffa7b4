"""Frames that the catalogue does not know, or not like that: identifiers, 29-bit twins, remote frames, lengths."""

from collections.abc import Iterator

import numpy as np

from busdesign.bench.blocks import NOBODY, Block
from busdesign.bench.sightings import Notes, Seen, Sighting, sighting
from busdesign.catalogue.model import Catalogue, Message
from busdesign.findings import Severity, counted
from busdesign.wire.flags import EXTENDED, REMOTE

MOST_KEPT = 1000  # identifiers: beyond them, foreign ones are counted together
_REMOTE_BIT, _WIDE_BIT = 1 << 31, 1 << 30


class Strangers:
    """Collects them block by block."""

    def __init__(self, catalogue: Catalogue) -> None:
        self._messages = catalogue.messages
        self._foreign, self._lengths = Notes(), Notes()
        self._overflow = Notes()

    def take(self, block: Block) -> None:
        """Look at the frames of ``block``."""
        traffic = block.traffic
        rows = np.flatnonzero(block.which == NOBODY)
        if len(rows):
            flags = traffic.flags[rows]
            keys = traffic.identifier[rows].astype(np.int64)
            keys |= np.where(flags & np.uint8(EXTENDED), _WIDE_BIT, 0) | np.where(
                flags & np.uint8(REMOTE), _REMOTE_BIT, 0
            )
            order = np.argsort(keys, kind="stable")
            begins = np.flatnonzero(np.diff(keys[order], prepend=-1))
            for part in np.split(order, begins[1:]):
                key = int(keys[part[0]])
                is_known = key in self._foreign.seen or len(self._foreign.seen) < MOST_KEPT
                (self._foreign if is_known else self._overflow).note(key if is_known else 0, block, rows[part])
        for group in block.groups:
            wrong = traffic.length[group.rows] != self._length(group.message)
            if wrong.any():
                bad = group.rows[wrong]
                self._lengths.note(group.index, block, bad, traffic.length[bad].astype(np.int64))

    @staticmethod
    def _length(message: Message) -> int:
        return message.length_code if message.is_remote else message.length_bytes

    def sightings(self) -> Iterator[Sighting]:
        """What was seen, by identifier."""
        for key, seen in self._foreign:
            yield self._of_foreign(key, seen)
        for _, seen in self._overflow:
            text = f"{counted(seen.count, 'frame')} of more than {MOST_KEPT} identifiers that no message has"
            yield sighting("unknown-identifier", Severity.BROKEN, seen, "", text)
        for index, seen in self._lengths:
            message = self._messages[index]
            found = f"{seen.least}" if seen.least == seen.most else f"{seen.least} to {seen.most}"
            text = (
                f"`{message.name}` has {self._length(message)} bytes; {counted(seen.count, 'frame')} came with {found}"
            )
            fix = "the board was built from another revision of the catalogue, or another board uses the identifier"
            yield sighting("wrong-length", Severity.BROKEN, seen, message.name, text, fix, message.place_of("bytes"))

    def _of_foreign(self, key: int, seen: Seen) -> Sighting:
        identifier, is_wide = key & ~(_WIDE_BIT | _REMOTE_BIT), bool(key & _WIDE_BIT)
        shown, frames = f"0x{identifier:0{8 if is_wide else 3}X}", counted(seen.count, "frame")
        alike = [message for message in self._messages if message.identifier == identifier]
        same = next((message for message in alike if message.extended is is_wide), None)
        if same is not None:
            kind, other = ("remote", "data") if key & _REMOTE_BIT else ("data", "remote")
            text = f"`{same.name}` is sent as a {other} frame; {frames} came as a {kind} frame with its identifier"
            fix = "declare a message with `requests:` if somebody may ask for it" if kind == "remote" else ""
            return sighting("remote-undeclared", Severity.BROKEN, seen, same.name, text, fix, same.place_of("id"))
        if alike:
            twin, (own, others) = alike[0], (29, 11) if is_wide else (11, 29)
            text = f"{shown} with {own} bits is no message, `{twin.name}` has this number with {others} bits: {frames}"
            fix = "the sender's identifier is of the wrong width: look at how its program marks extended identifiers"
            return sighting("identifier-twin", Severity.BROKEN, seen, twin.name, text, fix, twin.place_of("id"))
        text = f"{shown} is no message of the catalogue: {frames}"
        fix = "add the message, or find who sends it"
        return sighting("unknown-identifier", Severity.BROKEN, seen, shown, text, fix)
