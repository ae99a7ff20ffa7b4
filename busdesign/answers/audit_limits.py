"""What the analysis allows a capture to show: distances of frames, and loads of windows, as plain limits."""

from fractions import Fraction
from math import ceil, floor
from typing import TYPE_CHECKING

from busdesign.analysis.errors import cases_with_errors, disturbance
from busdesign.analysis.frame_lengths import longest_frames, shortest_frame_bits
from busdesign.analysis.streams import OnTheBus, WorstCases, on_the_bus, worst_cases
from busdesign.analysis.windows import NoWindowLoad, WindowLoad, fullest, window_load
from busdesign.answers.figures import MS
from busdesign.bench.limits import Limits, MessageLimits, Recorder, limits_of
from busdesign.catalogue.model import Catalogue, Message
from busdesign.catalogue.model_errors import ErrorModel
from busdesign.wire.lengths import shortest_bits

if TYPE_CHECKING:
    from busdesign.traffic.frames import Traffic

WINDOWS_NS = (10 * MS, 100 * MS, 1000 * MS)
COARSEST_NS = MS  # the coarsest step of time stamps that is looked for


def limits_and_bounds(catalogue: Catalogue, recorder: Recorder) -> tuple[Limits, WorstCases]:
    """The limits of every message and window of ``catalogue``, and the worst cases that they rest on."""
    bits = longest_frames(catalogue)
    bounds, errors = _bounds(catalogue, bits)
    messages = {message.name: _limits(message, catalogue, bits, bounds, recorder) for message in catalogue.messages}
    bus = on_the_bus(catalogue, bits)
    loads = {window: _load(bus, window, errors) for window in WINDOWS_NS}
    slack = {window: _load_slack(window, catalogue, recorder, max(bits.values())) for window in WINDOWS_NS}
    most = {
        window: None if isinstance(found, NoWindowLoad) else float(found.load + slack[window])
        for window, found in loads.items()
    }
    return Limits(messages, most, recorder), bounds


def _bounds(catalogue: Catalogue, bits: dict[str, int]) -> tuple[WorstCases, ErrorModel | None]:
    """With the declared errors where they keep a distance, and then these too: so much later may a frame come."""
    bounds, errors = worst_cases(catalogue, bits), catalogue.bus.errors
    if errors is None or errors.rate_per_s is not None:
        return bounds, None
    cases = {name: told.case for name, told in cases_with_errors(catalogue, bits, errors).items() if told.case}
    return WorstCases(bounds.load, cases), errors


def _load(bus: OnTheBus, window_ns: int, errors: ErrorModel | None) -> WindowLoad | NoWindowLoad:
    if errors is None or len(bus.placed) < len(bus.streams):
        return window_load(bus, window_ns)
    return fullest(bus.placed, bus.bounds([disturbance(errors, bus)]), window_ns * bus.ticks)


def _limits(
    message: Message, catalogue: Catalogue, bits: dict[str, int], bounds: WorstCases, recorder: Recorder
) -> MessageLimits:
    case = bounds.cases.get(message.name)
    times = None
    if case is not None and case.response_ns is not None:
        bit_ns, tolerance = catalogue.bus.bit_ns, catalogue.nodes[message.sender].tolerance
        longest = floor(bits[message.name] * bit_ns / (1 - tolerance))
        times = (case.response_ns, longest, floor(shortest_frame_bits(message) * bit_ns))
    return limits_of(message, catalogue, times, recorder)


def _load_slack(window_ns: int, catalogue: Catalogue, recorder: Recorder, longest_bits: int) -> Fraction:
    """What the recorder can add to the load of a window: two edges, and the rounding of each frame in it.

    Where starts of frame may be taken for ends, a frame more may be in it at either edge. A fast sender's frame is
    shorter than the nominal bit that it is counted with, by the sender's tolerance.
    """
    most_frames = ceil(window_ns / (shortest_bits(0) * catalogue.bus.bit_ns)) + 2
    tolerance = max((node.tolerance for node in catalogue.nodes.values()), default=Fraction(0))
    edges_ns = 2 * recorder.resolution_ns + 2 * most_frames
    if recorder.stamps == "unknown":
        edges_ns += 2 * ceil(longest_bits * catalogue.bus.bit_ns)
    return Fraction(edges_ns, window_ns) + tolerance


def seen_resolution_ns(traffic: "Traffic") -> int:
    """The coarsest step, a power of ten of nanoseconds up to a millisecond, of which all times are multiples."""
    step = 1
    while step < COARSEST_NS and len(traffic) and not (traffic.end_ns % (10 * step)).any():
        step *= 10
    return step
