"""What a picture of an answer needs, ready to be drawn: responses beside deadlines, and a run over its time.

Whoever draws chooses pixels and colours; every number, and who waited for whom, is settled here.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil
from typing import TYPE_CHECKING

from busdesign.answers.check import CheckAnswer
from busdesign.answers.frames_over_time import FramesOverTime, frames_over_time, priority
from busdesign.answers.names_over_time import NameOverTime, names_over_time
from busdesign.answers.simulate import BUSIEST_WINDOW_NS, SimulateAnswer

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

FEWEST_BINS, MOST_BINS = 20, 50_000
PARTS = 20  # of a run, in the table beside its load


@dataclass(frozen=True, slots=True)
class Simulated:
    """Responses of one message over several runs, in milliseconds; ``p99_ms`` is that of the run with the greatest."""

    sent: int
    min_ms: float
    p99_ms: float
    max_ms: float


@dataclass(frozen=True, slots=True)
class ResponseBar:
    """One message: how long it can take (None without a bound), how long it may, and how long it did take."""

    name: str
    id: int | None
    extended: bool
    sender: str
    bound_ms: float | None
    deadline_ms: float
    meets_deadline: bool | None
    simulated: Simulated | None  # None if no run has sent it


@dataclass(frozen=True, eq=False, slots=True)
class LoadOverTime:
    """Load in consecutive bins of ``bin_ns`` from 0 on, fractions of 1, shape [k]; the last bin may be cut short."""

    bin_ns: int
    loads: "NDArray[np.float64]"


@dataclass(frozen=True, slots=True)
class Moment:
    """Something at a time of the run. ``kind``: step, fault, broken. ``until_ns`` is the end of what lasts."""

    kind: str
    at_ns: int
    until_ns: int | None
    text: str


@dataclass(frozen=True, eq=False, slots=True)
class RunPicture:
    """One run over its time."""

    end_ns: int
    moments: tuple[Moment, ...]  # in the order of time
    load: LoadOverTime
    load_parts: LoadOverTime  # the same in a few long bins
    busiest_at_ns: int
    busiest_until_ns: int
    names: tuple[NameOverTime, ...]  # what the nodes show, who is silent, and the signals that expectations speak of
    frames: FramesOverTime


def response_bars(check: CheckAnswer, runs: Sequence[SimulateAnswer]) -> tuple[ResponseBar, ...]:
    """One bar for each message, highest priority first; messages without an identifier come last."""
    simulated = _simulated(runs)
    order = {message.name: priority(message) for message in check.definition.messages}
    return tuple(
        ResponseBar(
            name=message.name,
            id=message.id,
            extended=message.extended,
            sender=message.sender,
            bound_ms=message.response_worst_ms,
            deadline_ms=message.deadline_ms,
            meets_deadline=message.meets_deadline,
            simulated=simulated.get(message.name),
        )
        for message in sorted(check.messages, key=lambda message: order[message.name])
    )


def _simulated(runs: Sequence[SimulateAnswer]) -> dict[str, Simulated]:
    found: dict[str, Simulated] = {}
    for ran in (message for run in runs for message in run.messages):
        if ran.response_ms is None:
            continue
        one = Simulated(ran.sent, ran.response_ms.min, ran.response_ms.p99, ran.response_ms.max)
        so_far = found.get(ran.name)
        if so_far:
            one = Simulated(
                so_far.sent + one.sent,
                min(so_far.min_ms, one.min_ms),
                max(so_far.p99_ms, one.p99_ms),
                max(so_far.max_ms, one.max_ms),
            )
        found[ran.name] = one
    return found


def run_picture(answer: SimulateAnswer) -> RunPicture:
    """``answer`` over its time."""
    end_ns = answer.run.run_for_ns
    busiest_at_ns = round(answer.load_busiest_at_s * 1e9)
    return RunPicture(
        end_ns=end_ns,
        moments=_moments(answer),
        load=_load(answer, bin_for(end_ns)),
        load_parts=_load(answer, ceil(end_ns / PARTS)),
        busiest_at_ns=busiest_at_ns,
        busiest_until_ns=min(busiest_at_ns + BUSIEST_WINDOW_NS, end_ns),
        names=tuple(names_over_time(answer)),
        frames=frames_over_time(answer),
    )


def bin_for(end_ns: int) -> int:
    """A width of bins for a run of ``end_ns``: the window of the busiest load, or a power of ten of it if need be."""
    width_ns = BUSIEST_WINDOW_NS
    while end_ns < FEWEST_BINS * width_ns and width_ns > 10:
        width_ns //= 10
    while end_ns > MOST_BINS * width_ns:
        width_ns *= 10
    return width_ns


def _load(answer: SimulateAnswer, bin_ns: int) -> LoadOverTime:
    from busdesign.traffic.tallies import load_over_time

    run = answer.run
    bit_ns = run.catalogue.bus.bit_ns
    _, loads = load_over_time(run.traffic, run.wire_bits, bit_ns, 0, run.run_for_ns, bin_ns)
    return LoadOverTime(bin_ns, loads)


def _moments(answer: SimulateAnswer) -> tuple[Moment, ...]:
    story, end_ns = answer.story, answer.run.run_for_ns
    steps = [
        Moment("step", step.at_ns, None, ", ".join(f"{name} = {_written(value)}" for name, value in step.sets.items()))
        for step in story.steps
    ]
    faults = [
        Moment("fault", fault.at_ns, min(fault.until_ns or end_ns, end_ns), fault.title) for fault in story.faults
    ]
    broken = [
        Moment("broken", round(expected.at_s * 1e9), None, expected.name)
        for expected in answer.expectations
        if expected.holds is False and expected.at_s is not None
    ]
    return tuple(sorted([*steps, *faults, *broken], key=lambda moment: moment.at_ns))


def _written(value: object) -> str:
    return str(value).lower() if isinstance(value, bool) else str(value)
