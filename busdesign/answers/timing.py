"""Bit timing from plain figures: the settings for a clock, a rate and a length, best first, each with its margins.

Where no setting carries the delay, those that carry most are given, and the promise is broken.
"""

from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction
from math import floor

from busdesign.answers.timing_asked import FASTEST_BIT_S, Asked
from busdesign.answers.timing_given import meant, said_of
from busdesign.answers.timing_shape import BitTimingAnswer, RejectedAnswer, SettingAnswer, setting_answer, trunk_answer
from busdesign.answers.wires_check import PropagationAnswer, propagation_answer, recommended_answers
from busdesign.catalogue.wires import with_most_room
from busdesign.findings import Finding, Refused, Severity
from busdesign.units import format_bit_rate, percent
from busdesign.wire.bit_rates import nearest_common_rate_bit_s
from busdesign.wire.bit_timing import GENERIC_LIMITS, SMALL, Limits, recommended_sample_point
from busdesign.wire.bit_timing_reasons import why_best
from busdesign.wire.bit_timing_solver import OutOfReach, settings_for
from busdesign.wire.delays import TrunkLimit, longest_trunk, propagation_budget
from busdesign.wire.oscillator import Assessment
from busdesign.wire.physical_layer import CABLE, CABLE_DELAY_NS_PER_M, LOOP_DELAY, LOOP_DELAY_NS_MAX
from busdesign.wire.problems import Exact, spelt

MOST = 5  # settings in an answer, if not asked for otherwise
_SAMPLE_POINTS = (Fraction(3, 4), Fraction(4, 5), Fraction(7, 8))  # as recommended, see `recommended_sample_point`
_LATEST = Fraction(999, 1000)  # later than any register can hold


def timing(
    clock_hz: Exact,
    bit_rate_bit_s: Exact | None = None,
    *,
    sample_point: Fraction | None = None,
    length_m: Exact | None = None,
    node_delay_ns: Exact | None = None,
    clock_tolerance: Exact = 0,
    controller: str | Limits = SMALL,
    most: int = MOST,
    registers: int | None = None,
) -> BitTimingAnswer:
    """The settings of ``controller`` (limits, or the name of generic ones), the ``most`` best.

    ``sample_point`` and ``clock_tolerance`` are fractions of 1. ``length_m`` is the wire between two nodes, each of
    which takes ``node_delay_ns`` from transmit input to receive output; where neither is given, no delay is asked for.
    ``registers`` are a setting that is given, as the classical two registers in one word: the answer says what they
    mean, and ``bit_rate_bit_s`` may be left out, for it is then the one that they make.
    Raises Refused, a ValueError, with the nearest possible value for what no setting makes; KeyError for an unknown
    controller.
    """
    limits = GENERIC_LIMITS[controller] if isinstance(controller, str) else controller
    given = None if registers is None else meant(registers, clock_hz, limits)
    rate = bit_rate_bit_s if bit_rate_bit_s is not None or given is None else given.bit_rate_bit_s
    if rate is None:
        raise Refused("neither a bit rate nor registers are given", "give one of them")
    point = sample_point if given is None else given.sample_point
    asked = Asked(
        Fraction(clock_hz),
        Fraction(rate),
        recommended_sample_point(rate) if point is None else point,
        length_m,
        node_delay_ns,
        clock_tolerance,
        limits,
        registers,
    )
    asked.refuse_impossible(most)
    _refuse_outside_the_bit(asked)
    ranked, found = _ranked(asked, most)
    best = ranked[0]
    trunk = longest_trunk(asked.harness, asked.bit_rate_bit_s, 2 * best.setting.longest_delay_ns)
    rejected = _rejected(asked, best)
    findings = _findings(asked, best, trunk, rejected)
    return BitTimingAnswer(
        settings=tuple(_of_plain(asked, each) for each in ranked[:most]),
        catalogue=None,
        bit_rate_bit_s=float(asked.bit_rate_bit_s),
        sample_point=float(asked.sample_point),
        found=found,
        why=_why(ranked, asked),
        rejected=tuple(rejected),
        clocks_apart=None,
        propagation=_propagation(asked, best, trunk),
        trunk=trunk_answer(trunk),
        recommended=recommended_answers(trunk.recommended),
        assumed=tuple(_assumed(asked, is_point_given=point is not None)),
        findings=findings,
        holds=not any(each.severity is Severity.BROKEN for each in findings),
    )


