"""Identifiers: eleven bits unless extended, and each one sent as one message only."""

from collections.abc import Iterator

from busdesign.catalogue.model import MAX_BASE_IDENTIFIER, MAX_EXTENDED_IDENTIFIER
from busdesign.catalogue.parts import Draft, MessagePart, line_of
from busdesign.findings import Finding, error


def identifier_out_of_range(draft: Draft) -> Iterator[Finding]:
    """Above 0x7FF without ``extended: true``, or above 29 bits."""
    for message in draft.messages:
        identifier, extended = message.written.id, message.written.extended
        if identifier is None or identifier <= _greatest(extended):
            continue
        needs = f"identifier 0x{identifier:X} has {identifier.bit_length()} bits"
        if identifier > MAX_EXTENDED_IDENTIFIER:
            fix = f"0x{_greatest(extended):X} is the last {'extended' if extended else 'base'} identifier"
            yield error("identifier-out-of-range", message.at("id"), f"{needs}; 29 is the most there is", fix)
        else:
            text = f"{needs}; a base identifier has 11, up to 0x{MAX_BASE_IDENTIFIER:X}"
            yield error("identifier-out-of-range", message.at("id"), text, "add `extended: true` for 29 bits")


def duplicate_identifier(draft: Draft) -> Iterator[Finding]:
    """One identifier for two messages: two nodes that win arbitration together collide in the data field."""
    first: dict[tuple[int, bool], MessagePart] = {}
    taken = {(message.written.id, message.written.extended) for message in draft.messages}
    for message in draft.messages:
        identifier, extended = message.written.id, message.written.extended
        if identifier is None:
            continue
        other = first.setdefault((identifier, extended), message)
        if other is not message:
            free = _free_beside(identifier, extended, taken)
            place, here = other.at("id"), message.at("id")
            text = f"identifier 0x{identifier:X} belongs to `{other.name}` ({line_of(place, here)}) already"
            fix = f"0x{free:X} is free" if free is not None else "the bus has no identifier left"
            if place == here:
                text = f"identifier 0x{identifier:X} goes to every message of the family"
                fix = f"move `id` into `for_each`, as a list; {fix}"
            taken.add((free, extended))  # no two hints for one identifier
            yield error("duplicate-identifier", here, text, fix)


def _greatest(extended: bool) -> int:
    return MAX_EXTENDED_IDENTIFIER if extended else MAX_BASE_IDENTIFIER


def _free_beside(identifier: int, extended: bool, taken: set[tuple[int | None, bool]]) -> int | None:
    """The nearest free identifier above, or else below."""
    above = range(identifier + 1, min(identifier + len(taken) + 1, _greatest(extended)) + 1)
    below = range(min(identifier - 1, _greatest(extended)), -1, -1)
    for candidates in (above, below):
        for candidate in candidates:
            if (candidate, extended) not in taken:
                return candidate
    return None
