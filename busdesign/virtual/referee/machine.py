"""One node, bit by bit: what it makes of the level it has sampled, and what it drives in the bit after.

Every node takes the bits in as a receiver, a transmitter too: so it goes on as a receiver where it loses arbitration.
It knows a frame only as the bits of `bit_source`, and the time only as the ticks that the loops hand in.

Sources: Bosch CAN Specification 2.0 (1991), part B, sections 3 "Message transfer", 4 "Message validation", 6 "Error
handling", 7 "Fault confinement" (numbers from memory); ISO 11898-1:2015 for bus integration, the last bit of a
delimiter and the third bit of intermission. Rules of the counters: `wire.confinement`.

Left open by those texts and chosen here: a bit error in one's own active error flag or overload flag counts once (rule
4 or 5) and a new error flag begins with the next bit.
"""

from busdesign.compiled import compiled_within
from busdesign.virtual.referee.bit_source import crc_after, data_bits_of, lay_out_bits
from busdesign.virtual.referee.layout import (
    ACKNOWLEDGE_DELIMITER,
    ACKNOWLEDGE_ERROR,
    ACKNOWLEDGE_SLOT,
    ACTIVE_FLAG,
    AFTER,
    AFTER_FLAG,
    ARBITRATION,
    ATTEMPT,
    AUTOMATIC,
    BIT,
    BIT_ERROR,
    COUNT,
    COUNTING,
    CRC,
    CRC_DELIMITER,
    CRC_ERROR,
    CURRENT,
    DATA_FROM,
    DELIMITER,
    DOMINANT,
    DOMINANT_LEVEL,
    END_OF_FRAME,
    EXCUSED,
    FLAG,
    FORM_ERROR,
    FRAME,
    HEADER,
    HEAP_SIZE,
    HIGH,
    IDLE,
    INTEGRATING,
    INTERMISSION,
    IS_BUS_OFF,
    LAID_OUT,
    LAST,
    LOST,
    LOW,
    NEXT_ROW,
    NODE,
    NONE,
    ON_AT,
    OVERLOAD,
    OVERLOAD_FLAG,
    PASSIVE_FLAG,
    PHASE,
    RAW,
    RAW_END,
    REC,
    RECEPTION,
    RECESSIVE_LEVEL,
    RECOVERS,
    REQUEST,
    REQUEST_END,
    ROW,
    RUN,
    RUNS,
    SENT,
    START,
    STARTS,
    STUFF_BIT,
    STUFF_ERROR,
    SUSPENDED,
    SWITCHED_OFF,
    TEC,
    TRANSMITS,
    UNCOUNTED,
    WIRE_FROM,
    Ints,
)
from busdesign.virtual.referee.queueing import next_ready, pop, push, take_ready
from busdesign.wire import confinement
from busdesign.wire.byte_tables import BASE_HEADER_BITS, EXTENDED_HEADER_BITS
from busdesign.wire.confinement import BUS_OFF, ERROR_PASSIVE, RECESSIVE_RUN_BITS
from busdesign.wire.frame import CRC_BITS, INTERMISSION_BITS, LONGEST_RUN_BITS

_state_of = compiled_within(confinement.state_of)
_after_receive_error = compiled_within(confinement.after_receive_error)
_after_dominant_behind_flag = compiled_within(confinement.after_dominant_behind_flag)
_after_transmit_error = compiled_within(confinement.after_transmit_error)
_counts_transmit_error = compiled_within(confinement.counts_transmit_error)
_excuses_stuff_error = compiled_within(confinement.excuses_stuff_error)
_after_bit_error_in_flag = compiled_within(confinement.after_bit_error_in_flag)
_is_dominant_too_long = compiled_within(confinement.is_dominant_too_long)
_after_dominant_too_long = compiled_within(confinement.after_dominant_too_long)
_after_transmission = compiled_within(confinement.after_transmission)
_after_reception = compiled_within(confinement.after_reception)
_is_recovered = compiled_within(confinement.is_recovered)

FLAG_BITS = 6  # an error flag, an overload flag
DELIMITER_BITS = 8  # of an error or overload frame
SUSPEND_BITS = 8  # an error-passive transmitter waits so long before it sends again
END_OF_FRAME_BITS = 7
IDENTIFIER_EXTENSION_BIT = 13  # counted without stuff bits
_WORD = (1 << 32) - 1
_UNKNOWN = 1 << 30


