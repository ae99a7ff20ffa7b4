"""``transmit`` and ``receive`` of a node as written: how its controller holds frames."""

from typing import Annotated

from pydantic import Field

from busdesign.catalogue.json_shapes import words
from busdesign.catalogue.model_controllers import Queue
from busdesign.catalogue.written import PositiveDuration, ReadBy, Written, one_of

Places = Annotated[int, Field(ge=1, le=100_000)]
QueueWord = Annotated[str, ReadBy(one_of(*Queue), words(*Queue))]


class TransmitWritten(Written):
    """``transmit`` of a node: in which order it offers its frames."""

    queue: QueueWord = Field(description="`priority`, `fifo`, or as many `buffers` as it has")
    depth: Places | None = Field(None, description="places of a `fifo`, such as `8`")
    buffers: Places | None = Field(None, description="how many, such as `3`")
    abort: bool = Field(False, description="`true` where a buffer is emptied for a more urgent frame")


class ReceiveWritten(Written):
    """``receive`` of a node: a FIFO of frames that wait to be read."""

    depth: Places = Field(description="its places, such as `3`")
    read_every: PositiveDuration = Field(description="how often the node empties it, such as `5 ms`")
