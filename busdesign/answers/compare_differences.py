"""In which ways two recordings differ, in words, from what was counted while their frames were paired."""

from collections.abc import Iterator
from typing import TYPE_CHECKING

from busdesign.answers.compare_answer import Difference, MessageCompared
from busdesign.answers.figures import in_ms
from busdesign.findings import counted
from busdesign.units import format_duration

if TYPE_CHECKING:
    from busdesign.bench.compare import Compared, Comparison, First

DRIFT_PPM = 200.0  # of two crystals of 100 ppm each (common practice, no source)
OTHER_PERIOD = 0.01  # our choice: usual distances further apart than this part are two periods
FLAGS_SHIFT = 29


def shown_key(key: int) -> str:
    """A kind of frame that no catalogue names: ``0x110``."""
    from busdesign.wire.flags import EXTENDED, REMOTE

    identifier, flags = key & ((1 << FLAGS_SHIFT) - 1), key >> FLAGS_SHIFT
    return f"0x{identifier:0{8 if flags & EXTENDED else 3}X}" + (" remote" if flags & REMOTE else "")


def message_compared(name: str, key: int, kind: "Compared") -> MessageCompared:
    """One kind of frame as it was in both."""
    from busdesign.wire.flags import EXTENDED

    return MessageCompared(
        name=name,
        id=key & ((1 << FLAGS_SHIFT) - 1),
        extended=bool(key >> FLAGS_SHIFT & EXTENDED),
        old_count=kind.paired + kind.missing.count,
        new_count=kind.paired + kind.extra.count,
        paired=kind.paired,
        old_usual_ms=in_ms(kind.old_usual_ns),
        new_usual_ms=in_ms(kind.new_usual_ns),
        changed=kind.changed.count,
        most_apart_ms=in_ms(kind.most_apart_ns) if kind.paired else None,
    )


def of_clocks(drift_ppm: float | None) -> Iterator[Difference]:
    """Whether the clocks drift apart more than two crystals do; None where each message has its own."""
    if drift_ppm is not None and abs(drift_ppm) > DRIFT_PPM:
        text = f"the second clock gains {drift_ppm:.0f} ppm, more than the {DRIFT_PPM:.0f} ppm of two crystals"
        yield Difference("clocks", "", 1, None, None, None, text)


def of_errors(comparison: "Comparison", is_simulated: bool) -> Iterator[Difference]:
    """Whether one has more error frames than the other."""
    old, new = comparison.old.error_frames, comparison.new.error_frames
    if old != new and not is_simulated:
        text = f"{counted(old, 'error frame')} in the first, {new} in the second"
        yield Difference("error-frames", "", abs(old - new), None, None, None, text)


def of_message(name: str, kind: "Compared", within_ns: int) -> Iterator[Difference]:
    """Everything in which one kind of frame differs."""

    def told(what: str, seen: "First", text: str) -> Difference:
        at_s = None if seen.at_ns is None else seen.at_ns / 1e9
        return Difference(what, name, seen.count, at_s, seen.old_frame, seen.new_frame, text)

    if not kind.paired and kind.missing.count and not kind.extra.count:
        text = f"`{name}` is in the first only: {counted(kind.missing.count, 'frame')}"
        yield told("only-in-old", kind.missing, text)
        return
    if not kind.paired and kind.extra.count and not kind.missing.count:
        yield told("only-in-new", kind.extra, f"`{name}` is in the second only: {counted(kind.extra.count, 'frame')}")
        return
    old, new = kind.old_usual_ns, kind.new_usual_ns
    if old and new and abs(new - old) > OTHER_PERIOD * old and kind.missing.count + kind.extra.count > 1:
        text = f"`{name}` comes every {format_duration(old)} in the first, every {format_duration(new)} in the second"
        yield Difference("period", name, 1, None, None, None, text)
    if kind.missing.count:
        yield told("missing", kind.missing, f"{counted(kind.missing.count, 'frame')} of `{name}` only in the first")
    if kind.extra.count:
        yield told("extra", kind.extra, f"{counted(kind.extra.count, 'frame')} of `{name}` only in the second")
    if kind.changed.count:
        one, other = (data.hex(" ").upper() or "nothing" for data in kind.changed_data)
        text = f"{counted(kind.changed.count, 'frame')} of `{name}` say something else: first {one}, then {other}"
        yield told("content", kind.changed, text)
    if kind.moved.count:
        text = (
            f"{counted(kind.moved.count, 'frame')} of `{name}` came earlier or later by more than "
            f"{format_duration(within_ns)}, {format_duration(kind.most_apart_ns)} at the most"
        )
        yield told("time", kind.moved, text)
