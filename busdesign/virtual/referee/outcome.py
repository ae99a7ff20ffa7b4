"""What the referee saw: columns of attempts, receptions, counters over time, flags and levels.

All columns of one table have one shape, [n], in the order of time. ``station`` is a place in ``Refereed.stations``.
Times are ticks: a start is that of the bit, an end is that of the bit too, so that the last bit of end of frame ends at
``end``. A station tells times by its own clock.
"""

from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from busdesign.virtual.referee import layout
from busdesign.virtual.referee.arrays import Arrays
from busdesign.virtual.referee.layout import FRAME_WIDTH, ROW, Ints
from busdesign.wire.byte_tables import BASE_HEADER_BITS
from busdesign.wire.confinement import Counters

Bools: TypeAlias = NDArray[np.bool_]

# The names of ``Attempts.outcome`` and ``Flags.kind``, by number.
OUTCOMES = (
    "sent",
    "lost arbitration",
    "bit error",
    "stuff error",
    "CRC error",
    "form error",
    "acknowledgement error",
    "overload",
)
SENT, LOST = layout.SENT, layout.LOST


@dataclass(frozen=True, eq=False, slots=True)
class Attempts:
    """Every time that a station offered a frame: ``offer`` is the place in its offers, ``bit`` where it ended.

    ``bit`` counts from start of frame, stuff bits included.
    """

    station: Ints
    offer: Ints
    start: Ints
    end: Ints
    outcome: Ints
    bit: Ints


@dataclass(frozen=True, eq=False, slots=True)
class Receptions:
    """Every frame that a station accepted, as it took it in.

    It does so at the last but one bit of end of frame, which ends at ``end``. Byte i of the data is at bits 8 i to
    8 i + 7 of ``payload``. ``start`` counts the starts of frame that the station has seen.
    """

    station: Ints
    end: Ints
    identifier: Ints
    extended: Bools
    remote: Bools
    length_code: Ints
    payload: NDArray[np.uint64]
    start: Ints


@dataclass(frozen=True, eq=False, slots=True)
class Countings:
    """Every change of a station's error counters, in the bit that begins at ``begin``, and by which rule (1 to 12)."""

    station: Ints
    begin: Ints
    tec: Ints
    rec: Ints
    rule: Ints


@dataclass(frozen=True, eq=False, slots=True)
class Flags:
    """Every error or overload flag: why (``kind``, see OUTCOMES), seen in the bit that begins at ``begin``.

    ``is_passive`` tells a passive error flag. ``start`` and ``bit`` are the place as the station counts it.
    """

    station: Ints
    begin: Ints
    kind: Ints
    is_passive: Bools
    start: Ints
    bit: Ints


@dataclass(frozen=True, eq=False, slots=True)
class Levels:
    """Every change of level, 0 dominant, from tick ``begin`` on; empty unless asked for.

    On a common clock the level is that of the pair and ``station`` says nothing, else it is what that station drives.
    """

    station: Ints
    begin: Ints
    level: Ints


@dataclass(frozen=True, eq=False, slots=True)
class Refereed:
    """A run of the referee until tick ``reached``; a nanosecond is ``ticks_per_ns`` ticks, 1 unless in quanta."""

    stations: tuple[str, ...]
    ticks_per_ns: int
    reached: int
    attempts: Attempts
    receptions: Receptions
    countings: Countings
    flags: Flags
    levels: Levels
    counters: tuple[Counters, ...]  # of each station, at the end

    @property
    def rows(self) -> tuple[NDArray[np.generic], ...]:
        """All columns, one after the other: two runs are equal if these are."""
        tables = (self.attempts, self.receptions, self.countings, self.flags, self.levels)
        return tuple(getattr(table, name) for table in tables for name in table.__dataclass_fields__)


def refereed(
    names: tuple[str, ...], ticks_per_ns: int, reached: int, log: Ints, arrays: Arrays, counters: tuple[Counters, ...]
) -> Refereed:
    """The columns of ``log``, whose rows follow one another from the first on."""
    table = log.reshape(-1, ROW)

    def of(kind: int) -> list[Ints]:
        return [column.copy() for column in table[table[:, 0] == kind].T]

    _, end, station, _, bit, frame, start, how, _ = of(layout.ATTEMPT)
    attempts = Attempts(station, arrays.offer_of[(frame - arrays.frames_from) // FRAME_WIDTH], start, end, how, bit)
    _, begin, station, _, _, tec, rec, rule, _ = of(layout.COUNTING)
    countings = Countings(station, begin, tec, rec, rule)
    _, begin, station, start, bit, kind, phase, *_ = of(layout.FLAG)
    flags = Flags(station, begin, kind, phase == layout.PASSIVE_FLAG, start, bit)
    _, begin, station, _, _, level, *_ = of(layout.LEVELS)
    return Refereed(
        names,
        ticks_per_ns,
        reached,
        attempts,
        _receptions(of(layout.RECEPTION)),
        countings,
        flags,
        Levels(station, begin, level),
        counters,
    )


def _receptions(columns: list[Ints]) -> Receptions:
    _, end, station, start, _, header, data_from, high, low = columns
    is_base = data_from == BASE_HEADER_BITS
    base_identifier = np.where(is_base, header >> 7, header >> 27) & 0x7FF
    remote, length_code = (header >> 6 & 1).astype(np.bool_), header & 0xF
    length_bytes = np.where(remote, 0, np.minimum(length_code, 8))
    number = high.astype(np.uint64) << np.uint64(32) | low.astype(np.uint64)
    first_byte_highest = np.zeros(number.size, np.uint64)
    some = length_bytes > 0  # a shift by 64 is none
    first_byte_highest[some] = number[some] << (64 - 8 * length_bytes[some]).astype(np.uint64)
    return Receptions(
        station,
        end,
        np.where(is_base, base_identifier, base_identifier << 18 | (header >> 7 & 0x3FFFF)),
        ~is_base,
        remote,
        length_code,
        first_byte_highest.byteswap(),
        start,
    )
