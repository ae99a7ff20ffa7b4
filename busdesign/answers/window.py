"""The fullest window of a checked catalogue: how much of it the bus can be busy, and with which messages."""

from dataclasses import dataclass

from busdesign.analysis.frame_lengths import longest_frames
from busdesign.analysis.streams import on_the_bus
from busdesign.analysis.windows import NoWindowLoad, window_load
from busdesign.answers.check import CheckAnswer
from busdesign.answers.figures import MS
from busdesign.units import positive_duration_ns


@dataclass(frozen=True, slots=True)
class ShareAnswer:
    """The most that one message can have of any window: ``frames`` at least partly in it, and ``load`` of it."""

    name: str
    frames: int
    load: float


@dataclass(frozen=True, slots=True)
class WindowAnswer:
    """The most that any window of ``window_ms`` can carry; loads are fractions of 1, None for ``why_not``.

    The greatest share comes first. Each share has its own worst window, so that they may exceed ``load`` together.
    """

    window_ms: float
    load: float | None
    shares: tuple[ShareAnswer, ...]
    why_not: str


def fullest_window(checked: CheckAnswer, window: str) -> WindowAnswer:
    """The fullest window of the length ``window`` says, such as ``100 ms``. Raises QuantityError for another text."""
    window_ns = positive_duration_ns(window)
    definition = checked.definition
    found = window_load(on_the_bus(definition, longest_frames(definition, checked.lengths)), window_ns)
    if isinstance(found, NoWindowLoad):
        return WindowAnswer(window_ns / MS, None, (), found.reason)
    shares = tuple(ShareAnswer(share.name, share.frames, float(share.load)) for share in found.shares)
    return WindowAnswer(window_ns / MS, float(found.load), shares, "")
