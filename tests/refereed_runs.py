"""A simulated run given to the bit-level referee: the same frames, ready at the same time, bit by bit."""

from itertools import count

import numpy as np
from numpy.typing import NDArray

from busdesign.catalogue.model import Message
from busdesign.virtual.clocks import half_up, time_base
from busdesign.virtual.referee.model import Offer, Station
from busdesign.virtual.referee.outcome import SENT
from busdesign.virtual.referee.running import run
from busdesign.virtual.run import Run
from busdesign.wire.frame import Frame

Rows = list[tuple[str, int, int]]  # message, start and end of its frame in nanoseconds


def ready_ns(message: Message, until_ns: int, jitter: str) -> list[int]:
    """When each instance is handed over: with ``worst`` jitter the first is late by all of it, the others on time."""
    ready: list[int] = []
    for number in count():
        nominal = message.offset_ns + number * message.period_ns
        late = message.jitter_ns if jitter == "worst" and number == 0 else 0
        ready.append(max(nominal + late, ready[-1] if ready else 0))
        if ready[-1] >= until_ns:
            return ready[:-1]
    raise AssertionError


def stations_of(simulated: Run, jitter: str) -> tuple[list[Station], dict[str, list[str]]]:
    """The nodes and their frames, in ticks of the simulator; and by node the message of each of its offers.

    A frame that the run did not complete carries zeros here: it never was on the wire in full.
    """
    catalogue, until_ns = simulated.catalogue, simulated.run_for_ns
    ticks = time_base(catalogue, simulated.drifts).ticks_per_ns
    offers: dict[str, list[Offer]] = {name: [] for name in catalogue.nodes}
    names: dict[str, list[str]] = {name: [] for name in catalogue.nodes}
    for index, message in enumerate(catalogue.messages):
        sent = simulated.traffic.payload[simulated.message_index == index]
        for number, ready in enumerate(ready_ns(message, until_ns, jitter)):
            payload = int(sent[number]) if number < len(sent) else 0
            data = payload.to_bytes(8, "little")[: message.length_bytes]
            frame = Frame(message.identifier or 0, data, extended=message.extended)
            offers[message.sender].append(Offer(ready * ticks, frame))
            names[message.sender].append(message.name)
    return [Station(name, tuple(own)) for name, own in offers.items()], names


def refereed_rows(simulated: Run, jitter: str) -> Rows:
    """What the referee makes of it: every frame that was sent by the end of the run."""
    base = time_base(simulated.catalogue, simulated.drifts)
    stations, names = stations_of(simulated, jitter)
    until = simulated.run_for_ns * base.ticks_per_ns
    bit = next(iter(base.bit_ticks.values()))
    seen = run(stations, until, bit=bit, join=base.join_ticks)
    assert not len(seen.flags.kind)
    attempts = seen.attempts
    of_interest = (attempts.outcome == SENT) & (attempts.end <= until)
    starts, ends = (_ns(column[of_interest], base.ticks_per_ns) for column in (attempts.start, attempts.end))
    senders = [seen.stations[station] for station in attempts.station[of_interest]]
    sent = [names[node][offer] for node, offer in zip(senders, attempts.offer[of_interest], strict=True)]
    return list(zip(sent, starts.tolist(), ends.tolist(), strict=True))


def _ns(ticks: NDArray[np.int64], ticks_per_ns: int) -> NDArray[np.int64]:
    rounded: NDArray[np.int64] = half_up(ticks, ticks_per_ns)
    return rounded


def simulated_rows(simulated: Run) -> Rows:
    """The same of the simulator."""
    names = [message.name for message in simulated.catalogue.messages]
    sent = [names[index] for index in simulated.message_index]
    return list(zip(sent, simulated.start_ns.tolist(), simulated.traffic.end_ns.tolist(), strict=True))
