"""Names over time, ready to be drawn: numbers, and spans of words."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from busdesign.answers.names import track_of
from busdesign.answers.simulate import SimulateAnswer
from busdesign.scenario.silence import silence_limit_ns
from busdesign.scenario.tracks import Track, plain
from busdesign.scenario.vocabulary import SILENT, Kind

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray


@dataclass(frozen=True, eq=False, slots=True)
class NameOverTime:
    """``name`` from ``times_ns[i]`` (int64, strictly ascending) until the next, or the end, is ``values[i]``.

    A name with ``words`` holds float64 indices into them; true and false are words too, with ``is_flag`` set. Else
    values are numbers in ``unit``. NaN is undefined. No two values in a row are alike.
    """

    name: str
    node: str  # that shows it, or that sends the message
    label: str  # the name without its node
    unit: str
    words: tuple[str, ...]
    is_flag: bool
    times_ns: "NDArray[np.int64]"
    values: "NDArray[np.float64]"

    @property
    def is_constant(self) -> bool:
        """Whether it was the same from the start to the end."""
        return len(self.times_ns) == 1 and int(self.times_ns[0]) == 0

    def shown(self, index: int) -> str:
        """Value number ``index`` as text, without its unit."""
        value = float(self.values[index])
        if value != value:
            return "unknown"
        return self.words[int(value)] if self.words else f"{value:.6g}"

    def spans(self, end_ns: int) -> Iterator[tuple[str, int, int]]:
        """(value, from, until) [ns] for each value it took, up to ``end_ns``."""
        ends = [*self.times_ns[1:].tolist(), end_ns]
        for index, (start, end) in enumerate(zip(self.times_ns.tolist(), ends, strict=True)):
            yield self.shown(index), start, end

    def extremes(self) -> tuple[int, int] | None:
        """Where the least and the greatest number stand, each the first time; None if there is no number."""
        known = [index for index, value in enumerate(self.values.tolist()) if value == value]
        if not known or self.words:
            return None
        values = self.values.tolist()
        return min(known, key=values.__getitem__), max(known, key=values.__getitem__)


def names_over_time(answer: SimulateAnswer) -> Iterator[NameOverTime]:
    """What the nodes show, who is silent, and the signals that expectations speak of."""
    run, story = answer.run, answer.story
    catalogue = run.catalogue
    kinds = answer.vocabulary.kinds
    silences = [f"{node}.{SILENT}" for node in catalogue.nodes if silence_limit_ns(catalogue, node) is not None]
    expected = [name for expectation in story.expectations for name in expectation.names]
    for name in dict.fromkeys([*run.traces, *silences, *expected]):
        track = track_of(name, run)
        if track is not None and len(track.times_ns):
            owner, _, what = name.partition(".")
            node, label = (owner, what) if owner in catalogue.nodes else (catalogue.message(owner).sender, name)
            yield _name(name, node, label, kinds.get(name) or _kind_of(track), track)


def _kind_of(track: Track) -> Kind:
    """Of a name that no model of the scenario declares: nodes handed to a run as objects come without their units."""
    values = plain(track.values)
    if all(value is None or isinstance(value, bool) for value in values):
        return Kind.boolean()
    return Kind.choice([value for value in values if isinstance(value, str)])


def _name(name: str, node: str, label: str, kind: Kind, track: Track) -> NameOverTime:
    import numpy as np

    times, values = _changes(track)
    words = kind.words
    is_flag = kind.shape == "boolean"
    if is_flag:
        words = ("false", "true")
        values = [value if value is None else ("true" if value else "false") for value in values]
    if words or any(isinstance(value, str) for value in values):
        said = [value if value is None else _word(value) for value in values]
        words = tuple(dict.fromkeys([*words, *(word for word in said if word is not None)]))
        place = {word: index for index, word in enumerate(words)}
        values = [None if word is None else place[word] for word in said]
    numbers = np.array([np.nan if value is None else value for value in values], dtype=np.float64)
    return NameOverTime(name, node, label, kind.unit, words, is_flag, np.array(times, dtype=np.int64), numbers)


def _word(value: object) -> str:
    return value if isinstance(value, str) else f"{value:.9g}" if isinstance(value, float) else str(value)


def _changes(track: Track) -> tuple[list[int], list[Any]]:
    """Only what lasts: the last value of each nanosecond, and only where it differs from the one before."""
    times: list[int] = []
    values: list[Any] = []
    for time_ns, value in zip(plain(track.times_ns), plain(track.values), strict=True):
        if times and times[-1] == time_ns:
            times.pop()
            values.pop()
        if not values or values[-1] != value:
            times.append(time_ns)
            values.append(value)
    return times, values
