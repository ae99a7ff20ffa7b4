"""A capture against its catalogue, block by block: one pass, in which every check sees each block once.

What grows with the length of a capture is only what ``followed`` must keep. Importing this module loads numba.
"""

from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence

from busdesign.bench.blocks import Block, Blocks
from busdesign.bench.contents import Contents
from busdesign.bench.error_frames import ErrorFrames
from busdesign.bench.excuses import Span
from busdesign.bench.followed import Followed
from busdesign.bench.limits import Limits
from busdesign.bench.loads import Loads
from busdesign.bench.periods import Periods
from busdesign.bench.protection import Checks, Counters
from busdesign.bench.requests import Requests
from busdesign.bench.sightings import Sighting
from busdesign.bench.strangers import Strangers
from busdesign.bench.wire_fit import WireFit
from busdesign.catalogue.model import Catalogue
from busdesign.traffic.frames import Traffic


class Audit:
    """Takes the blocks of one capture, of one channel, and then tells what it has seen."""

    def __init__(
        self,
        catalogue: Catalogue,
        limits: Limits,
        *,
        names: Collection[str] = (),
        timed: Collection[str] = (),
        silences: Mapping[str, Sequence[Span]] | None = None,
        origin_ns: int = 0,
    ) -> None:
        """``names`` to be kept as tracks, messages ``timed`` frame by frame; ``silences``: of each node the spans, on
        the recorder's clock, in which somebody kept it from sending, so that they are no finding. ``origin_ns``: from
        where on pictures count their time.
        """
        self.catalogue = catalogue
        self.origin_ns = origin_ns
        self.frames = 0
        self.known = 0
        self.first_ns: int | None = None
        self.last_ns = 0
        self.strangers = Strangers(catalogue)
        self.periods = Periods(catalogue, limits, silences or {}, origin_ns)
        self.contents = Contents(catalogue)
        self.counters, self.checks = Counters(catalogue), Checks(catalogue)
        self.requests = Requests(catalogue, limits)
        self.wire = WireFit(catalogue, limits.recorder)
        self.errors = ErrorFrames(catalogue, limits.recorder)
        self.loads = Loads(limits.loads, origin_ns)
        self.followed = Followed(catalogue, names, timed)
        self._blocks = Blocks(catalogue, limits.recorder)
        self._checks = (
            self.strangers,
            self.periods,
            self.contents,
            self.counters,
            self.checks,
            self.requests,
            self.wire,
            self.errors,
        )

    def take(self, traffics: Iterable[Traffic]) -> None:
        """Look at all frames of ``traffics``, which follow each other."""
        for block in self._blocks.of(iter(traffics)):
            self._take(block)

    def _take(self, block: Block) -> None:
        self.frames += len(block)
        self.known += int((block.which >= 0).sum())
        if self.first_ns is None:
            self.first_ns = int(block.start_ns[0])
        self.last_ns = max(self.last_ns, int(block.traffic.end_ns.max()))
        for check in self._checks:
            check.take(block)
        self.loads.take(block)
        self.followed.take(block)

    def sightings(self) -> Iterator[Sighting]:
        """Everything that was seen and is not as it should be."""
        for check in self._checks:
            yield from check.sightings()
