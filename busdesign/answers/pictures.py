"""What a picture of an answer needs, ready to be drawn: responses beside deadlines, and a run over its time.

Whoever draws chooses pixels and colours; every number, and who waited for whom, is settled here.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import ceil
from typing import TYPE_CHECKING, Any

from busdesign.answers.check import CheckAnswer
from busdesign.answers.simulate import BUSIEST_WINDOW_NS, SimulateAnswer, track_of, vocabulary_with
from busdesign.catalogue.model import Message
from busdesign.scenario.silence import silence_limit_ns
from busdesign.scenario.tracks import Track, plain
from busdesign.scenario.vocabulary import SILENT, Kind
from busdesign.virtual.models import load_models
from busdesign.wire.arbitration import arbitration_key

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


@dataclass(frozen=True, eq=False, slots=True)
class NameOverTime:
    """``name`` from ``times_ns[i]`` (int64, strictly ascending) until the next, or the end, is ``values[i]``.

    A name with ``words`` holds float64 indices into them; true and false are words too, with ``is_flag`` set. Else
    values are numbers in ``unit``. NaN is undefined. No two values in a row are alike.
    """

    name: str
    node: str  # that shows it, or that sends the message
    label: str  # the name without its node
    unit: str
    words: tuple[str, ...]
    is_flag: bool
    times_ns: "NDArray[np.int64]"
    values: "NDArray[np.float64]"

    @property
    def is_constant(self) -> bool:
        """Whether it was the same from the start to the end."""
        return len(self.times_ns) == 1 and int(self.times_ns[0]) == 0

    def shown(self, index: int) -> str:
        """Value number ``index`` as text, without its unit."""
        value = float(self.values[index])
        if value != value:
            return "unknown"
        return self.words[int(value)] if self.words else f"{value:.6g}"

    def spans(self, end_ns: int) -> Iterator[tuple[str, int, int]]:
        """(value, from, until) [ns] for each value it took, up to ``end_ns``."""
        ends = [*self.times_ns[1:].tolist(), end_ns]
        for index, (start, end) in enumerate(zip(self.times_ns.tolist(), ends, strict=True)):
            yield self.shown(index), start, end

    def extremes(self) -> tuple[int, int] | None:
        """Where the least and the greatest number stand, each the first time; None if there is no number."""
        known = [index for index, value in enumerate(self.values.tolist()) if value == value]
        if not known or self.words:
            return None
        values = self.values.tolist()
        return min(known, key=values.__getitem__), max(known, key=values.__getitem__)


@dataclass(frozen=True, slots=True)
class Moment:
    """Something at a time of the run. ``kind``: step, fault, broken. ``until_ns`` is the end of what lasts."""

    kind: str
    at_ns: int
    until_ns: int | None
    text: str


@dataclass(frozen=True, slots=True)
class FrameRow:
    """One message on the wire. ``slowest`` is the index of its frame with the longest response, the first of equals."""

    message: Message
    deadline_ns: int
    bound_ns: int | None
    slowest: int | None


@dataclass(frozen=True, slots=True)
class FrameKind:
    """Frames that look alike: index into ``rows``, bits with intermission, time from start to end of frame."""

    row: int
    bits: int
    duration_ns: int


@dataclass(frozen=True, eq=False, slots=True)
class FramesOverTime:
    """Every frame on the wire, in its order; columns of shape [n]. ``rows``: highest priority first.

    - ``kind``: index into ``kinds``
    - ``start_ns``: start of frame; ``waited_ns``: how long it had been ready by then
    - ``response_ns``: nominal release to end of intermission
    - ``behind``: how many frames right before it won over it; frame j was waiting while frame i took the wire if
      i < j <= i + ``behind[j]``. Clocks that drift are rounded to a nanosecond first.
    - ``waiting``: how many frames were ready too when it won, those included that were never sent
    """

    rows: tuple[FrameRow, ...]
    kinds: tuple[FrameKind, ...]
    kind: "NDArray[np.int64]"
    start_ns: "NDArray[np.int64]"
    waited_ns: "NDArray[np.int64]"
    response_ns: "NDArray[np.int64]"
    behind: "NDArray[np.int64]"
    waiting: "NDArray[np.int64]"

    def __len__(self) -> int:
        return len(self.start_ns)


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
    order = {message.name: _priority(message) for message in check.definition.messages}
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


def _priority(message: Message) -> tuple[bool, int]:
    if message.identifier is None:
        return True, 0
    return False, arbitration_key(message.identifier, extended=message.extended)


def run_picture(answer: SimulateAnswer) -> RunPicture:
    """``answer`` over its time. Loads the scenario's models anew, for what they declare: raises ScenarioError."""
    end_ns = answer.run.run_for_ns
    busiest_at_ns = round(answer.load_busiest_at_s * 1e9)
    return RunPicture(
        end_ns=end_ns,
        moments=_moments(answer),
        load=_load(answer, bin_for(end_ns)),
        load_parts=_load(answer, ceil(end_ns / PARTS)),
        busiest_at_ns=busiest_at_ns,
        busiest_until_ns=min(busiest_at_ns + BUSIEST_WINDOW_NS, end_ns),
        names=tuple(_names(answer)),
        frames=_frames(answer),
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
        Moment("fault", fault.at_ns, min(fault.until_ns or end_ns, end_ns), f"{fault.node} {fault.kind}")
        for fault in story.faults
    ]
    broken = [
        Moment("broken", round(expected.at_s * 1e9), None, expected.name)
        for expected in answer.expectations
        if expected.holds is False and expected.at_s is not None
    ]
    return tuple(sorted([*steps, *faults, *broken], key=lambda moment: moment.at_ns))


