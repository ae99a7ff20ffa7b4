"""Identifiers: eleven bits unless extended, and each one sent as one message only."""

from collections.abc import Iterator

from busdesign.catalogue.model import MAX_BASE_IDENTIFIER, MAX_EXTENDED_IDENTIFIER
from busdesign.catalogue.parts import Draft, MessagePart
from busdesign.findings import Finding, error


def identifier_out_of_range(draft: Draft) -> Iterator[Finding]:
    """Above 0x7FF without ``extended: true``, or above 29 bits."""
    for message in draft.messages:
        identifier, extended = message.written.id, message.written.extended
        if identifier is None or identifier <= (MAX_EXTENDED_IDENTIFIER if extended else MAX_BASE_IDENTIFIER):
            continue
        if identifier > MAX_EXTENDED_IDENTIFIER:
            text = f"identifier 0x{identifier:X} has {identifier.bit_length()} bits; 29 is the most there is"
            yield error("identifier-out-of-range", message.at("id"), text, "0x1FFFFFFF is the last extended one")
        else:
            text = f"identifier 0x{identifier:X} has {identifier.bit_length()} bits; a base identifier has 11 (0x7FF)"
            yield error("identifier-out-of-range", message.at("id"), text, "add `extended: true` for 29 bits")


def duplicate_identifier(draft: Draft) -> Iterator[Finding]:
    """One identifier for two messages: two nodes that win arbitration together collide in the data field."""
    first: dict[tuple[int, bool], MessagePart] = {}
    taken = {message.written.id for message in draft.messages}
    for message in draft.messages:
        identifier, extended = message.written.id, message.written.extended
        if identifier is None:
            continue
        other = first.setdefault((identifier, extended), message)
        if other is not message:
            free = next(number for number in range(identifier + 1, identifier + len(taken) + 2) if number not in taken)
            text = f"identifier 0x{identifier:X} belongs to `{other.name}` (line {other.at('id').line}) already"
            yield error("duplicate-identifier", message.at("id"), text, f"0x{free:X} is free")
