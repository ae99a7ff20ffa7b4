"""Values: what a signal's bits, factor, range and codes can say together."""

import math
from collections import Counter
from collections.abc import Iterator, Mapping
from fractions import Fraction

from busdesign.catalogue.draft import SignalWritten
from busdesign.catalogue.edits import name_meant, other_word, uses_of
from busdesign.catalogue.hints import Hints
from busdesign.catalogue.model import MAX_SIGNAL_BITS
from busdesign.catalogue.parts import Draft, MessagePart
from busdesign.catalogue.values import Scale, bits_for, exact, told
from busdesign.findings import Finding, Place, counted, did_you_mean, error


def _signals(draft: Draft) -> Iterator[tuple[MessagePart, str, SignalWritten]]:
    for message in draft.messages:
        for name, signal in message.written.signals.items():
            yield message, name, signal


def _scale(signal: SignalWritten) -> Scale:
    least, most = signal.range or (None, None)
    return Scale(signal.bits, signal.signed, signal.factor, signal.offset, least, most)


def unknown_codes(draft: Draft) -> Iterator[Finding]:
    """``codes: name`` where no such enumeration stands under ``codes``."""
    named = list(_codes_named(draft))
    known = frozenset(draft.code_names)
    unknown = [(codes, where) for codes, where in named if codes not in known]
    uses = uses_of(named) if unknown else Counter()
    hints = Hints(draft.code_names, "codes")
    for codes, where in unknown:
        fix = (hints.of(codes) if known else "") or "write them under `codes` at the top of the file"
        edit = other_word(where, codes, name_meant(codes, draft.code_names, fix, uses))
        yield error("unknown-codes", where, f"there are no codes called `{codes}`", fix, edit)


def _codes_named(draft: Draft) -> Iterator[tuple[str, Place]]:
    for message, name, signal in _signals(draft):
        if isinstance(signal.codes, str):
            yield signal.codes, message.at("signals", name, "codes")


def code_outside_bits(draft: Draft) -> Iterator[Finding]:
    """A code that the bits cannot hold."""
    for message, name, signal in _signals(draft):
        codes = draft.codes.get(signal.codes, {}) if isinstance(signal.codes, str) else signal.codes or {}
        low, high = _scale(signal).raw_reach
        beyond = [raw for raw in codes if not low <= raw <= high]
        if not beyond:
            continue
        worst = max(beyond, key=abs)
        is_named = isinstance(signal.codes, str)
        where = message.at("signals", name, "codes") if is_named else message.at_key("signals", name, "codes", worst)
        room = f"in whose {counted(signal.bits, 'bit')} {low} to {high} fit"
        text = f"code {worst} (`{codes[worst]}`) is outside `{name}`, {room}"
        signed = signal.signed or min(beyond) < 0
        bits = max(signal.bits, bits_for(min(codes), max(codes), signed))
        mended = ["signed: true"] * (signed and not signal.signed) + [f"bits: {bits}"] * (bits > signal.bits)
        fix = (
            f"`{', '.join(mended)}` would hold it"
            if bits <= MAX_SIGNAL_BITS
            else f"a signal has {MAX_SIGNAL_BITS} bits at most"
        )
        yield error("code-outside-bits", where, text, fix)


def duplicate_code(draft: Draft) -> Iterator[Finding]:
    """One word for two numbers: an expectation or an encoder could not know which is meant."""
    for name, codes in draft.codes.items():
        yield from _twice(codes, {raw: draft.source.of_value(("codes", name, raw)) for raw in codes})
    for message, name, signal in _signals(draft):
        if isinstance(signal.codes, dict):
            places = {raw: message.at("signals", name, "codes", raw) for raw in signal.codes}
            yield from _twice(signal.codes, places)


def _twice(codes: Mapping[int, str], places: Mapping[int, Place]) -> Iterator[Finding]:
    first: dict[str, int] = {}
    for raw, word in codes.items():
        if word in first:
            text = f"`{word}` is the word for {first[word]} already, and for {raw} too"
            yield error("duplicate-code", places[raw], text, f"write `{word}_{raw}` or another word")
        first.setdefault(word, raw)


def range_out_of_reach(draft: Draft) -> Iterator[Finding]:
    """A factor of zero, or a range that is upside down, out of the bits' reach, or between two steps."""
    for message, name, signal in _signals(draft):
        if signal.factor == 0:
            where = message.at("signals", name, "factor")
            text = f"`{name}` has factor 0: every raw number would mean the same"
            yield error("factor-zero", where, text, "leave `factor` out for 1")
        elif signal.range is not None and not signal.is_float:
            yield from _about_range(message, name, signal, *signal.range)


def too_coarse(draft: Draft) -> Iterator[Finding]:
    """A step coarser than the ``resolution`` that is asked for."""
    for message, name, signal in _signals(draft):
        step, wanted = exact(abs(signal.factor)), signal.resolution
        if wanted is not None and not signal.is_float and step > exact(wanted):
            unit = f" {signal.unit}" if signal.unit else ""
            steps = f"`{name}` moves in steps of {told(float(step))}{unit}"
            text = f"{steps}, coarser than its `resolution` of {told(wanted)}{unit}"
            fix = _finer(signal, exact(wanted), f"{math.copysign(wanted, signal.factor):.15g}")
            yield error("resolution-too-coarse", message.at("signals", name, "resolution"), text, fix)


