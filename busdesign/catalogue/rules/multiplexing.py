"""Multiplexing: ``when`` names a selector of the same message, and raw numbers that it can have."""

from collections.abc import Iterator, Mapping

from busdesign.catalogue.draft import SignalWritten
from busdesign.catalogue.model import MAX_SIGNAL_BITS, Role
from busdesign.catalogue.parts import Draft, MessagePart
from busdesign.catalogue.values import Scale, bits_for
from busdesign.findings import Finding, did_you_mean, error


def unknown_selector(draft: Draft) -> Iterator[Finding]:
    """``when`` names no signal of the message, or one that cannot select, or leads back to itself."""
    for message in draft.messages:
        signals = message.written.signals
        above = {name: next(iter(signal.when), "") for name, signal in signals.items() if signal.when}
        for name, signal in signals.items():
            for selector in signal.when or {}:
                where = message.at_key("signals", name, "when", selector)
                if selector not in signals:
                    text = f"`{selector}` is no signal of `{message.written_name}`, so it cannot select `{name}`"
                    yield error("unknown-selector", where, text, did_you_mean(selector, signals))
                elif _leads_to(name, selector, above):
                    text = f"`{name}` is there only when `{selector}` says so, which hangs on `{name}` itself"
                    yield error("selector-loop", where, text, "a chain of `when` ends at a signal that is always there")
                else:
                    yield from _cannot_select(message, name, selector)


def _leads_to(name: str, selector: str, above: Mapping[str, str]) -> bool:
    """Whether the way up from ``selector``, by what each signal's ``when`` names, comes to ``name``."""
    seen = set[str]()
    while selector != name and selector in above and selector not in seen:
        seen.add(selector)
        selector = above[selector]
    return selector == name


def _cannot_select(message: MessagePart, name: str, selector: str) -> Iterator[Finding]:
    known = message.written.signals[selector]
    where = message.at_key("signals", name, "when", selector)
    if known.is_float:
        text = f"`{selector}` is a float signal: a page is chosen by a whole number"
        yield error("unknown-selector", where, text, "let a signal of a few bits select")
    elif known.role in (Role.CHECK, Role.COUNTER, Role.RESERVED):
        text = f"`{selector}` is a {known.role}: the sender does not choose it, so it cannot select"
        yield error("unknown-selector", where, text, "let a signal of its own select")


def unreachable_page(draft: Draft) -> Iterator[Finding]:
    """A page that no frame can have: the selector's bits, codes or range leave its number out."""
    for message in draft.messages:
        signals = message.written.signals
        for name, signal in signals.items():
            for selector, wanted in (signal.when or {}).items():
                known = signals.get(selector)
                if known is None or known.is_float or known.factor == 0:
                    continue
                for index, one in enumerate(wanted):
                    said = _not_reachable(draft, selector, known, one)
                    if said:
                        where = message.at("signals", name, "when", selector, index)
                        yield error("unreachable-page", where, *said)


def _not_reachable(draft: Draft, selector: str, known: SignalWritten, wanted: int | str) -> tuple[str, str] | None:
    """What is wrong with the page ``wanted``, and what would mend it; None if it can be."""
    codes = draft.codes_of(known)
    if isinstance(wanted, str):
        if wanted in codes.values() or (isinstance(known.codes, str) and known.codes not in draft.codes):
            return None
        fix = did_you_mean(wanted, codes.values()) if codes else f"give `{selector}` codes, or write a number"
        return f"`{wanted}` is no code of the selector `{selector}`", fix
    if wanted in codes:
        return None
    least, most = known.range or (None, None)
    low, high = Scale(known.bits, known.signed, known.factor, known.offset, least, most).raw_limits()
    if known.role is Role.CONSTANT and wanted != known.constant:
        return f"`{selector}` is always {known.constant}, never {wanted}", f"write `{known.constant}`"
    if codes and known.range is None and known.codes is not None:
        return f"`{selector}` never is {wanted}: that is none of its codes", did_you_mean(wanted, map(str, codes))
    if not low <= wanted <= high:
        text = f"`{selector}` never is {wanted}: its raw numbers go from {low} to {high}"
        return text, _reaching(selector, known, wanted)
    return None


def _reaching(selector: str, known: SignalWritten, wanted: int) -> str:
    bits = bits_for(wanted, wanted, known.signed)
    if (wanted < 0 and not known.signed) or bits > MAX_SIGNAL_BITS:
        return "remove it"
    needed = [f"`bits: {bits}`"] * (bits > known.bits) + ["a wider `range`"] * (known.range is not None)
    return f"{' and '.join(needed)} for `{selector}` would hold it"
