"""Players of the faults of applications."""

from dataclasses import replace

from busdesign.chance import stream
from busdesign.scenario.model import Fault
from busdesign.virtual.faults.sources import Collision
from busdesign.virtual.faults.stage import Stage, Stranger
from busdesign.virtual.faults.streams import Corrupting, Freezing, Lateness, Losing, Repeating, Swapping


def late(fault: Fault, stage: Stage) -> None:
    for name in _messages(fault, stage):
        stage.change(name, Lateness(fault.at_ns, fault.until_ns, fault.by_ns, None))


def jittering(fault: Fault, stage: Stage) -> None:
    for name in _messages(fault, stage):
        rng = stream(stage.seed(fault), "jittering", name)
        stage.change(name, Lateness(fault.at_ns, fault.until_ns, fault.by_ns, rng))


def _messages(fault: Fault, stage: Stage) -> list[str]:
    if fault.message:
        return [fault.message]
    return [message.name for message in stage.catalogue.sent_by(fault.node) if not message.irregular]


def duplicate_identifier(fault: Fault, stage: Stage) -> None:
    known = stage.catalogue.message(fault.message)
    message = replace(known, name=f"{known.name} of {fault.node}", sender=fault.node)
    every_ns = known.period_ns if fault.every_ns is None else fault.every_ns
    stage.strangers.append(Stranger(message, fault.node, every_ns, fault.at_ns, fault.until_ns, known.name))
    stage.sources.append(Collision(known.name))


def corrupted(fault: Fault, stage: Stage) -> None:
    bits = 8 * stage.catalogue.message(fault.message).data_bytes
    rng = stream(stage.seed(fault), "corrupted", fault.message)
    bit = fault.payload_bit
    mask = (lambda: 1 << rng.randrange(bits)) if bit is None else (lambda: 1 << bit)
    stage.change(fault.message, Corrupting(fault.at_ns, fault.until_ns, mask))


def repeated(fault: Fault, stage: Stage) -> None:
    stage.change(fault.message, Repeating(fault.at_ns, fault.until_ns))


def lost(fault: Fault, stage: Stage) -> None:
    stage.change(fault.message, Losing(fault.at_ns, fault.until_ns, fault.one_in))


def swapped(fault: Fault, stage: Stage) -> None:
    stage.change(fault.message, Swapping(fault.at_ns, fault.until_ns))


def stale(fault: Fault, stage: Stage) -> None:
    stage.change(fault.message, Freezing(fault.at_ns, fault.until_ns))
