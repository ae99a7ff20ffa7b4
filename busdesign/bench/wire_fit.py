"""Whether the time stamps can be those of a bus at this bit rate: frames that overlap, or times that go back.

Two frames end at least as far apart as the second one is long, intermission included, less one bit: a dominant bit in
the third bit of intermission already is the start of the next frame (ISO 11898-1, intermission). A sender's bit may be
shorter by its tolerance; of an unknown sender, by the greatest of any node.
"""

from collections.abc import Iterator
from fractions import Fraction

import numpy as np
from numpy.typing import NDArray

from busdesign.bench.blocks import ERROR_FRAME, SCALE_BITS, Block
from busdesign.bench.limits import Recorder
from busdesign.bench.sightings import Notes, Sighting, sighting
from busdesign.catalogue.model import Catalogue
from busdesign.findings import Severity, counted
from busdesign.units import format_bit_rate, format_duration

USUAL_BIT_S = (10_000, 20_000, 33_333, 50_000, 83_333, 100_000, 125_000, 250_000, 500_000, 800_000, 1_000_000)
ALIKE = 0.06  # how far a bit rate may be from a usual one to be taken for it


class WireFit:
    """Looks at the distance of each frame from the one before."""

    def __init__(self, catalogue: Catalogue, recorder: Recorder) -> None:
        self._catalogue, self._recorder = catalogue, recorder
        tolerances = [catalogue.nodes[message.sender].tolerance for message in catalogue.messages]
        most = max((node.tolerance for node in catalogue.nodes.values()), default=Fraction(0))
        bit_ns = catalogue.bus.bit_ns
        # Of messages in their order, then of nobody's frames: index -1 finds the last.
        shortest = [bit_ns / (1 + tolerance) for tolerance in (*tolerances, most)]
        self._shortest = np.array([int(bit * (1 << SCALE_BITS)) for bit in shortest], np.int64)
        self._last: tuple[int, int, int] | None = None  # end, bits, whose
        self._close, self._back = Notes(), Notes()
        self._parts_least: float | None = None  # of the time that a frame needs, the least that it had

    def take(self, block: Block) -> None:
        """Look at the frames of ``block``."""
        rows = np.flatnonzero(block.which != ERROR_FRAME) if (block.which == ERROR_FRAME).any() else None
        ends, bits, which = block.traffic.end_ns, block.bits, block.which.astype(np.int64)
        if rows is not None:
            ends, bits, which = ends[rows], bits[rows], which[rows]
        if not len(ends):
            return
        last = self._last
        gaps = np.diff(ends, prepend=ends[:1] if last is None else last[0])
        need = self._need(bits, which, last)
        self._last = int(ends[-1]), int(bits[-1]), int(which[-1])
        if last is None:  # before the first frame there is nothing
            gaps, need = gaps[1:], need[1:]
        skipped = int(last is None)
        bad = np.flatnonzero(gaps < need)
        if not len(bad):
            return
        is_back = gaps[bad] < 0
        in_block = bad + skipped if rows is None else rows[bad + skipped]
        self._back.note("", block, in_block[is_back], -gaps[bad][is_back])
        close = bad[~is_back]
        self._close.note("", block, in_block[~is_back], gaps[close])
        if len(close):
            part = float((gaps[close] / need[close]).min())
            self._parts_least = part if self._parts_least is None else min(self._parts_least, part)

    def _need(
        self, bits: NDArray[np.int64], which: NDArray[np.int64], last: tuple[int, int, int] | None
    ) -> NDArray[np.int64]:
        """The least distance of each frame's stamp from the one before."""
        own = (bits - 1) * self._shortest[which] >> SCALE_BITS
        if self._recorder.stamps != "end":
            if last is not None:
                first = np.array([(last[1] - 1) * int(self._shortest[last[2]]) >> SCALE_BITS])
            else:
                first = own[:1]
            before = np.concatenate([first, own[:-1]])
            own = before if self._recorder.stamps == "start" else np.minimum(own, before)
        need: NDArray[np.int64] = own - self._recorder.resolution_ns - 1
        return need

    def sightings(self) -> Iterator[Sighting]:
        """What was seen."""
        for _, seen in self._back:
            text = f"the time goes back by up to {format_duration(seen.most)}, {counted(seen.count, 'time')}"
            fix = "frames are in the wrong order, or the file was put together from several recordings"
            yield sighting("time-backwards", Severity.BROKEN, seen, "", text, fix)
        for _, seen in self._close:
            rate = self._catalogue.bus.bit_rate_bit_s
            text = (
                f"{counted(seen.count, 'frame')} came sooner after the one before than a frame takes at "
                f"{format_bit_rate(rate)}: {format_duration(seen.least)} at the least"
            )
            yield sighting("impossible-gap", Severity.BROKEN, seen, "", text, self._fitting(seen.count))

    def _fitting(self, count: int) -> str:
        """The bit rate at which the closest frames could have been sent."""
        part = self._parts_least
        if not part or count < 2:
            return "a frame was recorded twice, or its time stamp is wrong"
        rate = float(self._catalogue.bus.bit_rate_bit_s) / part
        usual = next((known for known in USUAL_BIT_S if abs(rate / known - 1) < ALIKE), None)
        if usual is not None and usual != self._catalogue.bus.bit_rate_bit_s:
            return f"the closest frames would fit {format_bit_rate(usual)}: see the bit rate, or the unit of the times"
        return "frames were recorded twice, or time stamps are coarser or later than the recorder says"
