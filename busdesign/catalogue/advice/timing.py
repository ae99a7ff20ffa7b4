"""Periods, offsets, jitter and deadlines that do not go well together."""

from collections.abc import Iterator
from fractions import Fraction
from itertools import combinations
from math import ceil, gcd

from busdesign.catalogue.advice.told import advice, by_sender, once_each, written_name
from busdesign.catalogue.model import Catalogue, Message
from busdesign.findings import Finding
from busdesign.units import format_duration
from busdesign.wire.lengths import longest_published_bits

_TOGETHER = 4  # releases of one node in one instant that are worth a word
_MS = 1_000_000  # nanoseconds


def deadline_beyond_period(catalogue: Catalogue) -> Iterator[Finding]:
    """A deadline longer than the period: the next frame may be released, and overwrite it, before this one is due."""
    for message in once_each(message for message in catalogue.messages if message.deadline_ns > message.period_ns):
        what = "least distance" if message.irregular else "period"
        text = (
            f"the deadline of `{written_name(message)}`, {format_duration(message.deadline_ns)}, is beyond its {what} "
            f"of {format_duration(message.period_ns)}: a new value may take the place of one still waiting"
        )
        fix = f"`deadline: {format_duration(message.period_ns)}` is the most that leaves each frame its turn"
        yield advice("deadline-beyond-period", message.place_of("deadline"), text, fix)


def _periodic(catalogue: Catalogue) -> Iterator[Message]:
    return (message for message in catalogue.messages if not message.irregular)


def jitter_beyond_period(catalogue: Catalogue) -> Iterator[Finding]:
    """Jitter of a period or more: frames may come in bunches, and a receiver cannot tell late from lost.

    Silent where the deadline is shorter than the jitter, since that is a broken promise already.
    """
    in_time = (message for message in _periodic(catalogue) if message.jitter_ns < message.deadline_ns)
    for message in once_each(message for message in in_time if message.jitter_ns >= message.period_ns):
        text = (
            f"the jitter of `{written_name(message)}`, {format_duration(message.jitter_ns)}, reaches its period of "
            f"{format_duration(message.period_ns)}: two frames may come at once"
        )
        fix = "jitter is how late a release may be, less than a period; or is it irregular?"
        yield advice("jitter-beyond-period", message.place_of("jitter"), text, fix)


def offset_beyond_period(catalogue: Catalogue) -> Iterator[Finding]:
    """An offset of a period or more: it says when the message begins, not where it lies in its period."""
    for message in once_each(message for message in _periodic(catalogue) if message.offset_ns >= message.period_ns):
        same_ns = message.offset_ns % message.period_ns
        text = (
            f"the offset of `{written_name(message)}`, {format_duration(message.offset_ns)}, reaches its period of "
            f"{format_duration(message.period_ns)}"
        )
        same = f"`offset: {format_duration(same_ns)}`" if same_ns else "no `offset`"
        yield advice(
            "offset-beyond-period", message.place_of("offset"), text, f"{same} is the same place in the period"
        )


def periods_beat(catalogue: Catalogue) -> Iterator[Finding]:
    """Two periods of one node that no offsets keep apart: their releases come closer than their frames are long.

    Whatever the offsets, two periods come within half of their greatest common divisor of each other; offsets can keep
    that divisor between a frame and the next one only if it holds them both.
    """
    bit_ns = catalogue.bus.bit_ns
    for node, messages in by_sender(catalogue):
        pair = _meeting([message for message in messages if not message.irregular], bit_ns)
        if pair is None:
            continue
        shorter, longer = pair
        text = (
            f"`{node}` sends `{written_name(shorter)}` every {format_duration(shorter.period_ns)} and "
            f"`{written_name(longer)}` every {format_duration(longer.period_ns)}: whatever their offsets, they drift "
            "through each other"
        )
        times = (2 * longer.period_ns + shorter.period_ns) // (2 * shorter.period_ns)  # to the nearest
        fix = f"`every: {format_duration(times * shorter.period_ns)}` is a multiple, which an offset keeps apart"
        yield advice("periods-beat", longer.place_of("every"), text, fix)


def _meeting(periodic: list[Message], bit_ns: Fraction) -> tuple[Message, Message] | None:
    """Two of ``periodic`` that meet, the shorter period first; of each period the longest frame stands for all."""
    bits = {message.name: longest_published_bits(message.data_bytes, extended=message.extended) for message in periodic}
    longest: dict[int, Message] = {}
    for message in periodic:
        known = longest.setdefault(message.period_ns, message)
        if bits[message.name] > bits[known.name]:
            longest[message.period_ns] = message
    most_ns = ceil(2 * max(bits.values(), default=0) * bit_ns)
    for shorter, longer in combinations(sorted(longest), 2):
        between_ns = gcd(shorter, longer)
        if between_ns >= most_ns:
            continue
        pair = longest[shorter], longest[longer]
        if between_ns < shorter and between_ns < (bits[pair[0].name] + bits[pair[1].name]) * bit_ns:
            return pair
    return None


def released_together(catalogue: Catalogue) -> Iterator[Finding]:
    """Many periodic messages of one node due in one instant: a burst that the others on the bus must wait out."""
    for node, messages in by_sender(catalogue):
        groups: dict[int, list[Message]] = {}
        for message in messages:
            if not message.irregular:
                groups.setdefault(message.offset_ns, []).append(message)
        together = max(groups.values(), key=len, default=[])
        if len(together) < _TOGETHER:
            continue
        offset_ns = together[0].offset_ns
        when = f"at {format_duration(offset_ns)}" if offset_ns else "at once"
        text = f"{len(together)} messages of `{node}` are first released {when}, and again whenever their periods meet"
        fix = (
            f"spread them by `offset`{_steps(together)}: offsets often cut the worst waits (Grenier, Havet, Navet 2008)"
        )
        yield advice("released-together", together[1].place_of("offset"), text, fix)


def _steps(together: list[Message]) -> str:
    """Offsets in whole milliseconds that share out the shortest period, if it holds so many."""
    step_ms = min(message.period_ns for message in together) // len(together) // _MS
    offsets = [f"{number * step_ms} ms" for number in range(len(together))]
    return f", such as {', '.join(offsets[:3])} ..." if step_ms else ""
