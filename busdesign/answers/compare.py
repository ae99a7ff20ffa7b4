"""Two recordings beside each other, or a recording and a simulation: which messages, periods and values differ.

Their clocks are aligned by the frames themselves. An offset and a drift between them is told and is no difference, as
long as it is what two recorders' clocks may have.
"""

import os
from collections.abc import Callable, Iterator
from fractions import Fraction
from itertools import chain
from math import ceil
from typing import TYPE_CHECKING

from busdesign.answers.compare_answer import CompareAnswer
from busdesign.answers.compare_differences import (
    FLAGS_SHIFT,
    message_compared,
    of_clocks,
    of_errors,
    of_message,
    shown_key,
)
from busdesign.answers.compare_sides import WITHIN_NS, Recorded, clocks_of, recorded, simulated
from busdesign.answers.compare_values import SignalDifferences
from busdesign.answers.one_bus import of_capture
from busdesign.catalogue.model import Catalogue, Message
from busdesign.catalogue.reader import read_catalogue
from busdesign.errors import CaptureError

if TYPE_CHECKING:
    pass

Path = str | os.PathLike[str]
SUFFIXES = (".yaml", ".yml")


def compare(
    old: Path,
    new: Path,
    catalogue: Catalogue | Path | None = None,
    *,
    channel: str | None = None,
    new_channel: str | None = None,
    aligned_at_ns: int | None = None,
    within_ns: int | None = None,
    progress: Callable[[float], None] | None = None,
) -> CompareAnswer:
    """Compare the recording ``old`` with ``new``, a recording or the YAML file of a scenario, which is simulated.

    ``channel``: of both, ``new_channel`` of the second. ``aligned_at_ns``: the moment of the second recording at which
    the first one's time zero lies. ``within_ns``: how much earlier or later a frame may come. Raises CaptureError,
    CatalogueError or ScenarioError if one of them cannot be used.
    """
    _require_recordings(old, new)
    definition = catalogue if catalogue is None or isinstance(catalogue, Catalogue) else read_catalogue(catalogue)
    is_simulated = _is_yaml(new)
    if is_simulated:
        definition, second = simulated(new, definition)
    else:
        second = recorded(new, new_channel or channel, None)
    first = recorded(old, channel, progress)
    return _compared(first, second, definition, is_simulated, aligned_at_ns, within_ns)


def _require_recordings(old: Path, new: Path) -> None:
    wrong = [path for path in (os.fspath(old), os.fspath(new)) if _is_yaml(path) and _is_catalogue(path)]
    if wrong:
        what = "two catalogues" if len(wrong) == 2 else f"`{wrong[0]}`, a catalogue,"
        fix = "so far two recordings are compared, or a recording and a scenario; catalogues are yet to come"
        raise CaptureError([of_capture("capture-format", wrong[0], f"{what} cannot be compared here", fix)])
    if _is_yaml(old):
        text = f"`{os.fspath(old)}` is no recording; a scenario is compared as the second of the two"
        raise CaptureError([of_capture("capture-format", os.fspath(old), text, "give the recording first")])


def _is_yaml(path: Path) -> bool:
    return os.fspath(path).lower().endswith(SUFFIXES)


def _is_catalogue(path: str) -> bool:
    """By its keys, so that a broken one is told apart as well."""
    try:
        with open(path, encoding="utf-8", errors="replace") as stream:
            keys = {line.partition(":")[0] for line in stream if line[:1].isalpha()}
    except OSError:
        return False
    return "scenario" not in keys and bool(keys & {"catalogue", "messages"})


def _compared(
    old: Recorded,
    new: Recorded,
    definition: Catalogue | None,
    is_simulated: bool,
    aligned_at_ns: int | None,
    within_ns: int | None,
) -> CompareAnswer:
    from busdesign.bench.compare import Comparison

    clocks, notices = clocks_of(old, new, aligned_at_ns, is_simulated)
    by_key = dict(_keys(definition))
    values = SignalDifferences(by_key, without_protection=is_simulated)
    within = _within(by_key, definition, is_simulated, within_ns)
    comparison = Comparison(
        old.blocks,
        new.blocks,
        clocks,
        within_ns=within,
        usual_ns=lambda key: by_key[key].period_ns if key in by_key and not by_key[key].irregular else None,
        follows=is_simulated,
        fixed=aligned_at_ns is not None,
        look=values.look,
    )
    comparison.run()
    offset_ns = clocks.offset_ns - clocks.drift * clocks.anchor_ns
    drift_ppm = None if is_simulated else comparison.clocks.drift * 1e6
    begin, end = comparison.span_ns
    if end <= begin:
        text = f"`{old.path}` and `{new.path}` have no time in common with an offset of {offset_ns / 1e9:g} s"
        raise CaptureError([of_capture("capture-foreign", new.path, text, "give another `--aligned-at`")])
    kinds = comparison.kinds
    label = {key: by_key[key].name if key in by_key else shown_key(key) for key in kinds}
    differences = [
        *of_clocks(drift_ppm),
        *of_errors(comparison, is_simulated),
        *chain.from_iterable(of_message(label[key], kinds[key], within(key)) for key in sorted(kinds)),
    ]
    return CompareAnswer(
        old=old.path,
        new=new.path,
        catalogue=None if definition is None else definition.name,
        old_frames=comparison.old.frames,
        new_frames=comparison.new.frames,
        paired=sum(kind.paired for kind in kinds.values()),
        offset_s=round(offset_ns) / 1e9,
        drift_ppm=drift_ppm,
        compared_s=(begin / 1e9, end / 1e9),
        messages=tuple(message_compared(label[key], key, kinds[key]) for key in sorted(kinds)),
        values=values.found(),
        differences=tuple(sorted(differences, key=lambda one: (one.first_at_s or 0.0, one.subject, one.kind))),
        notices=(*new.notices, *notices),
        findings=(),
        same=not differences,
        holds=not differences,
        definition=definition,
    )


def _keys(definition: Catalogue | None) -> Iterator[tuple[int, Message]]:
    from busdesign.traffic.select import flags_of

    for message in () if definition is None else definition.messages:
        if message.identifier is not None:
            yield message.identifier | flags_of(message) << FLAGS_SHIFT, message


def _within(
    by_key: dict[int, Message], definition: Catalogue | None, is_simulated: bool, told_ns: int | None
) -> Callable[[int], int]:
    """Of each kind of frame; beside a simulation as much as jitter and waiting for the bus explain."""
    if told_ns is not None or not is_simulated or definition is None:
        return lambda _: WITHIN_NS if told_ns is None else told_ns
    from busdesign.answers.audit_limits import limits_and_bounds
    from busdesign.bench.limits import Recorder
    from busdesign.bench.pairing import GAIN

    limits, _ = limits_and_bounds(definition, Recorder(1000, "unknown"))

    def within(key: int) -> int:
        if key not in by_key:
            return WITHIN_NS
        message = by_key[key]
        limit = limits.messages[message.name]
        if limit.wait_ns is None:
            return WITHIN_NS
        # The phase that is followed may itself be wrong by a wait, and lags behind a clock that is wrong all the time.
        lag_ns = ceil(message.period_ns * definition.nodes[message.sender].tolerance / Fraction(GAIN))
        return 2 * limit.wait_ns + lag_ns + limit.slack_ns

    return within