# What a phase has to say of a bit: a level to drive next, an error (by its number, all above 1), or one of these.
START_SEEN, MAY_OFFER = OVERLOAD + 1, OVERLOAD + 2


@compiled_within
def add_row(m: Ints, base: int, tick: int) -> int:
    """One row more in the log, with what each begins with but its kind; where it stands."""
    at = m[NEXT_ROW]
    m[NEXT_ROW] = at + ROW
    m[at + 1], m[at + 2], m[at + 3], m[at + 4] = tick, m[base + NODE], m[base + STARTS], m[base + BIT]
    return int(at)


@compiled_within
def _count(m: Ints, base: int, tec: int, rec: int, rule: int, begin: int) -> None:
    """Set both counters, and log it if one changes."""
    if tec != m[base + TEC] or rec != m[base + REC]:
        m[base + TEC], m[base + REC] = tec, rec
        at = add_row(m, base, begin)
        m[at], m[at + 5], m[at + 6], m[at + 7] = COUNTING, tec, rec, rule


@compiled_within
def _goes_bus_off(m: Ints, base: int, begin: int) -> bool:
    """Whether the counters say bus off, which then is what the node is."""
    if _state_of(m[base + TEC], m[base + REC]) != BUS_OFF:
        return False
    m[base + PHASE], m[base + TRANSMITS], m[base + RUN], m[base + RUNS] = IS_BUS_OFF, 0, 0, 0
    m[base + RECOVERS] = m[base + AUTOMATIC]
    while m[base + REQUEST] < m[base + REQUEST_END] and m[m[base + REQUEST]] < begin:
        m[base + REQUEST] += 1  # asked for before there was anything to recover from
    return True


@compiled_within
def _end_attempt(m: Ints, base: int, how: int, end: int) -> None:
    """The frame that the node is committed to, if any, ends here; unless sent it is queued again."""
    frame = m[base + CURRENT]
    if frame == NONE:
        return
    m[base + CURRENT] = NONE
    if how != SENT:
        push(m, base, frame)
    at = add_row(m, base, end)
    m[at], m[at + 5], m[at + 6], m[at + 7] = ATTEMPT, frame, m[base + START], how


@compiled_within
def _flag(m: Ints, base: int, kind: int, phase: int, begin: int) -> int:
    """Begin a flag; the level to drive."""
    m[base + PHASE], m[base + COUNT] = phase, 0
    at = add_row(m, base, begin)
    m[at], m[at + 5], m[at + 6] = FLAG, kind, phase
    return RECESSIVE_LEVEL if phase == PASSIVE_FLAG else DOMINANT_LEVEL


@compiled_within
def _signal(m: Ints, base: int, kind: int, begin: int, end: int) -> int:
    """Count and signal an error, or signal an overload; the level to drive. The state before counts (rule 9)."""
    if kind == OVERLOAD:
        return int(_flag(m, base, kind, OVERLOAD_FLAG, begin))
    tec, rec, phase = m[base + TEC], m[base + REC], m[base + PHASE]
    was_passive = _state_of(tec, rec) == ERROR_PASSIVE
    m[base + UNCOUNTED] = 0
    if phase in (ACTIVE_FLAG, OVERLOAD_FLAG):
        if m[base + TRANSMITS]:
            _count(m, base, _after_bit_error_in_flag(tec), rec, 4, begin)
        else:
            _count(m, base, tec, _after_bit_error_in_flag(rec), 5, begin)
    elif not m[base + TRANSMITS]:
        _count(m, base, tec, _after_receive_error(rec), 1, begin)
    elif kind == ACKNOWLEDGE_ERROR and was_passive:
        m[base + UNCOUNTED] = 1  # until a dominant bit is seen in the passive flag: rule 3, exception 1
    elif _counts_transmit_error(False, phase == FRAME and m[base + EXCUSED] == 1):
        _count(m, base, _after_transmit_error(tec), rec, 3, begin)
    _end_attempt(m, base, kind, end)
    drive = _flag(m, base, kind, PASSIVE_FLAG if was_passive else ACTIVE_FLAG, begin)
    return RECESSIVE_LEVEL if _goes_bus_off(m, base, begin) else int(drive)


