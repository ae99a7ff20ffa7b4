"""Fault confinement: how every node counts errors, and when it goes error passive, bus off, and back.

Small functions from a counter to the counter after it, over plain numbers, so that a simulation frame by frame and a
compiled loop bit by bit count alike. TEC is the transmit error counter, REC the receive error counter.

Source: Bosch CAN Specification 2.0 (1991), part B, section 8 "Fault confinement", rules 1 to 12, which
ISO 11898-1:2015 repeats (that it does: from memory). The figures are confirmed against the text of the former; the
numbers of its rules are from memory.

What the standard leaves open, and what is taken here:

- After a good reception a REC above 127 becomes "a value between 119 and 127". Taken: 127, from where the least is
  needed to be error passive again. `after_reception` takes any other.
- How far REC counts once it is above 127. Taken: on, without a limit.
- When TEC counts for a missing acknowledgement, which depends on what is seen during the passive flag that follows.
  Taken: at the first dominant bit of that flag; see `counts_transmit_error`.
- An error that makes a node error passive is still signalled with an active flag (rule 9, confirmed): decide on the
  flag before you count.
"""

from dataclasses import dataclass

ERROR_ACTIVE, ERROR_PASSIVE, BUS_OFF = range(3)
STATE_NAMES = ("error active", "error passive", "bus off")  # the standard's words, in the order of the codes

WARNING_LIMIT = 96  # a heavily disturbed bus, Bosch CAN 2.0 part B, section 8, note: "about 96" (confirmed)
PASSIVE_LIMIT = 128  # rule 9 (confirmed)
BUS_OFF_LIMIT = 256  # rule 10 (confirmed)

SMALL_STEP = 1  # rules 1, 7 and 8 (confirmed)
LARGE_STEP = 8  # rules 2 to 6 (confirmed)

TOLERATED_DOMINANT_BITS = 7  # after one's own flag, rule 6 (confirmed)
DOMINANT_BITS_A_STEP = 8  # rule 6 (confirmed)

LEAST_RECOVERED_REC, LARGEST_RECOVERED_REC = 119, 127  # rule 8 (confirmed)
RECOVERED_REC = LARGEST_RECOVERED_REC  # our choice within what rule 8 allows

RECOVERY_RUNS = 128  # rule 12 (confirmed)
RECESSIVE_RUN_BITS = 11  # rule 12; as many integrate a node that has just been switched on (confirmed)
LEAST_RECOVERY_BITS = RECOVERY_RUNS * RECESSIVE_RUN_BITS  # on an idle bus: 1408 bits (recomputed)


@dataclass(frozen=True, slots=True)
class Counters:
    """The two error counters of a node. Raises ValueError if one is below zero."""

    tec: int = 0
    rec: int = 0

    def __post_init__(self) -> None:
        if self.tec < 0 or self.rec < 0:
            raise ValueError(f"an error counter never falls below 0, got TEC {self.tec} and REC {self.rec}")

    @property
    def state(self) -> str:
        """`error active`, `error passive` or `bus off`."""
        return STATE_NAMES[state_of(self.tec, self.rec)]

    @property
    def warns(self) -> bool:
        """Whether a counter has reached the limit at which the bus counts as heavily disturbed."""
        return at_warning(self.tec, self.rec)


def state_of(tec: int, rec: int) -> int:
    """ERROR_ACTIVE, ERROR_PASSIVE or BUS_OFF.

    Rule 9: error passive from 128 on, of either counter. Rule 10: bus off from a TEC of 256 on. Rule 11: error
    active again once both are at most 127. A node that is bus off takes part in nothing and so counts nothing: it
    stays so until rule 12 sets both counters to 0. All confirmed.
    """
    if tec >= BUS_OFF_LIMIT:
        return BUS_OFF
    return ERROR_PASSIVE if tec >= PASSIVE_LIMIT or rec >= PASSIVE_LIMIT else ERROR_ACTIVE


def at_warning(tec: int, rec: int) -> bool:
    """Whether a counter is at 96 or more. Section 8, note (confirmed: "about 96")."""
    return tec >= WARNING_LIMIT or rec >= WARNING_LIMIT