def _written(value: object) -> str:
    return str(value).lower() if isinstance(value, bool) else str(value)


def _names(answer: SimulateAnswer) -> Iterator[NameOverTime]:
    run, story = answer.run, answer.story
    catalogue = run.catalogue
    kinds = vocabulary_with(catalogue, load_models(story) if story.models else {}).kinds
    silences = [f"{node}.{SILENT}" for node in catalogue.nodes if silence_limit_ns(catalogue, node) is not None]
    expected = [name for expectation in story.expectations for name in expectation.names]
    for name in dict.fromkeys([*run.traces, *silences, *expected]):
        track = track_of(name, run)
        if track is not None and len(track.times_ns):
            owner, _, what = name.partition(".")
            node, label = (owner, what) if owner in catalogue.nodes else (catalogue.message(owner).sender, name)
            yield _name(name, node, label, kinds.get(name) or _kind_of(track), track)


def _kind_of(track: Track) -> Kind:
    """Of a name that no model of the scenario declares: nodes handed to a run as objects come without their units."""
    values = plain(track.values)
    if all(value is None or isinstance(value, bool) for value in values):
        return Kind.boolean()
    return Kind.choice([value for value in values if isinstance(value, str)])


def _name(name: str, node: str, label: str, kind: Kind, track: Track) -> NameOverTime:
    import numpy as np

    times, values = _changes(track)
    words = kind.words
    is_flag = kind.shape == "boolean"
    if is_flag:
        words = ("false", "true")
        values = [value if value is None else ("true" if value else "false") for value in values]
    if words or any(isinstance(value, str) for value in values):
        said = [value if value is None else _word(value) for value in values]
        words = tuple(dict.fromkeys([*words, *(word for word in said if word is not None)]))
        place = {word: index for index, word in enumerate(words)}
        values = [None if word is None else place[word] for word in said]
    numbers = np.array([np.nan if value is None else value for value in values], dtype=np.float64)
    return NameOverTime(name, node, label, kind.unit, words, is_flag, np.array(times, dtype=np.int64), numbers)


def _word(value: object) -> str:
    return value if isinstance(value, str) else f"{value:.9g}" if isinstance(value, float) else str(value)


def _changes(track: Track) -> tuple[list[int], list[Any]]:
    """Only what lasts: the last value of each nanosecond, and only where it differs from the one before."""
    times: list[int] = []
    values: list[Any] = []
    for time_ns, value in zip(plain(track.times_ns), plain(track.values), strict=True):
        if times and times[-1] == time_ns:
            times.pop()
            values.pop()
        if not values or values[-1] != value:
            times.append(time_ns)
            values.append(value)
    return times, values


def _frames(answer: SimulateAnswer) -> FramesOverTime:
    import numpy as np

    run = answer.run
    bus, messages = run.catalogue.bus, run.catalogue.messages
    order = sorted(range(len(messages)), key=lambda index: _priority(messages[index]))
    row_of = np.empty(len(messages), dtype=np.int64)
    row_of[order] = np.arange(len(messages))
    row = row_of[run.message_index]
    kinds, kind = _kinds(row, run.wire_bits.astype(np.int64), run.traffic.end_ns - run.start_ns)
    # The first frame whose sample point of start of frame it could still meet; all from there on won over it.
    joins_from = np.searchsorted(run.start_ns + ceil(bus.bit_ns * bus.sample_point), run.ready_ns, side="right")
    count = np.arange(len(row))
    ran = {message.name: message for message in answer.messages}
    return FramesOverTime(
        rows=tuple(
            _row(messages[index], ran[messages[index].name].response_worst_ms, row == place, run.response_ns)
            for place, index in enumerate(order)
        ),
        kinds=kinds,
        kind=kind,
        start_ns=run.start_ns,
        waited_ns=np.maximum(run.start_ns - run.ready_ns, 0),
        response_ns=run.response_ns,
        behind=count - np.minimum(joins_from, count),
        waiting=run.waiting.astype(np.int64),
    )


def _row(
    message: Message, bound_ms: float | None, own: "NDArray[np.bool_]", response_ns: "NDArray[np.int64]"
) -> FrameRow:
    indices = own.nonzero()[0]
    slowest = int(indices[response_ns[indices].argmax()]) if len(indices) else None
    return FrameRow(message, message.deadline_ns, None if bound_ms is None else round(bound_ms * 1e6), slowest)


def _kinds(
    row: "NDArray[np.int64]", bits: "NDArray[np.int64]", duration_ns: "NDArray[np.int64]"
) -> tuple[tuple[FrameKind, ...], "NDArray[np.int64]"]:
    import numpy as np

    durations, which = np.unique(duration_ns, return_inverse=True)
    rows, lengths = int(row.max(initial=0)) + 1, int(bits.max(initial=0)) + 1
    keys, kind = np.unique((which * rows + row) * lengths + bits, return_inverse=True)
    return tuple(
        FrameKind(key // lengths % rows, key % lengths, int(durations[key // lengths // rows])) for key in keys.tolist()
    ), kind.astype(np.int64)
