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


@dataclass(frozen=True, slots=True)
class Trace:
    """A shown name over time: ``values[i]`` from ``times_ns[i]`` on."""

    times_ns: tuple[int, ...]
    values: tuple[Any, ...]


@dataclass(frozen=True, eq=False, slots=True)
class Run:
    """One run. All columns have one entry a frame on the wire, in the order of the wire.

    Times are nanoseconds from the start of the run, each rounded once from the kernel's exact ticks.
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
    transmit_overruns: Mapping[str, int]  # node with a queue of its own → frames that a full FIFO dropped
    receive_overruns: Mapping[str, int]  # node with a receive FIFO → frames that found it full
    findings: tuple[Finding, ...]
