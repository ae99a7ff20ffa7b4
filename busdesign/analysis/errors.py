"""The worst cases of a catalogue on a bus with errors, under the model that its ``bus.errors`` declares.

With a least distance between errors there is a bound: see ``response``, with the error function of K. Tindell, A.
Burns, "Guaranteed message latencies for distributed safety-critical hard real-time control networks", YCS 229, York
1994, and Tindell, Burns, Wellings 1995; a disturbance that lasts, and several sources beside each other, as in S.
Punnekkat, H. Hansson, C. Norström, "Response time analysis under errors for CAN", RTAS 2000 (all from memory). With
errors at random there is no bound, but a probability: see ``random_errors``.

Not modelled: nodes gone error passive, which pause before they send again and so let less urgent frames go first, or
bus off; errors that only some nodes see and that leave a frame accepted by some and repeated for all are repeated here.
"""

from collections.abc import Mapping
from dataclasses import dataclass

from busdesign.analysis.controllers import groups_of
from busdesign.analysis.random_errors import Late, late_probabilities
from busdesign.analysis.response import Disturbance
from busdesign.analysis.streams import OnTheBus, WorstCase, cases_of, on_the_bus
from busdesign.catalogue.model import Catalogue
from busdesign.catalogue.model_errors import ErrorModel
from busdesign.units import NS_PER_S

# From an error flag's first bit until the next frame may start: flags one upon the other 6 to 12 bits, delimiter 8,
# intermission 3, and 8 more before an error-passive node sends again. Bosch CAN 2.0 part B, "at most 31 bit times".
RECOVERY_BITS = 31
NO_BOUND_AT_RANDOM = "errors that come at random may come as close together as they like"


@dataclass(frozen=True, slots=True)
class ErrorCase:
    """One message under the declared errors: its bound, or else a bound on the probability that a frame is late."""

    case: WorstCase | None  # None where errors come at random
    late: Late | None  # None where they do not


def cases_with_errors(catalogue: Catalogue, frame_bits: Mapping[str, int], model: ErrorModel) -> dict[str, ErrorCase]:
    """By its name the case of every message that has an identifier, if no frame is longer than ``frame_bits`` says."""
    bus = on_the_bus(catalogue, frame_bits)
    if model.rate_per_s is None:
        sources = [disturbance(model, bus)]
        bounds = bus.bounds(sources)
        cases = cases_of(catalogue, frame_bits, bus, bounds)
        return {name: ErrorCase(case, None) for name, case in cases.items()}
    odd = [group.node for group in groups_of(catalogue, bus.placed)]
    if odd:
        reason = f"`{odd[0]}` does not always offer its most urgent frame, and no probability is worked out for that"
        return {stream.name: ErrorCase(None, Late(stream.name, None, reason)) for stream in bus.placed}
    late = late_probabilities(
        bus.placed,
        bit=bus.bit,
        rate=model.rate_per_s / (NS_PER_S * bus.ticks),
        recovery=RECOVERY_BITS * bus.bit,
        blocking_at_least=bus.unplaced,
    )
    return {each.name: ErrorCase(None, each) for each in late}


def disturbance(model: ErrorModel, bus: OnTheBus) -> Disturbance:
    """A declared least distance in the ticks of ``bus``."""
    assert model.at_least_apart_ns is not None
    return Disturbance(
        apart=model.at_least_apart_ns * bus.ticks,
        recovery=RECOVERY_BITS * bus.bit,
        burst=model.burst,
        lasting=model.lasting_ns * bus.ticks,
    )
