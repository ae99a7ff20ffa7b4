"""Counters and checks: what a message needs so that a stale, repeated or foreign frame is noticed."""

from collections.abc import Iterator
from math import gcd

from busdesign.catalogue.advice.told import advice, broken, once_each, usual_lost_after_ns, written_name
from busdesign.catalogue.data_ids import bytes_around, turns_of
from busdesign.catalogue.model import MAX_CLASSICAL_BYTES, Catalogue, Message, Role, Signal
from busdesign.findings import Finding, counted
from busdesign.units import format_duration

_WANTED = {Role.COUNTER: ("counter", 4, "counts: 1"), Role.CHECK: ("check", 8, "crc: crc8-j1850")}  # word, bits, key
_MAX_BITS = 64
_IDS_SHOWN = 3  # of a list of data ids


def _first(message: Message, role: Role) -> Signal | None:
    return next((signal for signal in message.signals if signal.role is role), None)


def _moving(catalogue: Catalogue) -> list[Message]:
    return [message for message in catalogue.messages if message.moves and not message.is_remote]


def moves_unprotected(catalogue: Catalogue) -> Iterator[Finding]:
    """A message that can move metal, without a counter and a check in its payload."""
    for message in once_each(message for message in _moving(catalogue) if _lacks(message)):
        wanted = [_WANTED[role] for role in _lacks(message)]
        text = f"`{written_name(message)}` can move metal and has no {' and no '.join(word for word, _, _ in wanted)}"
        yield broken("moves-unprotected", message.place_of("moves"), text, _adding(message, wanted))


def _lacks(message: Message) -> list[Role]:
    return [role for role in _WANTED if _first(message, role) is None]


def _adding(message: Message, wanted: list[tuple[str, int, str]]) -> str:
    length_bytes = message.length_bytes if "bytes" in message.places else MAX_CLASSICAL_BYTES
    free = 8 * length_bytes - len({bit for signal in message.signals for bit in signal.bit_positions})
    needed = sum(bits for _, bits, _ in wanted)
    if needed > free:
        return f"make room for {counted(needed, 'bit')} of them: {free} are free"
    added = " and ".join(f"`{word}: {{bits: {bits}, {key}}}`" for word, bits, key in wanted)
    return f"add {added} to its signals: so a receiver tells a repeated, stale or corrupted order from a good one"


def moves_unguarded(catalogue: Catalogue) -> Iterator[Finding]:
    """A periodic message that can move metal, whose receivers have no rule for silence or for what to believe."""
    for message in once_each(message for message in _moving(catalogue) if _unguarded(message)):
        lacks = _unguarded(message)
        text = f"`{written_name(message)}` can move metal and has no {' and no '.join(f'`{key}`' for key in lacks)}"
        added = ", ".join(f"`{key}: {value}`" for key, value in lacks.items())
        fix = f"add {added}, say: when it is lost, and what it takes before anything moves"
        yield advice("moves-unguarded", message.place_of("moves"), text, fix)


def _unguarded(message: Message) -> dict[str, str]:
    """The keys that it lacks, and what may stand behind them."""
    lacks = {}
    if not message.irregular and message.lost_after_ns is None:
        lacks["lost_after"] = format_duration(usual_lost_after_ns(message))
    if not message.irregular and message.accept is None:
        lacks["accept"] = "{good_frames: 2 of 3}"
    return lacks


def moves_irregularly(catalogue: Catalogue) -> Iterator[Finding]:
    """A message that can move metal and is said once: if that frame is lost, or its sender dies, nobody notices."""
    for message in once_each(message for message in _moving(catalogue) if message.irregular):
        text = (
            f"`{written_name(message)}` can move metal and comes only when something happens: whoever waits for the "
            "next one cannot tell a sender that has nothing to say from one that is dead"
        )
        fix = f"repeat it: `every: {format_duration(message.period_ns)}`, with `lost_after`"
        yield advice("moves-irregularly", message.place_of("irregular"), text, fix)


