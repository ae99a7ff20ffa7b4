"""Whether what a fault says can be on this bus: bits within the frame, places on the trunk, identifiers, rates.

Each complaint names the allowed range.
"""

from collections.abc import Callable, Mapping
from fractions import Fraction
from types import MappingProxyType

from busdesign.catalogue.model import Catalogue, Message
from busdesign.catalogue.source import Trail
from busdesign.catalogue.wires import harness_of
from busdesign.findings import did_you_mean
from busdesign.scenario.draft_faults import FaultWritten
from busdesign.scenario.sections import Sections
from busdesign.units import format_bit_rate, format_duration
from busdesign.wire.frame import Frame, lay_out
from busdesign.wire.harness import Harness
from busdesign.wire.lengths import longest_published_bits

TIME_OUT_BITS = 11  # five dominant bits, then a flag upon a flag: common practice, no source
MOST_BURSTS = 1000
_STUFFED_ONE_IN = 4  # at the most one bit more for each four, the first of them behind four equal ones before the field


def check_fit(trail: Trail, written: FaultWritten, sections: Sections) -> None:
    """Complain of whatever in ``written`` the catalogue has no room for; its keys fit its kind."""
    catalogue = sections.catalogue
    check = _CHECKS.get(written.kind)
    if catalogue is not None and check is not None:
        check(_Entry(trail, written, sections, catalogue))


class _Entry:
    """One entry with what it is held against."""

    def __init__(self, trail: Trail, written: FaultWritten, sections: Sections, catalogue: Catalogue) -> None:
        self.trail, self.written, self.sections, self.catalogue = trail, written, sections, catalogue

    @property
    def message(self) -> Message | None:
        """The message that it names, if there is one."""
        return next((one for one in self.catalogue.messages if one.name == self.written.message), None)

    def reject(self, key: str, text: str, fix: str) -> None:
        """What stands behind ``key`` cannot be on this bus."""
        self.sections.complain("wrong-value", self.sections.source.of_value((*self.trail, key)), text, fix)


def _bit(entry: _Entry) -> None:
    message, written = entry.message, entry.written
    if message is None or written.bit is None:
        return
    count, of = most_bits(message), f"a frame of `{message.name}`"
    if written.field is not None:
        lengths = field_lengths(message)
        if written.field not in lengths:
            text = f"{of} has no field `{written.field}`"
            entry.reject("field", text, did_you_mean(written.field, lengths, most=len(lengths)))
            return
        count, of = lengths[written.field], f"the field `{written.field}` of {of}"
    if written.bit >= count:
        text = f"{of} has {count} bits at the most, so there is no bit {written.bit}"
        entry.reject("bit", text, f"allowed: 0 to {count - 1}")


def most_bits(message: Message) -> int:
    """From start of frame to the last bit of intermission, with as many stuff bits as any payload can bring."""
    return longest_published_bits(message.data_bytes, extended=message.extended)


