"""The bits that a message's frame puts on the pair, kept for frames that are sent again."""

from functools import lru_cache

from busdesign.catalogue.model import Message
from busdesign.wire.frame import Frame, WireFrame, lay_out


def wire_of(message: Message, payload: int) -> WireFrame:
    """The frame of ``message``, which has an identifier, with ``payload`` (byte i at bits 8 i to 8 i + 7)."""
    assert message.identifier is not None
    data = b"" if message.is_remote else payload.to_bytes(message.length_bytes, "little")
    return _laid_out(Frame(message.identifier, data, message.extended, message.is_remote, message.length_code))


_laid_out = lru_cache(maxsize=1024)(lay_out)