@compiled_within
def _commit(m: Ints, base: int) -> None:
    """Offer the most urgent frame, and no other until this attempt ends."""
    frame = pop(m, base)
    m[base + CURRENT], m[base + TRANSMITS] = frame, 1
    if m[base + LAID_OUT] != frame:
        lay_out_bits(m, frame, m[base + WIRE_FROM])
        m[base + LAID_OUT] = frame


@compiled_within
def _expect_frame(m: Ints, base: int, ready_before: int) -> bool:
    """The next bit taken in is a start of frame, of one's own if a frame is ready in time; whether it is.

    ``ready_before`` 0: of another one's, whatever is ready.
    """
    m[base + PHASE], m[base + RUN], m[base + LAST], m[base + RAW] = FRAME, 0, RECESSIVE_LEVEL, 0
    m[base + CRC], m[base + HEADER], m[base + HIGH], m[base + LOW] = 0, 0, 0, 0
    m[base + DATA_FROM], m[base + RAW_END] = EXTENDED_HEADER_BITS, _UNKNOWN
    m[base + TRANSMITS], m[base + EXCUSED] = 0, 0
    if ready_before == 0 or not take_ready(m, base, ready_before):
        return False
    _commit(m, base)
    return True


@compiled_within
def offer(m: Ints, base: int, start: int) -> int:
    """On an idle bus: a node that has a frame ready by ``start`` begins it in the bit that starts then."""
    if m[base + HEAP_SIZE] == 0 and next_ready(m, base) > start:
        m[base + PHASE], m[base + TRANSMITS] = IDLE, 0
        return RECESSIVE_LEVEL
    _expect_frame(m, base, start + 1)
    return DOMINANT_LEVEL


@compiled_within
def _between_frames(m: Ints, base: int, bit: int, phase: int, look: int) -> int:
    """One bit of an idle bus, of intermission, or of suspended transmission.

    At a foreign start of frame a node that has a frame ready before it samples that takes part, unless it is error
    passive and has just transmitted.
    """
    must_wait = False
    if phase != IDLE:
        must_wait = m[base + TRANSMITS] == 1 and _state_of(m[base + TEC], m[base + REC]) == ERROR_PASSIVE
        m[base + COUNT] += 1
        if phase == INTERMISSION and m[base + COUNT] < INTERMISSION_BITS:
            return RECESSIVE_LEVEL if bit else OVERLOAD
    if not bit:
        _expect_frame(m, base, 0 if must_wait else look)
        return START_SEEN
    if phase == INTERMISSION and must_wait:
        m[base + PHASE], m[base + COUNT] = SUSPENDED, 0
        return RECESSIVE_LEVEL
    return RECESSIVE_LEVEL if phase == SUSPENDED and m[base + COUNT] < SUSPEND_BITS else MAY_OFFER


@compiled_within
def _take_header(m: Ints, base: int, raw: int, bit: int) -> None:
    header = m[base + HEADER] << 1 | bit
    m[base + HEADER] = header
    if raw == IDENTIFIER_EXTENSION_BIT and not bit:
        m[base + DATA_FROM] = BASE_HEADER_BITS
    if raw == m[base + DATA_FROM] - 1:
        m[base + RAW_END] = raw + 1 + data_bits_of(header & 0xF, header >> 6 & 1) + CRC_BITS


