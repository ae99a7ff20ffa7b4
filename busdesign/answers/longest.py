"""For each message of a checked catalogue, a frame that is as long as its bound says: to be looked at, or sent."""

from dataclasses import dataclass

from busdesign.analysis.frame_lengths import a_longest_frame, formula_bits, shortest_frame_bits
from busdesign.answers.check import CheckAnswer


@dataclass(frozen=True, slots=True)
class LongestFrame:
    """One message's longest frame: ``data`` in hex attains ``bits``; None where no frame does, or there is no id."""

    name: str
    id: int | None
    extended: bool
    bits_min: int
    bits: int
    bits_formula: int
    data: str | None


def longest_frames_of(checked: CheckAnswer) -> tuple[LongestFrame, ...]:
    """A longest frame of every message, by the method of ``checked`` (``published`` is attained by none)."""
    found = []
    for message, answer in zip(checked.definition.messages, checked.messages, strict=True):
        frame = a_longest_frame(message, checked.lengths)
        found.append(
            LongestFrame(
                name=message.name,
                id=message.identifier,
                extended=message.extended,
                bits_min=shortest_frame_bits(message),
                bits=answer.frame_bits_max,
                bits_formula=formula_bits(message),
                data=None if frame is None else frame.data.hex(),
            )
        )
    return tuple(found)
