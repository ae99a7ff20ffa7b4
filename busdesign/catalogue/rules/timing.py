"""Timing: every message has one, and only one."""

from collections.abc import Iterator

from busdesign.catalogue.parts import Draft
from busdesign.findings import Finding, error


def no_timing(draft: Draft) -> Iterator[Finding]:
    """Neither ``every`` nor ``irregular``, or both: without a least distance between frames no bound exists."""
    for message in draft.messages:
        every, irregular, name = message.written.every, message.written.irregular, message.written_name
        if every is None and irregular is None:
            text = f"`{name}` says neither how often it comes (`every`) nor how far apart (`irregular`)"
            fix = "add `every: 50 ms`, or `irregular: {at_least_apart: 20 ms}`"
            yield error("no-timing", message.at_key(), text, fix)
        if every is not None and irregular is not None:
            text = f"`{name}` is both periodic (`every`) and irregular"
            yield error("no-timing", message.at_key("irregular"), text, "keep one of the two")


def offset_of_irregular(draft: Draft) -> Iterator[Finding]:
    """An offset on a message that has no first release of its own."""
    for message in draft.messages:
        if message.written.irregular is not None and message.written.offset:
            text = f"`{message.written_name}` is irregular: it comes when something happens, so it has no offset"
            yield error("offset-of-irregular", message.at_key("offset"), text, "remove `offset`")