def counter_wraps(catalogue: Catalogue) -> Iterator[Finding]:
    """A counter that comes round within ``lost_after``: a receiver that missed a whole round sees nothing missing."""
    for message in once_each(message for message in catalogue.messages if _wraps(message)):
        counter, lost_ns = _first(message, Role.COUNTER), message.lost_after_ns
        assert counter is not None
        assert lost_ns is not None
        frames = _frames_in_a_round(counter.counts, counter.modulo)
        text = (
            f"`{written_name(message)}.{counter.name}` comes round every {counted(frames, 'frame')} "
            f"({format_duration(frames * message.period_ns)}), within `lost_after` of {format_duration(lost_ns)}"
        )
        fix = _longer_round(counter, lost_ns // message.period_ns + 1)
        yield advice("counter-wraps", counter.place, text, fix)


def _wraps(message: Message) -> bool:
    counter = _first(message, Role.COUNTER)
    if counter is None or message.irregular or message.lost_after_ns is None:
        return False
    return _frames_in_a_round(counter.counts, counter.modulo) * message.period_ns <= message.lost_after_ns


def _frames_in_a_round(step: int, modulo: int) -> int:
    return modulo // gcd(step, modulo)


def _longer_round(counter: Signal, frames: int) -> str:
    """What gives a round of ``frames`` or more: no modulo, or more bits and none."""
    bits = next(
        (
            bits
            for bits in range(counter.length_bits, _MAX_BITS)
            if _frames_in_a_round(counter.counts, 1 << bits) >= frames
        ),
        None,
    )
    if bits is None:
        return "a shorter `lost_after` would do"
    has_modulo = counter.modulo != 1 << counter.length_bits
    longer = f"`bits: {bits}`" if bits > counter.length_bits else ""
    without = "without `modulo`" if has_modulo else ""
    return f"{' '.join(part for part in (longer, without) if part)} it would tell a lost round"


def check_of_nothing(catalogue: Catalogue) -> Iterator[Finding]:
    """A check in a message that has nothing else to say."""
    for message in once_each(message for message in catalogue.messages if _covers_nothing(message)):
        check = _first(message, Role.CHECK)
        assert check is not None
        text = f"the check of `{written_name(message)}` covers nothing that could change"
        yield advice("check-of-nothing", check.place, text, "add what it is to protect, or a `counts: 1` beside it")


def _covers_nothing(message: Message) -> bool:
    quiet = (Role.CHECK, Role.RESERVED, Role.CONSTANT)
    return _first(message, Role.CHECK) is not None and all(signal.role in quiet for signal in message.signals)


def data_id_missing(catalogue: Catalogue) -> Iterator[Finding]:
    """A check without ``data_id`` in a message that moves metal: another message's payload would pass for it."""
    for message in once_each(message for message in _moving(catalogue) if _lacks_data_id(message)):
        check = _first(message, Role.CHECK)
        assert check is not None
        text = f"the check of `{written_name(message)}` would fit the same bytes of any other message, too"
        number = (message.identifier or 1) & 0xFFFF
        fix = f"a number of its own, such as `data_id: 0x{number:04X}`"
        yield advice("data-id-missing", check.place, text, fix)


def _lacks_data_id(message: Message) -> bool:
    check = _first(message, Role.CHECK)
    return check is not None and check.data_id is None and not check.data_ids


def data_id_twice(catalogue: Catalogue) -> Iterator[Finding]:
    """Two checks of one algorithm that cover the same data ids: a frame under the wrong identifier is believed."""
    first: dict[object, tuple[Message, Signal]] = {}
    told: set[str] = set()
    for message in catalogue.messages:
        check = _first(message, Role.CHECK)
        if check is None or (check.data_id is None and not check.data_ids):
            continue
        covered = tuple(bytes_around(check, turn) for turn in range(turns_of(check)))
        other, others = first.setdefault((check.crc, covered), (message, check))
        if other is not message and written_name(message) not in told:
            told.add(written_name(message))
            yield _same_data_ids(message, check, other, others)


def _same_data_ids(message: Message, check: Signal, other: Message, others: Signal) -> Finding:
    if check.data_ids:
        listed = ", ".join(f"0x{one:02X}" for one in check.data_ids[:_IDS_SHOWN])
        more = " ..." if len(check.data_ids) > _IDS_SHOWN else ""
        text = f"`{message.name}` has the `data_ids` [{listed}{more}] of `{other.name}`"
        fix = "give each a list of its own, or the check cannot tell one from the other"
        return advice("data-id-twice", check.place_of("data_ids"), text, fix)
    text = f"`{message.name}` has the `data_id` 0x{check.data_id:X} of `{other.name}`"
    if check.data_id != others.data_id:  # a way that leaves the byte out in which they differ
        theirs = f"of 0x{others.data_id:X} of `{other.name}`"
        text = f"the check of `{message.name}` covers the same of its `data_id` 0x{check.data_id:X} as {theirs}"
    fix = "give each a number of its own, or the check cannot tell one from the other"
    if message.family and message.family == other.family:
        fix = "list a `number` for each under `for_each`, and write `data_id: '{number}'`: " + fix
    return advice("data-id-twice", check.place_of("data_id"), text, fix)
