"""Why the best of several settings is best, in the words of the order that ranked them."""

from collections.abc import Sequence
from fractions import Fraction

from busdesign.findings import Refused
from busdesign.units import percent
from busdesign.wire.bit_timing_solver import AROUND
from busdesign.wire.oscillator import Assessment


def why_best(ranked: Sequence[Assessment], sample_point: Fraction) -> tuple[str, ...]:
    """Reasons for ``ranked[0]``, in the order of ranking, and where it parts from ``ranked[1]``.

    ``ranked`` is an answer of `bit_timing_solver.settings_for`, ``sample_point`` the one that was wanted (a fraction
    of 1), and how far around it to look was left to that function. Raises ValueError if there is no setting.
    """
    if not ranked:
        raise Refused("there is no setting to give reasons for", "give at least one")
    best, setting = ranked[0], ranked[0].setting
    weakest = best.weakest
    reasons = [
        _margin(best),
        f"its weakest condition is `{weakest.name}`: {weakest.text}",
        _sampled(best, sample_point),
        _rate(best),
    ]
    if best.delay_ns:
        reasons.append(
            f"prop_seg, {float(setting.prop_seg * setting.quantum_ns):.6g} ns, covers the delay there and back, with "
            f"{float(2 * best.delay_slack_ns):.6g} ns over"
        )
    reasons.append(_against(best, ranked[1], sample_point) if len(ranked) > 1 else "there is no other")
    return tuple(reasons)


def _margin(best: Assessment) -> str:
    paid = [f"{percent(best.oscillator_tolerance)} of oscillator tolerance"]
    if best.rate_error:
        paid.append(f"less {percent(abs(best.rate_error))} of rate error")
    if best.clock_tolerance:
        paid.append(f"less {percent(Fraction(best.clock_tolerance))} of the clock")
    if best.margin < 0:
        return f"none has enough margin; this one lacks least, {percent(-best.margin)}: " + " ".join(paid)
    return f"it leaves the most margin, {percent(best.margin)}: " + " ".join(paid)


def _sampled(best: Assessment, wanted: Fraction) -> str:
    made = best.setting.sample_point
    said = f"its sample point is {percent(made)}"
    if made == wanted:
        return f"{said}, as wanted"
    if abs(made - wanted) <= AROUND:
        return f"{said}, wanted {percent(wanted)}"
    if best.rate_error:
        return f"{said}, the nearest to the wanted {percent(wanted)} where the tolerance exceeds the rate's error"
    return f"{said}, the nearest to the wanted {percent(wanted)} that can be made"


def _rate(best: Assessment) -> str:
    if not best.rate_error:
        return "its rate is exact"
    return f"its rate is off by {percent(best.rate_error)}, which the margin has paid"


def _against(best: Assessment, other: Assessment, wanted: Fraction) -> str:
    """The first point of the order in which the two differ."""
    setting = other.setting
    rival = f"the next (prescaler {setting.prescaler}, {setting.quanta} quanta, {percent(setting.sample_point)})"
    if other.margin != best.margin:
        return f"{rival} leaves {percent(other.margin)}"
    if other.conditions[-1].tolerance - abs(other.rate_error) != best.conditions[-1].tolerance - abs(best.rate_error):
        return f"{rival} leaves as much, but less in its other condition"
    if abs(setting.sample_point - wanted) != abs(best.setting.sample_point - wanted):
        return f"{rival} leaves as much, but its sample point is further off"
    if abs(other.rate_error) != abs(best.rate_error):
        return f"{rival} leaves as much, but its rate is further off"
    if setting.quanta != best.setting.quanta:
        return f"{rival} is equal in all that, but has fewer quanta, so coarser ones"
    return f"{rival} is equal in all that, but its prescaler is larger"
