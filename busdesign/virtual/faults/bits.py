"""Players of the faults of bits."""

from busdesign.scenario.model import Fault
from busdesign.virtual.disturbances import Burst, RandomBits
from busdesign.virtual.faults.sources import BitSince
from busdesign.virtual.faults.stage import Stage, seen_by

LAST_BUT_ONE = 5  # of the seven bits of end of frame


def flipped_bit(fault: Fault, stage: Stage) -> None:
    _aim(fault, stage, fault.bit, fault.field_name)


def end_of_frame_error(fault: Fault, stage: Stage) -> None:
    _aim(fault, stage, LAST_BUT_ONE, "end of frame")


def _aim(fault: Fault, stage: Stage, bit: int, field_name: str) -> None:
    aimed = BitSince(fault.message, fault.at_ns, fault.frame - 1, bit, field_name, seen_by(fault), fault.attempts)
    stage.sources.append(aimed)
    stage.bound.append(aimed)


def flipped_bits(fault: Fault, stage: Stage) -> None:
    stage.sources.append(at_random(fault, stage, float(fault.rate)))


def at_random(fault: Fault, stage: Stage, rate: float) -> RandomBits:
    """Every bit wrong with the probability ``rate`` while ``fault`` lasts."""
    name = f"{fault.kind} {stage.scenario.faults.index(fault)}"
    return RandomBits(rate, stage.seed(fault), seen_by(fault), fault.at_ns, fault.until_ns, name)


def burst(fault: Fault, stage: Stage) -> None:
    end_ns, every_ns = stage.stop(fault), fault.every_ns
    begins = [fault.at_ns] if every_ns is None else range(fault.at_ns, end_ns, every_ns)
    stage.sources += [Burst(begin, min(begin + fault.lasts_ns, end_ns), seen_by(fault)) for begin in begins]