def after_receive_error(rec: int) -> int:
    """REC of a receiver that detects an error. Rule 1 (confirmed).

    Not for a bit error in its own active error flag or overload flag: that is `after_bit_error_in_flag`.
    """
    return rec + SMALL_STEP


def after_dominant_behind_flag(rec: int) -> int:
    """REC of a receiver that sees a dominant bit as the first one after its own error flag. Rule 2 (confirmed).

    It is a sign that this node was the first, perhaps the only one, to see an error. Not after an overload flag.
    """
    return rec + LARGE_STEP


def after_transmit_error(tec: int) -> int:
    """TEC of a transmitter that sends an error flag, where `counts_transmit_error`. Rule 3 (confirmed)."""
    return tec + LARGE_STEP


def counts_transmit_error(is_excused_acknowledgement: bool, is_excused_stuff_error: bool) -> bool:
    """Whether an error flag of a transmitter raises its TEC: always, but for the two exceptions of rule 3."""
    return not (is_excused_acknowledgement or is_excused_stuff_error)


def excuses_missing_acknowledgement(was_passive: bool, saw_dominant_in_flag: bool) -> bool:
    """Rule 3, exception 1 (confirmed): nobody acknowledged an error-passive transmitter, nor disturbed its flag.

    So a node alone on the bus goes error passive, and never bus off. ``saw_dominant_in_flag``: whether it monitored
    a dominant bit while it sent its passive error flag. Only for an acknowledgement error.
    """
    return was_passive and not saw_dominant_in_flag


def excuses_stuff_error(in_arbitration: bool, is_stuff_bit: bool, sent_recessive: bool, saw_dominant: bool) -> bool:
    """Rule 3, exception 2 (confirmed): in arbitration a stuff bit sent recessive was monitored dominant.

    ``in_arbitration`` ends with the bit before the one that requests a remote frame.
    """
    return in_arbitration and is_stuff_bit and sent_recessive and saw_dominant


def after_bit_error_in_flag(counter: int) -> int:
    """The counter of a node that sends an active error flag or an overload flag and monitors a recessive bit in it.

    Rule 4: the TEC of a transmitter; rule 5: the REC of a receiver (both confirmed).
    """
    return counter + LARGE_STEP


def is_dominant_too_long(dominant_bits: int) -> bool:
    """Whether the latest of ``dominant_bits``, consecutive ones after one's own flag, calls for another step.

    Rule 6 (confirmed): up to 7 are tolerated. The 8th after a passive error flag is a step, so is the 14th of those
    that an active error flag or an overload flag began (its own six, and eight), and from there on each eighth.
    """
    return dominant_bits > 0 and dominant_bits % DOMINANT_BITS_A_STEP == 0


def after_dominant_too_long(counter: int) -> int:
    """TEC of a transmitter, REC of a receiver, where `is_dominant_too_long`. Rule 6 (confirmed)."""
    return counter + LARGE_STEP


def after_transmission(tec: int) -> int:
    """TEC after a frame was acknowledged and went without error until the end of its end-of-frame.

    Rule 7 (confirmed).
    """
    return tec - SMALL_STEP if tec > 0 else 0


def after_reception(rec: int, recovered: int = RECOVERED_REC) -> int:
    """REC after a frame was received without error up to the acknowledge slot, and acknowledged.

    Rule 8 (confirmed): one less; 0 stays 0; above 127 it becomes ``recovered``, of 119 to 127, which the standard
    leaves to the controller.
    """
    if rec >= PASSIVE_LIMIT:
        return recovered
    return rec - SMALL_STEP if rec > 0 else 0


def is_recovered(recessive_runs: int) -> bool:
    """Whether a node that is bus off may be error active again, both counters 0. Rule 12 (confirmed).

    ``recessive_runs`` counts occurrences of 11 consecutive recessive bits since it went bus off, or since its
    application asked for recovery.
    """
    return recessive_runs >= RECOVERY_RUNS
