"""From the kernel's rows to the columns of a run."""

from collections.abc import Mapping
from fractions import Fraction
from typing import Any

import numpy as np
from numpy.typing import NDArray

from busdesign.catalogue.model import Message
from busdesign.findings import Finding
from busdesign.scenario.model import Scenario
from busdesign.traffic.frames import Traffic
from busdesign.traffic.select import flags_of
from busdesign.virtual.clocks import TimeBase, half_up
from busdesign.virtual.kernel import COLUMNS, Kernel
from busdesign.virtual.run import ErrorFrame, ErrorState, Run, Trace
from busdesign.virtual.senders import Sender
from busdesign.wire.confinement import Counters
from busdesign.wire.frame import INTERMISSION_BITS

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
    rows = kernel.rows
    table = np.frombuffer(rows, np.uint64) if isinstance(rows, bytearray) else np.array(rows, dtype=object)
    columns = dict(zip(COLUMNS, table.reshape(-1, len(COLUMNS)).T, strict=True))
    messages = scenario.catalogue.messages
    which = columns["sender"].astype(np.int32)
    bit = _by_message([base.bit_ticks[message.sender] for message in messages], which, table.dtype)
    idle = columns["start"] + columns["bits"] * bit
    traffic = Traffic(
        end_ns=_ns(idle - INTERMISSION_BITS * bit, base),
        identifier=_by_message([message.identifier or 0 for message in messages], which, np.uint32),
        flags=_by_message([flags_of(message) for message in messages], which, np.uint8),
        length=_by_message([_length(message) for message in messages], which, np.uint8),
        channel=np.zeros(len(which), dtype=np.uint8),
        payload=columns["payload"].astype(np.uint64),
        channels=(CHANNEL,),
    )
    return Run(
        catalogue=scenario.catalogue,
        seed=scenario.seed,
        run_for_ns=scenario.run_for_ns,
        traffic=traffic,
        message_index=which,
        release_ns=_ns(columns["nominal"], base),
        ready_ns=_ns(columns["ready"], base),
        start_ns=_ns(columns["start"], base),
        response_ns=((idle - columns["nominal"]) // base.ticks_per_ns).astype(np.int64),
        wire_bits=columns["bits"].astype(np.int32),
        waiting=columns["waiting"].astype(np.int32),
        traces={
            name: Trace(tuple(map(kernel.clock.ns, times)), tuple(values)) for name, (times, values) in traces.items()
        },
        unfinished={name: sender.unfinished for name, sender in senders.items()},
        released={name: sender.count for name, sender in senders.items()},
        drifts=drifts,
        alone=alone,
        errors=_errors(scenario, kernel),
        error_frames=_error_frames(scenario, kernel),
        transmit_overruns={name: queue.overruns for name, queue in kernel.transmit.items()},
        receive_overruns={name: fifo.overruns for name, fifo in kernel.receive.items()},
        findings=findings,
    )


def _errors(scenario: Scenario, kernel: Kernel) -> Mapping[str, tuple[ErrorState, ...]]:
    """Every node's counters over time; they stay where they are on a bus on which nothing can go wrong."""
    always = (ErrorState(0, 0, 0, Counters().state),)
    ns = kernel.clock.ns
    changes = {
        name: tuple(ErrorState(ns(at), tec, rec, state) for at, tec, rec, state in station.changes)
        for name, station in kernel.stations.items()
    }
    return {name: changes.get(name, always) for name in scenario.catalogue.nodes}


def _error_frames(scenario: Scenario, kernel: Kernel) -> tuple[ErrorFrame, ...]:
    """Those that began within the run; one that is not over by its end ends there."""
    messages, ns = scenario.catalogue.messages, kernel.clock.ns
    found = [
        ErrorFrame(
            flag_ns=ns(flag),
            end_ns=min(ns(end), scenario.run_for_ns),
            message=messages[sender].name,
            sender=messages[sender].sender,
            number=number,
            tried=tried,
            kind=seen.kind.value,
            bit=seen.bit,
            by=by,
        )
        for flag, end, sender, number, tried, seen, by in kernel.error_rows
    ]
    return tuple(sorted(found, key=lambda frame: frame.end_ns))


def _ns(ticks: NDArray[Any], base: TimeBase) -> NDArray[np.int64]:
    rounded: NDArray[np.int64] = half_up(ticks, base.ticks_per_ns).astype(np.int64)
    return rounded


def _by_message(values: list[int], which: NDArray[np.int32], dtype: Any) -> NDArray[Any]:
    return np.array(values, dtype=dtype)[which]


def _length(message: Message) -> int:
    return message.length_code if message.is_remote else message.length_bytes
