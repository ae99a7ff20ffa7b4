"""From stations and disturbances to the flat array of the loops."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import TypeAlias

import numpy as np

from busdesign.virtual.referee import layout
from busdesign.virtual.referee.layout import FIRST_NODE, FRAME_WIDTH, MEMORY, NONE, PAIR, RECENT, ROW, WIRE_ROOM, Ints
from busdesign.virtual.referee.model import Flip, FlipInFrame, Offer, Station, Stuck
from busdesign.wire.arbitration import arbitration_key
from busdesign.wire.frame import LARGEST_LENGTH_BYTES

Disturbances: TypeAlias = Sequence[Flip | FlipInFrame]

_HIGH_BYTES = 4


@dataclass(frozen=True, slots=True)
class Arrays:
    """The array that the loops play on, where its parts are, and for each frame the place in its station's offers.

    The log stands last, from ``log_from`` on.
    """

    memory: Ints
    frames_from: int
    log_from: int
    offer_of: Ints


def arrays_of(
    stations: Sequence[Station], flips: Disturbances, stuck: Sequence[Stuck], *, ticks: int, log_rows: int
) -> Arrays:
    """The array at the start of a run; every time of the arguments is multiplied by ``ticks``.

    Raises ValueError if two stations share a name, a disturbance names none, or a station is stuck twice at a time.
    """
    _require(stations, flips, stuck)
    nodes, frames = len(stations), sum(len(station.offers) for station in stations)
    frames_from = FIRST_NODE + nodes * MEMORY
    order_from = frames_from + frames * FRAME_WIDTH
    heap_from = order_from + frames
    wire_from = heap_from + frames
    recent_from = wire_from + nodes * WIRE_ROOM
    pairs_from = recent_from + nodes * RECENT
    script_from = pairs_from + nodes * nodes * PAIR
    scripts = [_scripts(station, flips, stuck, ticks) for station in stations]
    log_from = script_from + sum(len(entries) for script in scripts for _, _, entries in script)
    memory = np.zeros(log_from + log_rows * ROW, np.int64)
    offer_of: list[int] = []
    for number, station in enumerate(stations):
        before = len(offer_of)
        node = memory[FIRST_NODE + number * MEMORY : FIRST_NODE + (number + 1) * MEMORY]
        _begin_as(station, node, ticks)
        node[layout.NODE] = number
        node[layout.WIRE_FROM] = wire_from + number * WIRE_ROOM
        node[layout.RECENT_FROM] = recent_from + number * RECENT
        node[layout.PAIRS_FROM] = pairs_from + number * nodes * PAIR
        node[layout.HEAP_FROM] = heap_from + before
        node[layout.NEXT_READY] = order_from + before
        node[layout.READY_END] = order_from + before + len(station.offers)
        ranked = sorted(range(len(station.offers)), key=lambda place: _rank(station.offers[place], place))
        by_time = sorted(range(len(ranked)), key=lambda rank: station.offers[ranked[rank]].ready)
        first = frames_from + before * FRAME_WIDTH
        for rank, place in enumerate(ranked):
            memory[first + rank * FRAME_WIDTH : first + (rank + 1) * FRAME_WIDTH] = _row(station.offers[place], ticks)
        memory[order_from + before : order_from + before + len(ranked)] = [
            first + rank * FRAME_WIDTH for rank in by_time
        ]
        offer_of += ranked
        for start, end, entries in scripts[number]:
            memory[script_from : script_from + len(entries)] = entries
            node[start], node[end] = script_from, script_from + len(entries)
            script_from += len(entries)
    return Arrays(memory, frames_from, log_from, np.array(offer_of, np.int64))


def _begin_as(station: Station, node: Ints, ticks: int) -> None:
    node[layout.CURRENT] = node[layout.LAID_OUT] = node[layout.STARTS] = NONE
    node[layout.DRIVES] = layout.RECESSIVE_LEVEL
    node[layout.TEC], node[layout.REC] = station.counters.tec, station.counters.rec
    node[layout.AUTOMATIC] = node[layout.RECOVERS] = station.recovers
    node[layout.PHASE] = layout.IDLE
    if station.on_at is not None:
        node[layout.PHASE], node[layout.ON_AT] = layout.SWITCHED_OFF, station.on_at * ticks
    elif station.counters.state == "bus off":
        node[layout.PHASE] = layout.IS_BUS_OFF


def _rank(offer: Offer, place: int) -> tuple[int, int, int]:
    frame = offer.frame
    return arbitration_key(frame.identifier, extended=frame.extended, remote=frame.remote), offer.ready, place


def _row(offer: Offer, ticks: int) -> list[int]:
    frame = offer.frame
    data = frame.data.ljust(LARGEST_LENGTH_BYTES, b"\0")
    high, low = int.from_bytes(data[:_HIGH_BYTES]), int.from_bytes(data[_HIGH_BYTES:])
    return [offer.ready * ticks, frame.identifier, frame.extended, frame.remote, frame.length_code, high, low]


def _scripts(
    station: Station, flips: Disturbances, stuck: Iterable[Stuck], ticks: int
) -> tuple[tuple[int, int, list[int]], ...]:
    """What the station goes through, and which numbers of its memory say where that stands."""
    own = [flip for flip in flips if flip.station in (None, station.name)]
    places = sorted((flip.start, flip.bit) for flip in own if isinstance(flip, FlipInFrame))
    spells = sorted((one.since, one.until, one.level) for one in stuck if one.station == station.name)
    return (
        (layout.REQUEST, layout.REQUEST_END, sorted(at * ticks for at in station.requests)),
        (layout.FLIP, layout.FLIP_END, sorted(flip.at * ticks for flip in own if isinstance(flip, Flip))),
        (layout.PLACED, layout.PLACED_END, [number for place in places for number in place]),
        (
            layout.STUCK,
            layout.STUCK_END,
            [number for since, until, level in spells for number in (since * ticks, until * ticks, level)],
        ),
    )


def _require(stations: Sequence[Station], flips: Disturbances, stuck: Sequence[Stuck]) -> None:
    names = [station.name for station in stations]
    if not names or len(set(names)) < len(names):
        raise ValueError(f"a bus has stations, each with a name of its own, got {names}")
    named = {flip.station for flip in flips if flip.station is not None} | {one.station for one in stuck}
    unknown = sorted(named - set(names))
    if unknown:
        raise ValueError(f"no station is called `{unknown[0]}`, there are: {', '.join(names)}")
    for name in names:
        spells = sorted((one.since, one.until) for one in stuck if one.station == name)
        if any(before[1] > after[0] for before, after in pairwise(spells)):
            raise ValueError(f"station `{name}` is stuck twice at a time")
