"""From the kernel's rows to the columns of a run."""

from collections.abc import Mapping
from fractions import Fraction
from typing import Any

import numpy as np
from numpy.typing import NDArray

from busdesign.findings import Finding
from busdesign.scenario.model import Scenario
from busdesign.traffic.frames import Traffic
from busdesign.virtual.clocks import TimeBase
from busdesign.virtual.kernel import Kernel
from busdesign.virtual.run import Run, Trace
from busdesign.virtual.senders import Sender
from busdesign.wire.flags import EXTENDED

CHANNEL = "can0"


def run_of_rows(
    scenario: Scenario,
    base: TimeBase,
    kernel: Kernel,
    senders: Mapping[str, Sender],
    traces: Mapping[str, tuple[list[int], list[Any]]],
    drifts: Mapping[str, Fraction],
    alone: bool,
    findings: tuple[Finding, ...],
) -> Run:
    """The run that ``kernel`` has just finished. Each time is rounded once, half up; a response is rounded down."""
    columns: list[Any] = list(zip(*kernel.rows, strict=True)) or [()] * 9
    index, nominal, ready, start, end, idle, payload, bits, waiting = columns
    messages = scenario.catalogue.messages
    which = np.array(index, dtype=np.int32)
    traffic = Traffic(
        end_ns=_ns(end, base),
        identifier=_by_message([message.identifier or 0 for message in messages], which, np.uint32),
        flags=_by_message([EXTENDED if message.extended else 0 for message in messages], which, np.uint8),
        length=_by_message([message.length_bytes for message in messages], which, np.uint8),
        channel=np.zeros(len(which), dtype=np.uint8),
        payload=np.array(payload, dtype=np.uint64),
        channels=(CHANNEL,),
    )
    scale = base.ticks_per_ns
    return Run(
        catalogue=scenario.catalogue,
        seed=scenario.seed,
        run_for_ns=scenario.run_for_ns,
        traffic=traffic,
        message_index=which,
        release_ns=_ns(nominal, base),
        ready_ns=_ns(ready, base),
        start_ns=_ns(start, base),
        response_ns=_elapsed_ns(nominal, idle, base),
        wire_bits=np.array(bits, dtype=np.int32),
        waiting=np.array(waiting, dtype=np.int32),
        traces={
            name: Trace(tuple(time // scale for time in times), tuple(values))
            for name, (times, values) in traces.items()
        },
        unfinished={name: sender.unfinished + (sender.count if alone else 0) for name, sender in senders.items()},
        released={name: sender.count for name, sender in senders.items()},
        drifts=drifts,
        alone=alone,
        findings=findings,
    )


def _ns(ticks: tuple[int, ...], base: TimeBase) -> NDArray[np.int64]:
    scale = base.ticks_per_ns
    if scale == 1:
        return np.array(ticks, dtype=np.int64)
    return np.array([(2 * tick + scale) // (2 * scale) for tick in ticks], dtype=np.int64)


def _elapsed_ns(since: tuple[int, ...], until: tuple[int, ...], base: TimeBase) -> NDArray[np.int64]:
    """Rounded down, so that no response is longer than it was."""
    scale = base.ticks_per_ns
    if scale == 1:
        return np.array(until, dtype=np.int64) - np.array(since, dtype=np.int64)
    return np.array([(done - due) // scale for due, done in zip(since, until, strict=True)], dtype=np.int64)


def _by_message(values: list[int], which: NDArray[np.int32], dtype: Any) -> NDArray[Any]:
    return np.array(values, dtype=dtype)[which]
