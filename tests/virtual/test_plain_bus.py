"""Two roads to one run: the kernel against a bus played step by step in fractions, as plainly as the rules are told."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st

from busdesign.catalogue.model import Catalogue, Message
from busdesign.scenario.model import Fault
from busdesign.virtual.run import Run
from busdesign.wire.arbitration import arbitration_key
from tests.networks import MS, catalogue_of, fixed, message_of
from tests.virtual.small_buses import bits_of, half_up, played, silent

RUN_NS = 9 * MS
NEVER_NS = 10**12


@dataclass(frozen=True)
class Due:
    """One release of one message, and when a fault of its node takes it out of the queue."""

    message: Message
    nominal_ns: Fraction
    ready_ns: Fraction
    dropped_ns: int

    @property
    def rank(self) -> tuple[int, Fraction]:
        """The smaller one goes first: by arbitration, equal ones in the order of their releases."""
        assert self.message.identifier is not None
        return arbitration_key(self.message.identifier, extended=self.message.extended), self.nominal_ns


@dataclass(frozen=True)
class Sent:
    """One frame on the pair."""

    due: Due
    start_ns: Fraction
    bits: int
    end_ns: Fraction
    idle_ns: Fraction


def releases(message: Message, slowness: Fraction, way: Mapping[str, str], faults: Sequence[Fault]) -> list[Due]:
    """All releases before the end of the run; none before the one that was due before it, none in a silence."""
    due: list[Due] = []
    number, ready_ns = 0, Fraction(0)
    start_ns = 0 if way["phases"] == "aligned" else message.offset_ns
    own = [(fault.at_ns, fault.until_ns or NEVER_NS) for fault in faults if fault.node == message.sender]
    while ready_ns < RUN_NS:
        nominal_ns = (start_ns + number * message.period_ns) * slowness
        late_ns = message.jitter_ns if way["jitter"] == "worst" and number == 0 else 0
        ready_ns = max(ready_ns, nominal_ns + late_ns)
        if ready_ns < RUN_NS and not any(at <= ready_ns < until for at, until in own):
            dropped_ns = min((at for at, _ in own if at > ready_ns), default=NEVER_NS)
            due.append(Due(message, nominal_ns, ready_ns, dropped_ns))
        number += 1
    return due


def plain_run(
    catalogue: Catalogue, due: list[Due], drifts: Mapping[str, Fraction], bits: Mapping[str, int]
) -> list[Sent]:
    """The frames that end within the run."""
    due, sent, idle_ns = list(due), list[Sent](), Fraction(0)
    join_ns = catalogue.bus.bit_ns * catalogue.bus.sample_point
    while True:
        starts = [max(idle_ns, found.ready_ns) for found in due if found.dropped_ns > max(idle_ns, found.ready_ns)]
        if not starts:
            return sent
        start_ns = min(starts)
        won = winner(due, start_ns, start_ns + join_ns)
        bit_ns = catalogue.bus.bit_ns / (1 + drifts[won.message.sender])
        idle_ns = start_ns + bits[won.message.name] * bit_ns
        frame = Sent(won, start_ns, bits[won.message.name], idle_ns - 3 * bit_ns, idle_ns)
        if frame.end_ns > RUN_NS:
            return sent
        due.remove(won)
        sent.append(frame)


def winner(due: Sequence[Due], start_ns: Fraction, limit_ns: Fraction) -> Due:
    """A node with a frame ready at the start has sent it and is committed; another one joins with its best at last."""
    at_start = [found for found in due if found.ready_ns <= start_ns < found.dropped_ns]
    started = {found.message.sender for found in at_start}
    joining = [
        found
        for found in due
        if start_ns < found.ready_ns < limit_ns <= found.dropped_ns and found.message.sender not in started
    ]
    return min(at_start + joining, key=lambda found: found.rank)


@st.composite
def networks(draw: st.DrawFn) -> tuple[Catalogue, dict[str, Fraction]]:
    """Up to seven messages of up to four nodes, and the drift of their clocks."""
    drift = st.sampled_from([Fraction(0), Fraction(3, 1000), Fraction(-1, 1000), Fraction(12_345, 10**6)])
    drifts = {f"node{number}": draw(drift) for number in range(draw(st.integers(2, 4)))}
    messages = []
    for number, identifier in enumerate(draw(st.lists(st.integers(0, 0x7FF), min_size=2, max_size=7, unique=True))):
        period_ns = draw(st.sampled_from([500_000, MS, 1_700_000, 3 * MS, 7 * MS]))
        extended = draw(st.booleans())
        messages.append(
            message_of(
                f"m{number}",
                identifier << 18 if extended else identifier,
                draw(st.sampled_from(sorted(drifts))),
                draw(st.integers(0, 8)),
                period_ns,
                extended=extended,
                jitter_ns=draw(st.sampled_from([0, 0, 300_001, period_ns * 3 // 2 + 1])),
                offset_ns=draw(st.sampled_from([0, 1, 875, 3_499, 3_500, 900_000]) | st.integers(0, 12_000)),
            )
        )
    bit_rate = draw(st.sampled_from([83_333, 125_000, 250_000, 1_000_000]))
    return catalogue_of(messages, bit_rate, dict.fromkeys(drifts, Fraction(15, 1000))), drifts


@st.composite
def silences(draw: st.DrawFn) -> tuple[Fault, ...]:
    """Up to three faults of the first two nodes; they may overlap, and none is as short as a bit."""
    faults = []
    for _ in range(draw(st.integers(0, 3))):
        at_ns = draw(st.sampled_from([1, 500, 3_500, 8_000, 900_000, MS]) | st.integers(0, 8 * MS))
        until_ns = draw(st.none() | st.integers(at_ns + 100_000, 9 * MS))
        faults.append(silent(draw(st.sampled_from(["node0", "node1"])), at_ns, until_ns))
    return tuple(sorted(faults, key=lambda fault: fault.at_ns))


WAYS = st.fixed_dictionaries(
    {"phases": st.sampled_from(["declared", "aligned"]), "jitter": st.sampled_from(["none", "worst"])}
)


@given(network=networks(), way=WAYS, faults=silences(), fill=st.integers(0, 255), drifting=st.booleans())
@settings(max_examples=60)
def test_the_kernel_plays_the_bus_as_told(
    network: tuple[Catalogue, dict[str, Fraction]],
    way: dict[str, Any],
    faults: tuple[Fault, ...],
    fill: int,
    drifting: bool,
) -> None:
    catalogue, drifts = network
    drifts = drifts if drifting else dict.fromkeys(drifts, Fraction(0))
    payloads = {message.name: bytes([fill]) * message.length_bytes for message in catalogue.messages}
    run = played(catalogue, RUN_NS, payload=fixed(payloads), drift=drifts, faults=faults, **way)
    due = [
        found
        for message in catalogue.messages
        for found in releases(message, 1 / (1 + drifts[message.sender]), way, faults)
    ]
    bits = {message.name: bits_of(message, payloads[message.name]) for message in catalogue.messages}
    sent = plain_run(catalogue, due, drifts, bits)
    assert columns_of(run) == [expected_row(frame) for frame in sent]
    for name in payloads:
        released = sum(found.message.name == name for found in due)
        assert run.released[name] == released
        assert run.unfinished[name] == released - sum(frame.due.message.name == name for frame in sent)


Row = tuple[str, int, int, int, int, int, int]


def columns_of(run: Run) -> list[Row]:
    columns = (run.release_ns, run.ready_ns, run.start_ns, run.traffic.end_ns, run.response_ns, run.wire_bits)
    names = [run.catalogue.messages[index].name for index in run.message_index]
    return list(zip(names, *(column.tolist() for column in columns), strict=True))


def expected_row(frame: Sent) -> Row:
    """Each time rounded half up, the response down."""
    due = frame.due
    times = (half_up(time) for time in (due.nominal_ns, due.ready_ns, frame.start_ns, frame.end_ns))
    return (due.message.name, *times, int((frame.idle_ns - due.nominal_ns) // 1), frame.bits)  # type: ignore[return-value]
