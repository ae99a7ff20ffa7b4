"""The names of a simulation: which there are and what they can be, and how each went in a run."""

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from busdesign.catalogue.model import Catalogue
from busdesign.errors import ScenarioError
from busdesign.findings import Finding, Severity
from busdesign.scenario.silence import silence_limit_ns, silence_track
from busdesign.scenario.tracks import Track
from busdesign.scenario.vocabulary import SILENT, Kind, Vocabulary, vocabulary_of, with_names
from busdesign.virtual.node import Choice, Flag, Node, Number, Shown

if TYPE_CHECKING:
    from busdesign.virtual.run import Run


def vocabulary_with(catalogue: Catalogue, nodes: Mapping[str, Node]) -> Vocabulary:
    """All names of a simulation: the catalogue's signals and what the nodes' models declare. Raises ScenarioError."""
    vocabulary = vocabulary_of(catalogue)
    for name, node in nodes.items():
        kinds = {shown: _kind(what) for shown, what in node.shows.items()}
        settable = [shown for shown, what in node.shows.items() if what.settable]
        try:
            vocabulary = with_names(vocabulary, name, kinds, settable)
        except ValueError as error:
            raise ScenarioError([Finding("name-taken", Severity.ERROR, None, str(error))]) from None
    return vocabulary


def _kind(shown: Shown) -> Kind:
    if isinstance(shown, Choice):
        return Kind.choice(shown.words)
    if isinstance(shown, Flag):
        return Kind.boolean()
    assert isinstance(shown, Number)
    return Kind.number(shown.unit)


def tracks_for(names: Sequence[str], run: "Run") -> dict[str, Track]:
    """The tracks of those of ``names`` that ``run`` has recorded."""
    found = {name: track_of(name, run) for name in names}
    return {name: track for name, track in found.items() if track is not None}


def track_of(name: str, run: "Run") -> Track | None:
    """``node.name`` as the node showed it, ``node.silent``, or ``message.signal`` as heard; None if not recorded."""
    from busdesign.traffic.decode import signal_track

    trace = run.traces.get(name)
    if trace is not None:
        return Track(trace.times_ns, trace.values)
    owner, _, what = name.partition(".")
    catalogue = run.catalogue
    if owner in catalogue.nodes:
        limit_ns = silence_limit_ns(catalogue, owner)
        if what != SILENT or limit_ns is None:
            return None
        return silence_track(_ends_of(owner, run), limit_ns, run.run_for_ns)
    heard = signal_track(run.traffic, catalogue.message(owner), what)
    return Track(heard.times_ns, heard.values)


def _ends_of(node: str, run: "Run") -> list[int]:
    import numpy as np

    own = [index for index, message in enumerate(run.catalogue.messages) if message.sender == node]
    ends: list[int] = run.traffic.end_ns[np.isin(run.message_index, own)].tolist()
    return ends
