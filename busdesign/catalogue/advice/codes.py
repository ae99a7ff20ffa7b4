"""Codes and pages that nothing stands behind."""

from collections.abc import Iterator

from busdesign.catalogue.advice.told import advice, listed, once_each, written_name
from busdesign.catalogue.model import Catalogue, Message, Signal
from busdesign.findings import Finding


def page_without_signals(catalogue: Catalogue) -> Iterator[Finding]:
    """A selector whose codes name a page on which nothing stands."""
    for message in once_each(catalogue.messages):
        for selector in message.signals:
            empty = _empty_pages(message, selector)
            if empty:
                text = f"`{written_name(message)}.{selector.name}` can choose {listed(empty)}, where no signal stands"
                fix = f"give it a signal, `when: {{{selector.name}: {empty[0]}}}`, or drop the code"
                yield advice("page-without-signals", selector.place_of("codes"), text, fix)


def _empty_pages(message: Message, selector: Signal) -> list[str]:
    pages = {raw for signal in message.signals if signal.selector == selector.name for raw in signal.selected_by}
    no_page = {selector.unknown_raw, selector.invalid_raw}
    return [word for raw, word in selector.codes.items() if raw not in pages | no_page] if pages else []


def unused_codes(catalogue: Catalogue) -> Iterator[Finding]:
    """Shared codes that no signal names; those of an included file may be there for other catalogues."""
    used = [signal.codes.items() for message in catalogue.messages for signal in message.signals]
    for name, codes in catalogue.codes.items():
        place = catalogue.places.get(("codes", name))
        is_included = place is not None and place.file != catalogue.file
        if codes and not is_included and not any(codes.items() <= known for known in used):
            yield advice("unused-codes", place, f"no signal has the codes `{name}`", "use them, or remove them")
