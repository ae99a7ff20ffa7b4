"""Players of the faults of nodes."""

from dataclasses import replace

from busdesign.catalogue.model import Message
from busdesign.scenario.model import Fault
from busdesign.units import format_duration
from busdesign.virtual.disturbances import Level, Off, Parted, Stuck
from busdesign.virtual.faults.sources import DrivesNothing, NotReady, Unacknowledged
from busdesign.virtual.faults.stage import Mute, Outage, Stage, Stranger


def silent(fault: Fault, stage: Stage) -> None:
    stage.mutes.append(Mute(fault.node, fault.at_ns, fault.until_ns))


def reset(fault: Fault, stage: Stage) -> None:
    back_ns = None if fault.until_ns is None else fault.until_ns + fault.restart_ns
    if back_ns is not None and back_ns > stage.scenario.run_for_ns:
        back_ns = None
    stage.off.append(Off(fault.node, fault.at_ns, back_ns))
    stage.outages.append(Outage(fault.node, fault.at_ns, back_ns))


def brown_out(fault: Fault, stage: Stage) -> None:
    supply, left_v = stage.catalogue.nodes[fault.node].supply, fault.voltage_v or 0
    if supply is not None and left_v >= supply.at_least_v:
        needs = f"`{fault.node}` needs {float(supply.at_least_v):g} V"
        stage.note(fault, f"{needs} at the least, so {float(left_v):g} V do nothing to it")
        return
    if supply is None:
        stage.note(fault, f"the catalogue gives no `supply` of `{fault.node}`: it is taken not to bear it")
    reset(fault, stage)


def babbling(fault: Fault, stage: Stage) -> None:
    assert fault.every_ns is not None
    alike = next((known for known in stage.catalogue.messages if _is_frame_of(known, fault)), None)
    name = f"{fault.node} babbling 0x{fault.identifier:X}"
    message = alike or Message(
        name=name,
        identifier=fault.identifier,
        extended=fault.extended,
        length_bytes=fault.length_bytes,
        sender=fault.node,
        receivers=(),
        signals=(),
        period_ns=fault.every_ns,
        deadline_ns=fault.every_ns,
    )
    like = alike.name if alike else ""
    stage.strangers.append(
        Stranger(
            replace(message, name=name, sender=fault.node),
            fault.node,
            fault.every_ns,
            fault.at_ns,
            fault.until_ns,
            like,
        )
    )


def _is_frame_of(message: Message, fault: Fault) -> bool:
    """Whether receivers take the flood's frames for those of ``message``."""
    known = (message.identifier, message.extended, message.length_bytes, message.is_remote)
    return known == (fault.identifier, fault.extended, fault.length_bytes, False)


def stuck_dominant(fault: Fault, stage: Stage) -> None:
    end_ns = fault.until_ns
    if fault.time_out_ns is not None:
        released_ns = fault.at_ns + fault.time_out_ns
        end_ns = released_ns if end_ns is None else min(end_ns, released_ns)
        cut_off = f"its transceiver lets go after {format_duration(fault.time_out_ns)}"
        stage.note(fault, f"{cut_off}, which sets a lowest bit rate of {_lowest_rate(fault)}")
    stage.sources.append(Stuck(Level.DOMINANT, fault.at_ns, end_ns))
    stage.mutes.append(Mute(fault.node, fault.at_ns, fault.until_ns))


def _lowest_rate(fault: Fault) -> str:
    from fractions import Fraction

    from busdesign.scenario.faults.fitting import TIME_OUT_BITS
    from busdesign.units import format_bit_rate

    return format_bit_rate(round(Fraction(TIME_OUT_BITS * 10**9, fault.time_out_ns or 1)))


def stuck_recessive(fault: Fault, stage: Stage) -> None:
    end_ns = stage.stop(fault)
    stage.sources.append(DrivesNothing(fault.node, fault.at_ns, end_ns))
    if len(stage.catalogue.nodes) == 2:  # the other one has nobody to acknowledge
        stage.sources.append(Unacknowledged(fault.node, fault.at_ns, end_ns, of_others=True))


def alone(fault: Fault, stage: Stage) -> None:
    others = frozenset(stage.catalogue.nodes) - {fault.node}
    stage.parted.append(Parted((frozenset({fault.node}), others), fault.at_ns, fault.until_ns))


def full_buffer(fault: Fault, stage: Stage) -> None:
    stage.sources.append(NotReady(fault.node, fault.at_ns, stage.stop(fault)))
