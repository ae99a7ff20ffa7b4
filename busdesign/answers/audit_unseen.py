"""What a capture cannot show, or this one does not: to be read before trusting that nothing was found."""

from collections.abc import Iterator
from typing import TYPE_CHECKING

from busdesign.analysis.streams import WorstCases
from busdesign.bench.limits import Recorder
from busdesign.catalogue.model import Catalogue
from busdesign.units import format_duration

if TYPE_CHECKING:
    from busdesign.traffic.facts import RecordingFacts


def not_seen(
    definition: Catalogue, bounds: WorstCases, facts: "RecordingFacts", recorder: Recorder, error_frames: int
) -> Iterator[str]:
    """One sentence for each such thing; ``error_frames``: how many were seen."""
    yield "deadlines and response times: they count from a release inside a board, and no capture shows that"
    if definition.functions:
        yield "what boards know and do: functions are measured from frame to frame, each node at its whole `processing`"
    step = format_duration(recorder.resolution_ns)
    if facts.resolution_ns is None:
        yield f"nobody said how fine the recorder's clock is: its times come in steps of {step}, and so much is allowed"
    else:
        yield f"differences below the recorder's resolution of {step}"
    if facts.timestamp_at == "unknown":
        yield (
            "nobody said whether times name the start or the end of a frame: they are taken as the end, and distances "
            "are judged so widely that either may be true"
        )
    if facts.own_frames != "echoed":
        known = "are missing" if facts.own_frames == "missing" else "may be missing"
        yield f"frames that the recording computer sent itself {known}"
    if facts.error_frames != "recorded" and not error_frames:
        known = "are missing" if facts.error_frames == "missing" else "may be missing"
        yield f"error frames {known}: that there are none proves nothing"
    unbounded = [name for name, case in bounds.cases.items() if case.response_ns is None]
    unbounded += [message.name for message in definition.messages if message.identifier is None]
    if unbounded:
        names = ", ".join(f"`{name}`" for name in unbounded)
        yield f"periods of {names}: without a bound nobody can say how late a frame may be"
