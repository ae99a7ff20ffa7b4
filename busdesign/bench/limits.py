"""What a design allows to be seen on the wire, as plain numbers: whoever knows the analysis fills them in."""

from collections.abc import Mapping
from dataclasses import dataclass
from math import ceil, floor

from busdesign.catalogue.model import Catalogue, Message


@dataclass(frozen=True, slots=True)
class Recorder:
    """What the recorder leaves open.

    ``resolution_ns``: the step of its time stamps. ``stamps``: whether they name the start or the end of a frame;
    where that is unknown they are taken as the end, and judged so widely that either may be true.
    """

    resolution_ns: int = 1
    stamps: str = "end"  # or start, or unknown


@dataclass(frozen=True, slots=True)
class MessageLimits:
    """How far apart the starts of two frames of one message may be.

    A frame starts between its nominal release and ``wait_ns`` later: release jitter, and waiting for the bus (None
    where no bound exists). Two nominal releases are ``least_ns`` to ``most_ns`` apart, by the tolerance of the
    sender's clock. ``slack_ns``: what the recorder adds to or takes from a distance.
    """

    least_ns: int
    most_ns: int
    wait_ns: int | None
    answer_ns: int | None  # the longest from being asked for until the end of the frame
    slack_ns: int

    @property
    def shortest_ns(self) -> int | None:
        """The shortest distance that can be."""
        return None if self.wait_ns is None else self.least_ns - self.wait_ns - self.slack_ns

    @property
    def longest_ns(self) -> int | None:
        """The longest distance that can be."""
        return None if self.wait_ns is None else self.most_ns + self.wait_ns + self.slack_ns


def limits_of(
    message: Message, catalogue: Catalogue, responses_ns: tuple[int, int, int] | None, recorder: Recorder
) -> MessageLimits:
    """The limits of ``message``; ``responses_ns``: its worst response, its longest and its shortest frame on the wire
    [ns], each to the end of intermission, or None where no bound exists.

    A start of frame is found by counting back from the end with the nominal bit; the sender's own bit is longer or
    shorter by its tolerance, which adds to the slack, as does a stamp of which nobody knows what it names.
    """
    tolerance = catalogue.nodes[message.sender].tolerance
    slack = recorder.resolution_ns + 4  # two starts and two ends, each rounded to a nanosecond
    wait = answer = None
    if responses_ns is not None:
        response, longest, shortest = responses_ns
        wait, answer = response - longest, response  # the wait does not depend on the frame's own data
        slack += ceil(longest * tolerance)
        slack += longest - shortest if recorder.stamps == "unknown" else 0
    return MessageLimits(
        least_ns=floor(message.period_ns / (1 + tolerance)),
        most_ns=ceil(message.period_ns / (1 - tolerance)),
        wait_ns=wait,
        answer_ns=answer,
        slack_ns=slack,
    )


@dataclass(frozen=True, slots=True)
class Limits:
    """Everything that an audit is held against. ``loads``: window [ns] to the most that it can carry, or None."""

    messages: Mapping[str, MessageLimits]
    loads: Mapping[int, float | None]
    recorder: Recorder = Recorder()
