"""What a simulated run leaves behind: its traffic, what became of every frame, and what the nodes showed."""

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from typing import TYPE_CHECKING, Any

from busdesign.catalogue.model import Catalogue
from busdesign.findings import Finding

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from busdesign.traffic.frames import Traffic


ERROR_FRAME_BYTES = 8  # data bytes of an error frame in SocketCAN, CAN_ERR_DLC in Linux, include/uapi/linux/can/error.h


@dataclass(frozen=True, slots=True)
class Trace:
    """A shown name over time: ``values[i]`` from ``times_ns[i]`` on."""

    times_ns: tuple[int, ...]
    values: tuple[Any, ...]


@dataclass(frozen=True, slots=True)
class ErrorState:
    """The error counters of a node from ``at_ns`` on, and its state in the standard's words (``wire.confinement``)."""

    at_ns: int
    tec: int
    rec: int
    state: str


@dataclass(frozen=True, slots=True)
class ErrorFrame:
    """An attempt to send frame ``number`` of ``message`` (from 0) that was broken off, after ``tried`` others.

    ``flag_ns``: the first bit of the first error flag; ``end_ns``: the end of the error delimiter. ``kind``: what was
    found first, in which bit from the start of frame (0) on, and ``by`` which node.
    """

    flag_ns: int
    end_ns: int
    message: str
    sender: str
    number: int
    tried: int
    kind: str
    bit: int
    by: str


@dataclass(frozen=True, eq=False, slots=True)
class Run:
    """One run. All columns have one entry a frame on the wire, in the order of the wire.

    Times are nanoseconds from the start of the run, each rounded once from the kernel's exact ticks. Error frames are
    no rows: a frame that was sent again has one row, from its nominal release to the end of the intermission of the
    attempt that went through. What an adapter records on such a bus, error frames included, is ``recorded``.
    """

    catalogue: Catalogue
    seed: int
    run_for_ns: int
    traffic: "Traffic"
    message_index: "NDArray[np.int32]"  # into ``catalogue.messages``
    release_ns: "NDArray[np.int64]"  # nominal, before jitter
    ready_ns: "NDArray[np.int64]"  # handed to the controller
    start_ns: "NDArray[np.int64]"  # start of frame
    response_ns: "NDArray[np.int64]"  # nominal release to end of intermission, rounded down
    wire_bits: "NDArray[np.int32]"  # start of frame to end of intermission
    waiting: "NDArray[np.int32]"  # frames that were ready too when this one won
    traces: Mapping[str, Trace]  # ``node.name`` of everything declared by the nodes' models
    unfinished: Mapping[str, int]  # message → frames released but not completed
    released: Mapping[str, int]  # message → frames released
    drifts: Mapping[str, Fraction]
    alone: bool  # a lone node: nobody acknowledges, so nothing is ever completed
    errors: Mapping[str, tuple[ErrorState, ...]]  # node → its counters over time, from 0 on; the last one is the end
    error_frames: tuple[ErrorFrame, ...]  # in the order of their ends
    transmit_overruns: Mapping[str, int]  # node with a queue of its own → frames that a full FIFO dropped
    receive_overruns: Mapping[str, int]  # node with a receive FIFO → frames that found it full
    findings: tuple[Finding, ...]

    def recorded(self) -> "Traffic":
        """All frames and error frames in the order of their ends, as an adapter on the bus records them.

        An adapter is taken to see what the transmitter sees; an error frame says that there was one, and no more.
        """
        if not self.error_frames:
            return self.traffic
        import numpy as np

        from busdesign.traffic.frames import BUS_ERROR_CLASS, Traffic, concatenate
        from busdesign.wire.flags import ERROR

        rows = [(frame.end_ns, BUS_ERROR_CLASS, ERROR, ERROR_FRAME_BYTES, 0, 0) for frame in self.error_frames]
        both = concatenate([self.traffic, Traffic.of_rows(rows, self.traffic.channels)])
        return both[np.argsort(both.end_ns, kind="stable")]
