"""What faults come to, before the run: everything that the kinds' players have put together."""

from dataclasses import dataclass, field
from typing import Protocol

from busdesign.catalogue.model import Catalogue, Message
from busdesign.findings import Finding, Severity
from busdesign.scenario.model import Fault, Scenario
from busdesign.virtual.disturbances import Conditions, Off, Parted, SeenBy, Source, Who
from busdesign.virtual.faults.streams import Change
from busdesign.virtual.kernel import Kernel
from busdesign.virtual.senders import Sender

_WHO = {"all": Who.ALL, "transmitter": Who.TRANSMITTER, "receivers": Who.RECEIVERS}


class Bound(Protocol):
    """A source that has to look at the run while it goes on."""

    def bind(self, kernel: Kernel, senders: dict[str, Sender]) -> None:
        """Called once, before the run."""
        ...


@dataclass(frozen=True, slots=True)
class Outage:
    """``node`` has no power from ``from_ns`` on; its model begins anew at ``until_ns`` (None: it does not)."""

    node: str
    from_ns: int
    until_ns: int | None


@dataclass(frozen=True, slots=True)
class Mute:
    """``node`` sends nothing from ``from_ns`` until ``until_ns``, and drops what it has queued."""

    node: str
    from_ns: int
    until_ns: int | None


@dataclass(frozen=True, slots=True)
class Stranger:
    """Frames that ``node`` sends and should not, every ``every_ns``; ``like``: the message whose frames they seem."""

    message: Message
    node: str
    every_ns: int
    from_ns: int
    until_ns: int | None
    like: str = ""


@dataclass(slots=True)
class Stage:
    """Where the players put what their faults do. Times are nanoseconds of the run."""

    scenario: Scenario
    sources: list[Source] = field(default_factory=list)
    bound: list[Bound] = field(default_factory=list)
    off: list[Off] = field(default_factory=list)
    parted: list[Parted] = field(default_factory=list)
    mutes: list[Mute] = field(default_factory=list)
    outages: list[Outage] = field(default_factory=list)
    strangers: list[Stranger] = field(default_factory=list)
    changes: dict[str, list[Change]] = field(default_factory=dict)  # by message
    findings: list[Finding] = field(default_factory=list)

    @property
    def catalogue(self) -> Catalogue:
        return self.scenario.catalogue

    def seed(self, fault: Fault) -> int:
        return self.scenario.seed if fault.seed is None else fault.seed

    def stop(self, fault: Fault) -> int:
        """The first nanosecond that is good again, or the end of the run."""
        return self.scenario.run_for_ns if fault.until_ns is None else fault.until_ns

    def note(self, fault: Fault, text: str) -> None:
        """Say what was assumed of ``fault``, or that it does nothing."""
        found = Finding("fault-assumed", Severity.ADVICE, fault.place, f"{fault.title}: {text}")
        self.findings.append(found)

    def change(self, message: str, change: Change) -> None:
        self.changes.setdefault(message, []).append(change)

    def conditions(self, also: Conditions) -> Conditions:
        """What is wrong on the wire, ``also`` included."""
        return Conditions(
            (*also.sources, *self.sources), (*also.off, *self.off), (*also.parted, *self.parted), also.stay_off
        )


def seen_by(fault: Fault) -> SeenBy:
    """Who reads it wrong."""
    return _WHO[fault.seen_by] if isinstance(fault.seen_by, str) else frozenset(fault.seen_by)