def _refuse_outside_the_bit(asked: Asked) -> None:
    wanted = asked.sample_point
    if not 0 < wanted < 1:
        near = _settings(asked, Fraction(0), _LATEST if wanted >= 1 else 1 - _LATEST)
        nearest = min((one.setting.sample_point for one in near), key=lambda point: abs(point - wanted))
        text = f"a sample point of {percent(wanted)} is outside the bit"
        raise OutOfReach(text, f"the nearest possible is {percent(nearest)}", nearest)


def _ranked(asked: Asked, most: int) -> tuple[list[Assessment], int]:
    """The best settings, two at least where there are two, each with all the room for propagation that it can have."""
    if asked.registers is not None:
        setting = meant(asked.registers, asked.clock_hz, asked.limits, asked.delay_ns)
        return [Assessment(setting, asked.bit_rate_bit_s, asked.delay_ns, asked.clock_tolerance)], 1
    is_carried = True
    try:
        found = _settings(asked, asked.delay_ns)
    except OutOfReach as beyond:
        if not asked.delay_ns or beyond.nearest is None:
            raise
        _settings(asked, Fraction(0))  # raises if it is not for the delay
        is_carried, found = False, _settings(asked, beyond.nearest)
    ranked = [replace(_roomy(asked, one), delay_ns=asked.delay_ns) for one in found[: max(most, 2)]]
    if not is_carried:  # nothing holds: what carries most is the nearest
        ranked.sort(key=lambda one: -one.delay_slack_ns)
    return ranked, len(found)


def _why(ranked: list[Assessment], asked: Asked) -> tuple[str, ...]:
    best = ranked[0]
    if asked.registers is not None:
        return said_of(asked.registers, best)
    if best.delay_slack_ns >= 0:
        return why_best(ranked, asked.sample_point)
    carried, delay = spelt(2 * best.setting.longest_delay_ns, "ns"), spelt(2 * asked.delay_ns, "ns")
    return (f"none carries the delay of {delay} there and back; this one carries most, {carried}",)


def _settings(asked: Asked, delay_ns: Fraction, sample_point: Fraction | None = None) -> tuple[Assessment, ...]:
    return settings_for(
        asked.clock_hz,
        asked.bit_rate_bit_s,
        asked.limits,
        sample_point=asked.sample_point if sample_point is None else sample_point,
        delay_ns=delay_ns,
        clock_tolerance=asked.clock_tolerance,
    )


def _roomy(asked: Asked, one: Assessment) -> Assessment:
    return replace(one, setting=with_most_room(one.setting, asked.limits))


def _of_plain(asked: Asked, one: Assessment) -> SettingAnswer:
    trunk = longest_trunk(asked.harness, asked.bit_rate_bit_s, 2 * one.setting.longest_delay_ns)
    return setting_answer(
        one,
        asked.limits,
        is_given=asked.registers is not None,
        has_delay=asked.has_delay,
        longest_trunk_m=trunk.longest_trunk_m,
    )


def _rejected(asked: Asked, best: Assessment) -> list[RejectedAnswer]:
    """What would leave more margin, without the delay or at another of the recommended sample points.

    Where the best does not carry the delay: what would carry it, at another of those sample points.
    """
    if asked.registers is not None:
        return []
    is_carried = best.delay_slack_ns >= 0
    found: dict[SettingAnswer, RejectedAnswer] = {}
    for sample_point in (asked.sample_point, *(point for point in _SAMPLE_POINTS if point != asked.sample_point)):
        try:
            other = _settings(asked, Fraction(0) if is_carried else asked.delay_ns, sample_point)[0]
        except OutOfReach:
            continue
        carrying = replace(_roomy(asked, other), delay_ns=asked.delay_ns)
        why = _why_not(asked, best, carrying)
        if why and (other.margin > best.margin or not is_carried):
            answer = _of_plain(asked, carrying)
            reason = "; ".join(why)
            found.setdefault(
                answer, RejectedAnswer(answer, reason if is_carried else f"it carries the delay, but {reason}")
            )
    return list(found.values())


def _why_not(asked: Asked, best: Assessment, other: Assessment) -> list[str]:
    made, why = other.setting.sample_point, []
    if abs(made - asked.sample_point) > abs(best.setting.sample_point - asked.sample_point):
        why.append(f"it samples at {percent(made)}, wanted {percent(asked.sample_point)}")
    if other.delay_slack_ns < 0:
        carried, delay = spelt(2 * other.setting.longest_delay_ns, "ns"), spelt(2 * asked.delay_ns, "ns")
        why.append(f"its prop_seg covers {carried} of the {delay} there and back")
    return why