def _finer(signal: SignalWritten, wanted: Fraction, factor: str) -> str:
    """A factor of the step ``wanted``, and the bits that reach as far as before, or as the range goes."""
    low, high = _scale(signal).raw_reach
    step = exact(abs(signal.factor))
    bits = bits_for(math.floor(low * step / wanted), math.ceil(high * step / wanted), signal.signed)
    if signal.range is not None and signal.factor:
        ends = [(exact(end) - exact(signal.offset)) / exact(float(factor)) for end in signal.range]
        bits = bits_for(math.floor(min(ends)), math.ceil(max(ends)), signal.signed)
    if bits > MAX_SIGNAL_BITS:
        return f"`factor: {factor}` would do, over a smaller range"
    return f"`factor: {factor}{f', bits: {bits}' if bits > signal.bits else ''}` would do"


def _about_range(
    message: MessagePart, name: str, signal: SignalWritten, least: float, most: float
) -> Iterator[Finding]:
    where, scale = message.at("signals", name, "range"), _scale(signal)
    unit = f" {signal.unit}" if signal.unit else ""
    reach = scale.reach
    if least > most:
        fix = f"write `range: [{told(most)}, {told(least)}]`"
        yield error(
            "range-upside-down", where, f"the range of `{name}` runs from {told(least)} down to {told(most)}", fix
        )
    elif exact(least) < reach[0] or reach[1] < exact(most):
        text = (
            f"`{name}` is {counted(signal.bits, 'bit')} and reaches {told(float(reach[0]))} to "
            f"{told(float(reach[1]))}{unit}, but its range goes from {told(least)} to {told(most)}{unit}"
        )
        yield error("range-out-of-reach", where, text, _reaching(scale, least, most))
    elif scale.raw_limits()[0] > scale.raw_limits()[1]:
        text = f"no raw number of `{name}` means anything from {told(least)} to {told(most)}{unit}"
        fix = f"its steps are {told(signal.factor)}{unit} apart, counted from {told(signal.offset)}{unit}"
        yield error("range-between-steps", where, text, fix)


def _reaching(scale: Scale, least: float, most: float) -> str:
    """What would make the range reachable: more bits, a sign, or another offset; whichever comes first."""
    factor, offset = exact(scale.factor), exact(scale.offset)
    ends = sorted((exact(limit) - offset) / factor for limit in (least, most))
    low, high = ends[0].__floor__(), ends[1].__ceil__()
    if scale.signed or low >= 0:
        bits = bits_for(low, high, scale.signed)
        if bits <= MAX_SIGNAL_BITS:
            return f"`bits: {bits}` would reach it"
    at_zero = least if factor > 0 else most
    if (exact(most) - exact(least)) / abs(factor) <= scale.raw_reach[1] and not scale.signed:
        return f"`offset: {told(at_zero)}` would reach it"
    bits = max(scale.bits, bits_for(low, high, signed=True))
    if bits > MAX_SIGNAL_BITS:
        return "look at `factor` and `offset`"
    return "`signed: true" + (f", bits: {bits}" if bits > scale.bits else "") + "` would reach it"


def initial_out_of_range(draft: Draft) -> Iterator[Finding]:
    """A value to start with, or a safe one, that the signal cannot say."""
    for message, name, signal in _signals(draft):
        if signal.factor == 0 or (signal.range and signal.range[0] > signal.range[1]):
            continue
        for key, verb, value in (("initial", "starts with", signal.initial), ("safe", "falls back to", signal.safe)):
            if value is not None:
                where = message.at("signals", name, key)
                yield from _about_a_value(draft, signal, value, f"`{name}` {verb}", where, key)


def _about_a_value(
    draft: Draft, signal: SignalWritten, value: float | str, does: str, where: Place, key: str
) -> Iterator[Finding]:
    rule = "safe-out-of-range" if key == "safe" else "initial-out-of-range"  # whole, so that both can be searched for
    codes, scale = draft.codes_of(signal), _scale(signal)
    if isinstance(value, str):
        if value not in codes.values() and not _has_broken_codes(signal, draft):
            name = does.partition(" ")[0]
            yield error(rule, where, *_no_code(name, does, value, codes))
    elif signal.is_float:
        if signal.range and not signal.range[0] <= value <= signal.range[1]:
            least, most = signal.range
            yield error(
                rule,
                where,
                f"{does} {told(value)}, outside {told(least)} to {told(most)}",
                _nearest(key, value, least, most),
            )
    elif scale.raw_of(value) is None and scale.nearest_raw(value) not in codes:
        low, high = scale.raw_limits()
        least, most = sorted((scale.number(low), scale.number(high)))
        yield error(
            rule,
            where,
            f"{does} {told(value)}, outside {told(least)} to {told(most)}",
            _nearest(key, value, least, most),
        )
    elif _says_only_codes(draft, signal) and scale.nearest_raw(value) not in codes:
        name = does.partition(" ")[0]
        fix = f"{did_you_mean(value, codes.values())}; or give it a `range` beside its codes"
        yield error(rule, where, f"{does} {told(value)}, but {name} says only its codes", fix)


def _says_only_codes(draft: Draft, signal: SignalWritten) -> bool:
    """Whether codes stand there, and no range beside them; see ``Signal.only_codes``."""
    return signal.range is None and bool(set(draft.codes_of(signal)) - {signal.unknown, signal.invalid})


def _nearest(key: str, value: float, least: float, most: float) -> str:
    return f"`{key}: {told(least if value < least else most)}` is the nearest"


def _has_broken_codes(signal: SignalWritten, draft: Draft) -> bool:
    return isinstance(signal.codes, str) and signal.codes not in draft.codes


def _no_code(name: str, does: str, word: str, codes: Mapping[int, str]) -> tuple[str, str]:
    if not codes:
        return f"{does} the word `{word}`, but has no codes", "write a number, or give it `codes`"
    return f"`{word}` is no code of {name}", did_you_mean(word, codes.values())
