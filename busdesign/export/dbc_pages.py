"""Multiplexing in DBC: which signals select, what each is selected by, and what of that DBC or its readers cannot say.

A selector bears the mark ``M``, a selected signal ``m`` and the selector's raw number, a selector that is itself
selected both (``m2M``); ``SG_MUL_VAL_`` lines hold several numbers and name the selector where a message has more than
one (extended multiplexing). Tried out with cantools 45: a name that DBC cuts is cut in one of these places and not in
the other, a negative number ends the file's grammar, and pages are looked up by the selector's physical value. What
would read back as something else by that is refused.
"""

import re
from collections.abc import Iterator, Sequence

from busdesign.catalogue.model import Message, Role, Signal
from busdesign.findings import Finding, Place, Severity

MAX_NAME_LETTERS = 32  # longer names are cut; common practice, no source
_MARKED = re.compile(r"^ SG_ \w+ M :")


def written_signals(message: Message) -> tuple[Signal, ...]:
    """The signals that stand in the file: all but reserved bits, which DBC calls by no name, and so nobody looks at."""
    return tuple(signal for signal in message.signals if signal.role is not Role.RESERVED)


def selectors_of(message: Message) -> frozenset[str]:
    """The names of the signals that a written signal hangs on."""
    return frozenset(signal.selector for signal in written_signals(message) if signal.selector)


def pages_of(signal: Signal) -> list[int] | None:
    """The raw numbers of its selector under which ``signal`` is there, ascending; None for always."""
    return sorted(set(signal.selected_by)) if signal.selector else None


def mark_nested_selectors(text: str, signals: Sequence[Signal]) -> str:
    """The DBC file ``text`` with ``m2M`` where cantools writes a plain ``M`` for a selector that is itself selected.

    ``signals``: all signals of the file in its order. No line before the last of theirs can look like one of them.
    """
    lines, remaining = text.split("\r\n"), iter(signals)
    for number, line in enumerate(lines):
        if line.startswith(" SG_ "):
            signal = next(remaining, None)
            if signal is None:
                break
            pages = pages_of(signal)
            if pages and _MARKED.match(line):
                lines[number] = line.replace(" M :", f" m{pages[0]}M :", 1)
    return "\r\n".join(lines)


def pages_refused(message: Message) -> Iterator[Finding]:
    """What of the multiplexing of ``message`` would read back as something else."""
    selectors = selectors_of(message)
    for signal in message.signals:
        name = f"{message.family or message.name}.{signal.name}"
        if signal.name in selectors:
            yield from _selector_refused(name, signal)
        if signal.role is not Role.RESERVED and any(raw < 0 for raw in signal.selected_by):
            text = f"`{name}` is selected by a number below 0 ({min(signal.selected_by)}), which DBC cannot spell"
            fix = f"leave `signed` out of `{signal.selector}`, and count its pages from 0"
            yield _refused(signal.place_of("when"), text, fix)


def _selector_refused(name: str, selector: Signal) -> Iterator[Finding]:
    if len(selector.name) > MAX_NAME_LETTERS:
        text = f"the selector `{name}` has {len(selector.name)} letters; DBC cuts it, and its pages lose their selector"
        fix = f"give it at most {MAX_NAME_LETTERS} letters"
        yield _refused(selector.place_of(""), text, fix)
    if selector.factor != 1 or selector.offset != 0:
        key = "factor" if selector.factor != 1 else "offset"
        text = f"the selector `{name}` has a factor or an offset: readers take its physical value for the page"
        yield _refused(selector.place_of(key), text, "leave `factor` and `offset` out of a selector")


def _refused(where: Place | None, text: str, fix: str) -> Finding:
    return Finding("dbc-multiplexing", Severity.ERROR, where, text, fix)
