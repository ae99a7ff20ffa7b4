"""Identifiers as priorities: who is served first, and what a flipped bit makes of one."""

from collections.abc import Iterator

from busdesign.catalogue.advice.told import advice, listed, once_each, written_name
from busdesign.catalogue.model import Catalogue, Message
from busdesign.findings import Finding
from busdesign.units import format_duration
from busdesign.wire.arbitration import arbitration_key

_LEADING_BITS = 4  # what decides first, and parts the most urgent from the least
_BASE_BITS, _EXTENDED_BITS = 11, 29
_FLOOD_NS = 20_000_000  # an irregular message that may come more often than this can crowd the bus
_SLACK = 2  # times the other's deadline: below that, an order of one's own is no slip


def _key(message: Message) -> int:
    assert message.identifier is not None
    return arbitration_key(message.identifier, extended=message.extended, remote=message.is_remote)


def _placed(catalogue: Catalogue) -> list[Message]:
    """Those that have an identifier, the most urgent first."""
    return sorted((message for message in catalogue.messages if message.identifier is not None), key=_key)


def priority_upside_down(catalogue: Catalogue) -> Iterator[Finding]:
    """A message comes after others that have at least twice its time.

    Deadlines in order of priority are a rule of thumb, and the best order only where frames are about equally long
    (Davis, Burns, Bril, Lukkien 2007, from memory); so small inversions are let be, and so are irregular messages
    without a declared deadline, of which nobody has said how urgent they are.
    """
    tight: Message | None = None
    before: dict[str, list[Message]] = {}  # by the message that comes too late
    tightest: dict[str, Message] = {}
    timed = [message for message in _placed(catalogue) if not message.irregular or "deadline" in message.places]
    for message in reversed(timed):
        if tight is not None and message.deadline_ns >= _SLACK * tight.deadline_ns:
            before.setdefault(written_name(tight), []).insert(0, message)
            tightest.setdefault(written_name(tight), tight)
        if tight is None or message.deadline_ns < tight.deadline_ns:
            tight = message
    for name, message in tightest.items():
        others = before[name]
        first, names = others[0], list(dict.fromkeys(written_name(other) for other in others))
        has = "has" if len(names) == 1 else "have"
        text = (
            f"`{name}` (deadline {format_duration(message.deadline_ns)}) comes after {listed(names)}, which {has} "
            f"at least {_SLACK} times as long"
        )
        fix = f"an identifier that goes before 0x{first.identifier:X}: the shorter deadline, the higher priority"
        yield advice("priority-upside-down", message.place_of("id"), text, fix)


def one_bit_from_a_flood(catalogue: Catalogue) -> Iterator[Finding]:
    """Two identifiers of which one leading bit makes the other, and one may come often.

    On the wire the CRC guards that bit; in a board's memory nothing does.
    """
    placed = [message for message in _placed(catalogue) if not message.is_remote]
    told: set[str] = set()
    for one, other in _one_leading_bit_apart(placed):
        if not (_floods(one) or _floods(other)):
            continue
        flood, message = (one, other) if _floods(one) else (other, one)
        if written_name(message) not in told:
            told.update((written_name(message), written_name(flood)))
            text = (
                f"one leading bit parts the identifier of `{written_name(message)}` from that of "
                f"`{written_name(flood)}`, which may come every {format_duration(flood.period_ns)}"
            )
            fix = "let two bits differ, so that no single fault in a board turns one into the other"
            yield advice("one-bit-from-a-flood", message.place_of("id"), text, fix)


def _floods(message: Message) -> bool:
    return message.irregular and message.period_ns < _FLOOD_NS


def _one_leading_bit_apart(placed: list[Message]) -> Iterator[tuple[Message, Message]]:
    """Pairs of ``placed``, each in its order."""
    positions = {(message.extended, message.identifier): at for at, message in enumerate(placed)}
    for at, message in enumerate(placed):
        bits = _EXTENDED_BITS if message.extended else _BASE_BITS
        turned = ((message.identifier or 0) ^ 1 << bit for bit in range(bits - _LEADING_BITS, bits))
        others = (positions.get((message.extended, identifier), -1) for identifier in turned)
        yield from ((message, placed[other]) for other in sorted(others) if other > at)


def leading_bits_recessive(catalogue: Catalogue) -> Iterator[Finding]:
    """Seven leading recessive bits: Bosch CAN 2.0 rules them out (from memory), and old controllers refuse them."""
    base = (message for message in _placed(catalogue) if not message.extended and not message.is_remote)
    for message in once_each(message for message in base if (message.identifier or 0) >> _BASE_BITS - 7 == 0x7F):
        text = f"the seven leading bits of 0x{message.identifier:X} are all recessive, which CAN 2.0 rules out"
        yield advice("leading-bits-recessive", message.place_of("id"), text, "0x7EF is the last that all accept")


def same_number_twice(catalogue: Catalogue) -> Iterator[Finding]:
    """One number as base and as extended identifier: two messages to the wire, one to many a reader."""
    spoken = [message for message in _placed(catalogue) if not message.is_remote]
    base = {message.identifier: message for message in spoken if not message.extended}
    for message in once_each(message for message in spoken if message.extended and message.identifier in base):
        other = written_name(base[message.identifier])
        text = f"0x{message.identifier:X} is an extended identifier here, and a base identifier of `{other}`"
        yield advice("same-number-twice", message.place_of("id"), text, "take a number that only one of them has")