@compiled_within
def _in_frame(m: Ints, base: int, bit: int, begin: int, end: int) -> int:
    """One bit from start of frame to the end of the CRC sequence."""
    raw = m[base + RAW]
    if raw == 0:
        m[base + STARTS] += 1
        m[base + BIT], m[base + START] = 0, begin
    place = m[base + WIRE_FROM] + m[base + BIT]
    if m[base + TRANSMITS] and m[place] & 1 != bit:
        sent = m[place]
        if bit or not sent & ARBITRATION:
            return BIT_ERROR
        if sent & STUFF_BIT:
            m[base + EXCUSED] = _excuses_stuff_error(
                sent & ARBITRATION > 0, sent & STUFF_BIT > 0, sent & 1 == 1, bit == 0
            )
            return STUFF_ERROR
        _end_attempt(m, base, LOST, end)
        m[base + TRANSMITS] = 0
    run, is_equal = m[base + RUN], bit == m[base + LAST]
    m[base + LAST] = bit
    if run == LONGEST_RUN_BITS:
        if is_equal:
            return STUFF_ERROR
        run = 1
    else:
        run = run + 1 if is_equal else 1
        m[base + CRC] = crc_after(m[base + CRC], bit)
        if raw < m[base + DATA_FROM]:
            _take_header(m, base, raw, bit)
        elif raw < m[base + RAW_END] - CRC_BITS:
            m[base + HIGH] = (m[base + HIGH] << 1 | m[base + LOW] >> 31) & _WORD
            m[base + LOW] = (m[base + LOW] << 1 | bit) & _WORD
        raw += 1
        m[base + RAW] = raw
    m[base + RUN] = run
    if raw == m[base + RAW_END] and run != LONGEST_RUN_BITS:
        m[base + PHASE] = CRC_DELIMITER
        return RECESSIVE_LEVEL
    return m[place + 1] & 1 if m[base + TRANSMITS] else RECESSIVE_LEVEL


@compiled_within
def _in_trailer(m: Ints, base: int, bit: int, phase: int, begin: int, end: int) -> int:
    """One bit from the CRC delimiter to the end of frame."""
    transmits, is_intact = m[base + TRANSMITS] == 1, m[base + CRC] == 0
    if phase == ACKNOWLEDGE_SLOT:
        if bit and (transmits or is_intact):
            return ACKNOWLEDGE_ERROR if transmits else BIT_ERROR
        if is_intact and not transmits:
            _count(m, base, m[base + TEC], _after_reception(m[base + REC]), 8, begin)
        m[base + PHASE] = ACKNOWLEDGE_DELIMITER
        return RECESSIVE_LEVEL
    is_last = phase == END_OF_FRAME and m[base + COUNT] == END_OF_FRAME_BITS - 1
    if not bit:
        if transmits:
            return BIT_ERROR
        return OVERLOAD if is_last else FORM_ERROR
    if phase == CRC_DELIMITER:
        m[base + PHASE] = ACKNOWLEDGE_SLOT
        return DOMINANT_LEVEL if is_intact and not transmits else RECESSIVE_LEVEL
    if phase == ACKNOWLEDGE_DELIMITER:
        m[base + PHASE], m[base + COUNT] = END_OF_FRAME, 0
        return RECESSIVE_LEVEL if is_intact or transmits else CRC_ERROR
    m[base + COUNT] += 1
    if m[base + COUNT] == END_OF_FRAME_BITS - 1 and not transmits:
        at = add_row(m, base, end)
        m[at], m[at + 5], m[at + 6] = RECEPTION, m[base + HEADER], m[base + DATA_FROM]
        m[at + 7], m[at + 8] = m[base + HIGH], m[base + LOW]
    if is_last:
        if transmits:
            _count(m, base, _after_transmission(m[base + TEC]), m[base + REC], 7, begin)
            _end_attempt(m, base, SENT, end)
        m[base + PHASE], m[base + COUNT] = INTERMISSION, 0
    return RECESSIVE_LEVEL


@compiled_within
def _in_flag(m: Ints, base: int, bit: int, phase: int, begin: int) -> int:
    """One bit of a flag of one's own."""
    if phase != PASSIVE_FLAG:
        if bit:
            return BIT_ERROR
        m[base + COUNT] += 1
    else:
        m[base + COUNT] = m[base + COUNT] + 1 if bit == m[base + LAST] and m[base + COUNT] else 1
        m[base + LAST] = bit
        if not bit and m[base + UNCOUNTED]:
            m[base + UNCOUNTED] = 0
            _count(m, base, _after_transmit_error(m[base + TEC]), m[base + REC], 3, begin)
            if _goes_bus_off(m, base, begin):
                return RECESSIVE_LEVEL
    if m[base + COUNT] == FLAG_BITS:
        m[base + PHASE], m[base + AFTER], m[base + DOMINANT] = AFTER_FLAG, phase, 0
        return RECESSIVE_LEVEL
    return RECESSIVE_LEVEL if phase == PASSIVE_FLAG else DOMINANT_LEVEL