def field_lengths(message: Message) -> dict[str, int]:
    """The fields of the message's frames, each with the most bits that it can have on the pair."""
    identifier = message.identifier or 0
    plain = Frame(identifier, bytes(message.data_bytes), message.extended, message.is_remote, message.length_code)
    lengths: dict[str, int] = {}
    for laid in lay_out(plain).fields:
        bits = _UNSTUFFED.get(laid.name, len(laid.bits))
        if laid.name == "data":
            bits = 8 * message.data_bytes
        is_stuffed = laid.name not in _FIXED
        lengths[laid.name] = bits + (-(-bits // _STUFFED_ONE_IN) if is_stuffed else 0)
    return lengths


_FIXED = (
    "start of frame", "crc delimiter", "acknowledge slot", "acknowledge delimiter", "end of frame", "intermission",
)  # fmt: skip
_UNSTUFFED: Mapping[str, int] = MappingProxyType(
    {"identifier": 11, "base identifier": 11, "extended identifier": 18, "length code": 4, "crc": 15}
)


def _payload_bit(entry: _Entry) -> None:
    message, bit = _with_data(entry), entry.written.payload_bit
    if message is not None and bit is not None and bit >= 8 * message.data_bytes:
        text = f"`{message.name}` has {message.data_bytes} bytes, so there is no payload bit {bit}"
        entry.reject("payload_bit", text, f"allowed: 0 to {8 * message.data_bytes - 1}")


def _with_data(entry: _Entry) -> Message | None:
    message = entry.message
    if message is not None and not message.data_bytes:
        text = f"`{message.name}` carries no data, so nothing in it can be wrong"
        entry.reject("message", text, "name a message with a payload")
        return None
    return message


def _periodic(entry: _Entry) -> None:
    message = entry.message
    if message is not None and message.irregular:
        text = f"`{message.name}` is irregular: no release of it is known before"
        periodic = [one.name for one in entry.catalogue.messages if not one.irregular]
        entry.reject("message", text, did_you_mean("", periodic) or "name a periodic message")


def _stale(entry: _Entry) -> None:
    _with_data(entry)


def _releases(entry: _Entry) -> None:
    """Of one message, or of all of a node."""
    written = entry.written
    if (written.node is None) == (written.message is None):
        where = entry.sections.source.of_value((*entry.trail, "kind"))
        text = f"a fault of kind `{written.kind}` needs either `node` or `message`"
        fix = "add `node: strut_left` or `message: leg_demand`" if written.node is None else "leave one of them out"
        entry.sections.complain("missing-key" if written.node is None else "wrong-value", where, text, fix)
    _periodic(entry)


def _identifier(entry: _Entry) -> None:
    written = entry.written
    if written.id is not None and written.id > 0x7FF and not written.extended:
        text = f"`0x{written.id:X}` is above 0x7FF"
        entry.reject("id", text, "allowed: 0x000 to 0x7FF, or up to 0x1FFFFFFF with `extended: true`")
    period = written.every
    least_ns = 50 * entry.catalogue.bus.bit_ns
    if period is not None and period * 10 < least_ns:
        text = f"every {format_duration(period)} is far more than the bus can carry"
        entry.reject("every", text, f"allowed: {format_duration(-(-least_ns // 10))} or longer")


def _duplicate(entry: _Entry) -> None:
    message = entry.message
    if message is not None and message.sender == entry.written.node:
        others = [name for name in entry.catalogue.nodes if name != message.sender]
        text = f"`{message.name}` is `{entry.written.node}`'s own message"
        entry.reject("node", text, did_you_mean("", others))


def _bursts(entry: _Entry) -> None:
    written, run_for_ns = entry.written, entry.sections.run_for_ns
    if written.every is None or written.lasts is None or run_for_ns is None:
        return
    if written.every <= written.lasts:
        text = f"bursts of {format_duration(written.lasts)} cannot come every {format_duration(written.every)}"
        entry.reject("every", text, f"allowed: longer than {format_duration(written.lasts)}")
    lasts_ns = (run_for_ns if written.until is None else written.until) - written.at
    if lasts_ns > MOST_BURSTS * written.every:
        text = f"more than {MOST_BURSTS} bursts in {format_duration(lasts_ns)}"
        entry.reject("every", text, f"allowed: {format_duration(-(-lasts_ns // MOST_BURSTS))} or longer")


def _time_out(entry: _Entry) -> None:
    time_out, bus = entry.written.time_out, entry.catalogue.bus
    if time_out is not None and time_out < TIME_OUT_BITS * bus.bit_ns:
        slowest = Fraction(TIME_OUT_BITS * 10**9, time_out)
        text = f"a time-out of {format_duration(time_out)} cuts good frames below {format_bit_rate(slowest)}"
        least = format_duration(-(-TIME_OUT_BITS * bus.bit_ns // 1))
        entry.reject("time_out", text, f"allowed: {least} or longer, {TIME_OUT_BITS} bits of this bus")


def _other_rate(entry: _Entry) -> None:
    rate = entry.catalogue.bus.bit_rate_bit_s
    if entry.written.bit_rate == rate:
        text = f"{format_bit_rate(rate)} is the bit rate of the bus, and no fault"
        entry.reject("bit_rate", text, f"allowed: any other up to {format_bit_rate(10**6)}")


def _harness(entry: _Entry) -> Harness | None:
    """The harness; complains if the catalogue has none."""
    found = harness_of(entry.catalogue)
    if found is None:
        text = f"a fault of kind `{entry.written.kind}` needs the wires, and the catalogue gives no trunk"
        entry.reject("kind", text, "add `harness: {trunk: 9 m}` under `bus` of the catalogue")
        return None
    return found[0]


def _on_trunk(entry: _Entry, harness: Harness) -> None:
    position = entry.written.position
    if position is not None and position > harness.trunk_m:
        text = f"the trunk ends at {float(harness.trunk_m):g} m"
        entry.reject("position", text, f"allowed: 0 m to {float(harness.trunk_m):g} m")


def _break(entry: _Entry) -> None:
    written, harness = entry.written, _harness(entry)
    given = [key for key in ("position", "between", "node") if getattr(written, key) is not None]
    if len(given) != 1:
        where = entry.sections.source.of_value((*entry.trail, "kind"))
        text = f"a fault of kind `{written.kind}` needs one of `position`, `between` and `node`"
        entry.sections.complain("missing-key" if not given else "wrong-value", where, text, "add `position: 5 m`")
    if harness is None:
        return
    _on_trunk(entry, harness)
    at_m = {tap.node: Fraction(tap.at_m) for tap in harness.taps}
    if written.between and all(name in at_m for name in written.between):
        low, high = sorted(written.between, key=lambda name: at_m[name])
        inner = [name for name, place in at_m.items() if at_m[low] < place < at_m[high]]
        if at_m[low] == at_m[high] or inner:
            order = ", ".join(f"`{name}`" for name in sorted(at_m, key=lambda name: at_m[name]))
            text = f"`{low}` and `{high}` are no neighbours on the trunk"
            entry.reject("between", text, f"along the trunk there are {order}")
    for name in [written.node, *(written.between or ())]:
        if name is not None and name in entry.catalogue.nodes and name not in at_m:
            entry.reject("node" if written.node else "between", f"`{name}` is not on the harness", "add a stub for it")


def _short(entry: _Entry) -> None:
    if entry.written.ohm:
        harness = _harness(entry)
        if harness is not None:
            _on_trunk(entry, harness)


def _load(entry: _Entry) -> None:
    if entry.written.ohm is not None:
        _harness(entry)
    if entry.written.ohm is not None and entry.written.ohm < 1:
        entry.reject("ohm", "less than 1 ohm is a short, and no load", "allowed: 1 ohm to 1000 kohm")


def _termination(entry: _Entry) -> None:
    harness = _harness(entry)
    if harness is None:
        return
    places = sorted({Fraction(each.at_m) for each in harness.terminations})
    if entry.written.position not in places:
        told = ", ".join(f"{float(place):g} m" for place in places) or "there is none"
        text = f"there is no termination at {float(entry.written.position or 0):g} m"
        entry.reject("position", text, f"allowed: {told}")


_CHECKS: Mapping[str, Callable[[_Entry], None]] = MappingProxyType(
    {
        "flipped_bit": _bit,
        "burst": _bursts,
        "babbling": _identifier,
        "stuck_dominant": _time_out,
        "wrong_bit_rate": _other_rate,
        "wires_open": _break,
        "one_wire_open": _break,
        "pair_shorted": _short,
        "ground_lost": _load,
        "dead_unit": _load,
        "termination_missing": _termination,
        "late": _releases,
        "jittering": _releases,
        "duplicate_identifier": _duplicate,
        "corrupted": _payload_bit,
        "repeated": _periodic,
        "lost": _periodic,
        "swapped": _periodic,
        "stale": _stale,
    }
)
