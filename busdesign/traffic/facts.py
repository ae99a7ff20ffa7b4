"""What the adapter did that made a recording: without it, a time in a file is not yet a time on the wire.

A small YAML file beside the recording, named after it (`run.log.yaml` beside `run.log`), says what is known:

    timestamp_at: end        # or start: of the frame, where its time stamp was taken
    resolution: 1 us         # of the time stamps
    own_frames: echoed       # or missing: what the recording computer sent itself
    error_frames: recorded   # or missing
"""

import os
from collections.abc import Callable
from dataclasses import dataclass, fields
from pathlib import Path
from typing import Any, Final, Literal

from busdesign.catalogue.source import Source, Unreadable, read_source
from busdesign.errors import CaptureError
from busdesign.findings import Finding, Refused, did_you_mean, error, shown
from busdesign.units import positive_duration_ns

UNKNOWN: Final = "unknown"


@dataclass(frozen=True, slots=True)
class RecordingFacts:
    """How a recording was made; what nobody said is unknown.

    - ``timestamp_at``: the instant of a frame that its time names.
    - ``resolution_ns``: the step of the recorder's clock [ns].
    - ``own_frames``: whether frames sent by the recording computer itself are in it.
    - ``error_frames``: whether error frames on the bus are in it.
    """

    timestamp_at: Literal["start", "end", "unknown"] = UNKNOWN
    resolution_ns: int | None = None
    own_frames: Literal["echoed", "missing", "unknown"] = UNKNOWN
    error_frames: Literal["recorded", "missing", "unknown"] = UNKNOWN


def beside(path: str | os.PathLike[str]) -> Path:
    """The file that tells the facts of the recording at ``path``, whether it is there or not."""
    return Path(f"{os.fspath(path)}.yaml")


def read_facts(path: str | os.PathLike[str]) -> RecordingFacts:
    """The facts that stand beside the recording at ``path``; unknown ones if nothing does.

    Raises CaptureError, with every finding, for a file of facts that is wrong.
    """
    file = beside(path)
    if not file.is_file():
        return RecordingFacts()
    try:
        source, findings = read_source(file)
    except Unreadable as refused:
        raise CaptureError([refused.finding]) from None
    values, more = _values(source)
    if findings or more:
        raise CaptureError([*findings, *more])
    return RecordingFacts(**values)


def _one_of(*allowed: str) -> Callable[[object], str]:
    def read(written: object) -> str:
        if not isinstance(written, str) or written not in (*allowed, UNKNOWN):
            text = f"expected {' or '.join(f'`{word}`' for word in (*allowed, UNKNOWN))}, found {shown(written)}"
            raise Refused(text, did_you_mean(written, allowed))
        return written

    return read


_KEYS: dict[str, tuple[str, Callable[[object], Any]]] = {
    "timestamp_at": ("timestamp_at", _one_of("start", "end")),
    "resolution": ("resolution_ns", positive_duration_ns),
    "own_frames": ("own_frames", _one_of("echoed", "missing")),
    "error_frames": ("error_frames", _one_of("recorded", "missing")),
}
assert {field for field, _ in _KEYS.values()} == {field.name for field in fields(RecordingFacts)}


def _values(source: Source) -> tuple[dict[str, Any], list[Finding]]:
    findings: list[Finding] = []
    values: dict[str, Any] = {}
    if not isinstance(source.data, dict):
        text = f"expected `key: value` lines, found {shown(source.data)}"
        return values, [error("capture-facts", source.of_value(()), text, "such as `timestamp_at: end`")]
    for key, written in source.data.items():
        if key not in _KEYS:
            text = f"{shown(key)} is no fact of a recording"
            findings.append(error("capture-facts", source.of_key((key,)), text, did_you_mean(key, _KEYS)))
            continue
        field, read = _KEYS[key]
        try:
            values[field] = read(written)
        except Refused as refused:
            where = source.of_value((key,))
            findings.append(error("capture-facts", where, f"`{key}`: {refused.text}", refused.fix))
    return values, findings