def _propagation(asked: Asked, best: Assessment, trunk: TrunkLimit) -> PropagationAnswer | None:
    if not asked.has_delay:
        return None
    return propagation_answer(propagation_budget(asked.harness, trunk.limit_ns), trunk, None)


def _assumed(asked: Asked, *, is_point_given: bool) -> list[str]:
    rate = format_bit_rate(asked.bit_rate_bit_s)
    found = [] if is_point_given else [f"the sample point recommended for {rate}, {percent(asked.sample_point)}"]
    if asked.given_node_delay_ns is None:
        found.append(
            f"each node takes {spelt(LOOP_DELAY_NS_MAX, 'ns')} from transmit input to receive output, at most"
            f" ({LOOP_DELAY})"
        )
    found.append(f"a cable of {spelt(CABLE_DELAY_NS_PER_M, 'ns/m')} ({CABLE})")
    if not asked.has_delay:
        found.append("no delay that a setting would have to carry, as no length is given")
    if not asked.clock_tolerance:
        found.append("a clock without an error of its own")
    return found


def _findings(
    asked: Asked, best: Assessment, trunk: TrunkLimit, rejected: Sequence[RejectedAnswer]
) -> tuple[Finding, ...]:
    found = []
    if best.margin < 0:
        off = f" and its rate is off by {percent(abs(best.rate_error))}" if best.rate_error else ""
        which = "the best setting" if asked.registers is None else "the given setting"
        text = (
            f"the clock may be off by {percent(Fraction(best.clock_tolerance))}{off}, {which} bears "
            f"{percent(best.oscillator_tolerance)} ({best.weakest.name}: {best.weakest.text})"
        )
        most = best.oscillator_tolerance - abs(best.rate_error)
        better = f"a clock within {percent(most)} would do" if most > 0 else "a clock that makes the rate exactly"
        another = "an earlier sample point bears more" if asked.registers is None else "or other registers"
        fix = f"{better}; {another}"
        found.append(Finding("clock-tolerance", Severity.BROKEN, None, text, fix))
    if best.delay_slack_ns < 0:
        found.append(_too_long(asked, best, trunk, rejected))
    if best.rate_error and asked.registers is not None:
        made = format_bit_rate(best.setting.bit_rate_bit_s)
        text = f"the registers make {made}, {percent(best.rate_error)} off, which the tolerance has to pay"
        found.append(Finding("rate-inexact", Severity.ADVICE, None, text, f"{made} is what they make exactly"))
    elif best.rate_error:
        text = (
            f"{format_bit_rate(asked.bit_rate_bit_s)} cannot be made exactly, but "
            f"{format_bit_rate(best.setting.bit_rate_bit_s)}, {percent(best.rate_error)} off, which the tolerance "
            "has to pay"
        )
        clocks = [(asked.clock_hz, asked.limits)]
        rate = nearest_common_rate_bit_s(clocks, asked.bit_rate_bit_s, FASTEST_BIT_S)
        fix = "" if rate is None else f"the clock makes {format_bit_rate(rate)} exactly"
        found.append(Finding("rate-inexact", Severity.ADVICE, None, text, fix))
    return tuple(found)


def _too_long(asked: Asked, best: Assessment, trunk: TrunkLimit, carrying: Sequence[RejectedAnswer]) -> Finding:
    carried_ns = 2 * best.setting.longest_delay_ns
    text = (
        f"an edge takes {spelt(2 * asked.delay_ns, 'ns')} there and back, the longest propagation segment before a "
        f"sample point of {percent(best.setting.sample_point)} lasts {spelt(carried_ns, 'ns')}"
    )
    longest_m = trunk.longest_trunk_m
    if longest_m is None:
        fix = f"the nodes alone take {spelt(sum(trunk.loop_delays_ns), 'ns')}: faster ones, or a lower bit rate"
    else:
        fix = f"the longest possible wire is {floor(longest_m * 100) / 100:g} m; a lower bit rate allows more"
    if carrying:
        fix += f"; a sample point of {percent(Fraction(carrying[0].setting.sample_point))} carries this one"
    return Finding("propagation", Severity.BROKEN, None, text, fix)
