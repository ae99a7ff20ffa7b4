"""A setting that is given as the classical two registers: what they mean, and what is to be said of them."""

from busdesign.catalogue.wires import with_most_room
from busdesign.findings import Refused
from busdesign.units import percent
from busdesign.wire.bit_timing import SMALL, SMALL_HALVED, Limits, Setting, quanta_for
from busdesign.wire.bit_timing_registers import TwoRegisters
from busdesign.wire.oscillator import Assessment
from busdesign.wire.problems import Exact


def meant(word: int, clock_hz: Exact, limits: Limits, delay_ns: Exact = 0) -> Setting:
    """The setting that ``word`` (BTR1 in the upper byte) makes of ``clock_hz``.

    The two segments before the sample point share a register. prop_seg is as short as ``delay_ns`` one way allows, or
    else as long as costs no tolerance. Raises Refused, a ValueError, where the registers or the ``limits`` are none.
    """
    if limits not in (SMALL, SMALL_HALVED):
        raise Refused(f"a controller `{limits.name}` does not have the classical two registers", "those of `small` do")
    pair, pre_divider = TwoRegisters.of_word(word), limits.prescaler_step
    longest = pair.btr1 & 0xF  # one quantum less than the register holds: phase_seg1 has at least one
    shortest = quanta_for(delay_ns, clock_hz, pair.setting(clock_hz, pre_divider=pre_divider).prescaler)
    setting = pair.setting(clock_hz, pre_divider=pre_divider, prop_seg=min(shortest, longest))
    return with_most_room(setting, limits)


def said_of(word: int, one: Assessment) -> tuple[str, ...]:
    """The registers in words."""
    setting, pair = one.setting, TwoRegisters.of_word(word)
    samples = "three samples of each bit" if pair.three_samples else "one sample of each bit"
    rate_error = f", {percent(one.rate_error)} off the wanted rate" if one.rate_error else ""
    made = f"{float(setting.quantum_ns):.6g} ns in a quantum, {setting.quanta} quanta in a bit"
    segments = setting.segments
    divided = (
        f"{segments.prop_seg + segments.phase_seg1}, divided here into {segments.prop_seg} and {segments.phase_seg1}"
    )
    return (
        f"BTR0 0x{pair.btr0:02X} and BTR1 0x{pair.btr1:02X}: {made}{rate_error}; {samples}",
        f"they hold prop_seg and phase_seg1 as one sum, {divided}: two equal phases unless a delay or the sum forbids",
        f"its weakest condition is `{one.weakest.name}`: {one.weakest.text}",
    )