@compiled_within
def _after_flag(m: Ints, base: int, bit: int, begin: int) -> int:
    """One bit while waiting, after a flag of one's own, for the first recessive bit of the delimiter."""
    if bit:
        m[base + PHASE], m[base + COUNT] = DELIMITER, 1
        return RECESSIVE_LEVEL
    m[base + DOMINANT] += 1
    if m[base + DOMINANT] == 1 and m[base + AFTER] != OVERLOAD_FLAG and not m[base + TRANSMITS]:
        _count(m, base, m[base + TEC], _after_dominant_behind_flag(m[base + REC]), 2, begin)
    if _is_dominant_too_long(m[base + DOMINANT]):
        if m[base + TRANSMITS]:
            _count(m, base, _after_dominant_too_long(m[base + TEC]), m[base + REC], 6, begin)
        else:
            _count(m, base, m[base + TEC], _after_dominant_too_long(m[base + REC]), 6, begin)
        _goes_bus_off(m, base, begin)
    return RECESSIVE_LEVEL


@compiled_within
def _in_delimiter(m: Ints, base: int, bit: int) -> int:
    """One bit of the delimiter of an error or overload frame; a dominant one in the last place is an overload."""
    m[base + COUNT] += 1
    is_last = m[base + COUNT] == DELIMITER_BITS
    if not bit:
        return OVERLOAD if is_last else FORM_ERROR
    if is_last:
        m[base + PHASE], m[base + COUNT] = INTERMISSION, 0
    return RECESSIVE_LEVEL


@compiled_within
def _off_the_bus(m: Ints, base: int, bit: int, begin: int) -> int:
    """One bit of a node that is switched off, integrating or bus off."""
    if m[base + PHASE] == SWITCHED_OFF:
        if begin < m[base + ON_AT]:
            return RECESSIVE_LEVEL
        m[base + PHASE], m[base + RUN] = INTEGRATING, 0
    if m[base + PHASE] == IS_BUS_OFF and not m[base + RECOVERS]:
        if m[base + REQUEST] == m[base + REQUEST_END] or m[m[base + REQUEST]] > begin:
            return RECESSIVE_LEVEL
        m[base + REQUEST] += 1
        m[base + RECOVERS], m[base + RUN] = 1, 0
    m[base + RUN] = m[base + RUN] + 1 if bit else 0
    if m[base + RUN] < RECESSIVE_RUN_BITS:
        return RECESSIVE_LEVEL
    if m[base + PHASE] == INTEGRATING:
        return MAY_OFFER
    m[base + RUN] = 0
    m[base + RUNS] += 1
    if not _is_recovered(m[base + RUNS]):
        return RECESSIVE_LEVEL
    _count(m, base, 0, 0, 12, begin)
    return MAY_OFFER


@compiled_within
def _outside_frame(m: Ints, base: int, bit: int, phase: int, begin: int, look: int, end: int) -> int:
    """One bit in any phase but between start of frame and the end of the CRC sequence."""
    if phase in (IDLE, INTERMISSION, SUSPENDED):
        return int(_between_frames(m, base, bit, phase, look))
    if phase <= END_OF_FRAME:
        return int(_in_trailer(m, base, bit, phase, begin, end))
    if phase <= OVERLOAD_FLAG:
        return int(_in_flag(m, base, bit, phase, begin))
    if phase == AFTER_FLAG:
        return int(_after_flag(m, base, bit, begin))
    if phase == DELIMITER:
        return int(_in_delimiter(m, base, bit))
    return int(_off_the_bus(m, base, bit, begin))


@compiled_within
def step(m: Ints, base: int, bit: int, begin: int, look: int, end: int) -> int:
    """The node at ``base`` samples ``bit``; the level that it drives in its next bit.

    ``begin`` and ``end`` are the ticks of the sampled bit, ``look`` is that of its sample point.
    """
    phase = m[base + PHASE]
    m[base + BIT] += 1
    verdict = START_SEEN if phase == FRAME else _outside_frame(m, base, bit, phase, begin, look, end)
    if verdict == START_SEEN:
        verdict = _in_frame(m, base, bit, begin, end)
    if verdict <= RECESSIVE_LEVEL:
        return int(verdict)
    if verdict == MAY_OFFER:
        return int(offer(m, base, end))
    return int(_signal(m, base, verdict, begin, end))
