"""Random catalogues with everything a catalogue can say, built as objects; what exists is valid."""

from dataclasses import replace
from fractions import Fraction
from types import MappingProxyType
from typing import Any

from hypothesis import strategies as st

from busdesign.catalogue.checksums import CHECKSUMS
from busdesign.catalogue.data_ids import WAYS
from busdesign.catalogue.model import (
    Acceptance,
    Bus,
    ByteOrder,
    Catalogue,
    Function,
    Message,
    Node,
    Role,
    Signal,
)
from busdesign.catalogue.model_controllers import Queue, Receive, Transmit
from busdesign.catalogue.model_errors import ErrorModel
from busdesign.catalogue.model_wires import Cable, Harness, Stub, Supply, Timing
from busdesign.catalogue.packing import Slot, lay
from busdesign.wire.bit_timing import GENERIC_LIMITS, Limits, Segments, Setting
from busdesign.wire.harness import Termination, Transceiver
from busdesign.wire.supply import Wire

NS = st.sampled_from([1, 7, 1_000, 2_500_000, 10_000_000, 33_333_333, 1_000_000_000])
# Letters that DBC has, and among them what YAML would read as something else.
TEXTS = st.one_of(
    st.sampled_from(["", "", "no", "1:30", "0x10", "a: b", "- x", "# not a comment", "it's", "50 %", "µs °C", "~"]),
    st.text(st.characters(codec="cp1252", exclude_categories=("Cc", "Cs"), exclude_characters="\\"), max_size=12),
)
WORDS = ["off", "on", "no", "stay", "up", "down", "fault", "null", "true"]
FACTORS = [(1.0, 0.0), (0.1, 0.0), (-0.25, 12.5), (1e-3, -40.0), (2.0, -100.0)]
PAGES = 4
QUEUES = st.sampled_from(
    [
        None,
        Transmit(),
        Transmit(Queue.FIFO),
        Transmit(Queue.FIFO, depth=8),
        Transmit(Queue.BUFFERS, buffers=3),
        Transmit(Queue.BUFFERS, buffers=2, abort=True),
    ]
)
ERRORS = st.sampled_from(
    [
        None,
        ErrorModel(10_000_000),
        ErrorModel(33_333_333, burst=3, lasting_ns=500_000),
        ErrorModel(rate_per_s=Fraction(30)),
        ErrorModel(rate_per_s=Fraction(7, 60), late_at_most=Fraction(1, 10**9)),
        ErrorModel(rate_per_s=Fraction(1, 3600)),
    ]
)


def codes_of(draw: st.DrawFn, bits: int) -> dict[int, str]:
    """Up to four codes that fit ``bits``."""
    raws = draw(st.lists(st.integers(0, min(15, (1 << bits) - 1)), min_size=1, max_size=4, unique=True))
    words = draw(st.permutations(WORDS))
    return dict(zip(raws, words, strict=False))


def _value(draw: st.DrawFn, name: str, bits: int) -> dict[str, Any]:
    kind = draw(st.sampled_from(["plain", "plain", "codes", "range", "both", "float", "constant", "reserved"]))
    if kind == "float" and bits in (32, 64):
        limits = draw(st.sampled_from([(None, None), (-1.0, 1.0), (0.0, 1e30)]))
        return {"is_float": True, "minimum": limits[0], "maximum": limits[1], "unit": draw(TEXTS)}
    if kind == "constant":
        return {"role": Role.CONSTANT, "constant": draw(st.integers(0, (1 << bits) - 1))}
    if kind == "reserved":
        return {"role": Role.RESERVED}
    if kind == "codes":
        return {"codes": MappingProxyType(codes_of(draw, bits)), "comment": draw(TEXTS)}
    factor, offset = draw(st.sampled_from(FACTORS))
    said: dict[str, Any] = {"signed": draw(st.booleans()), "factor": factor, "offset": offset, "unit": draw(TEXTS)}
    if kind in ("range", "both") and bits > 3 and not said["signed"]:
        top = (1 << min(bits, 40)) - 3
        ends = sorted((round(offset, 6), round(top * factor + offset, 6)))
        said |= {"minimum": ends[0], "maximum": ends[1]}
        if kind == "both":
            last = (1 << bits) - 1
            said |= {"codes": MappingProxyType({last: "unknown"}), "unknown_raw": last, "safe": ends[0]}
    return said


def _data_ids(draw: st.DrawFn, turns: int) -> dict[str, Any]:
    """Those of a check beside a counter of so many ``turns``, 0 for none."""
    ways = [way for way in WAYS if turns or way != "alternate"]
    said = [{}, *({"data_id": 0x123, "data_id_as": way} for way in ways), {"data_ids": tuple(range(7, 7 + turns))}]
    return draw(st.sampled_from(said if turns else said[:-1]))


@st.composite
def signals_of(draw: st.DrawFn) -> tuple[Signal, ...]:
    """Signals of one message, packed; perhaps with pages, a counter and a check."""
    wanted: list[tuple[str, int, dict[str, Any], tuple[tuple[str, frozenset[int]], ...]]] = []
    has_pages = draw(st.booleans())
    if has_pages:
        wanted.append(("page", 3, {"codes": MappingProxyType({raw: f"p{raw}" for raw in range(PAGES)})}, ()))
    for number in range(draw(st.integers(0, 4))):
        bits = draw(st.sampled_from([1, 2, 4, 7, 8, 12, 16, 32, 64]))
        said = _value(draw, f"s{number}", bits)
        pages: tuple[tuple[str, frozenset[int]], ...] = ()
        if has_pages and draw(st.booleans()):
            raws = frozenset(draw(st.lists(st.integers(0, PAGES - 1), min_size=1, max_size=2, unique=True)))
            said |= {"selector": "page", "selected_by": tuple(sorted(raws))}
            pages = (("page", raws),)
        wanted.append((f"s{number}", bits, said, pages))
    if draw(st.booleans()):
        wanted.append(
            ("counter", 4, {"role": Role.COUNTER, "counts": 1, "modulo": draw(st.sampled_from([15, 16]))}, ())
        )
    if draw(st.booleans()):
        crc = draw(st.sampled_from(sorted(CHECKSUMS)))
        turns = next((said["modulo"] for name, _, said, _ in wanted if name == "counter"), 0)
        said = {"role": Role.CHECK, "crc": crc, **_data_ids(draw, turns)}
        wanted.append(("check", CHECKSUMS[crc].width, said, ()))
    orders = {name: draw(st.sampled_from(list(ByteOrder))) for name, *_ in wanted}
    slots = [
        Slot(name, bits, orders[name], None, said.get("role") is Role.CHECK, pages)
        for name, bits, said, pages in wanted
    ]
    starts = lay(slots, 8).start_bits
    return tuple(
        Signal(name, starts[name], bits, orders[name], **said) for name, bits, said, _ in wanted if name in starts
    )


@st.composite
def messages_of(draw: st.DrawFn, name: str, identifier: int, senders: list[str]) -> Message:
    """One message with its timing."""
    period_ns = draw(NS)
    irregular = draw(st.booleans())
    extended = draw(st.booleans())
    sender = draw(st.sampled_from(senders))
    return Message(
        name=name,
        identifier=identifier << 12 if extended else identifier,
        extended=extended,
        length_bytes=8,
        sender=sender,
        receivers=tuple(node for node in senders if node != sender and draw(st.booleans())),
        signals=draw(signals_of()),
        period_ns=period_ns,
        irregular=irregular,
        deadline_ns=draw(st.sampled_from([period_ns, 3 * period_ns, 1])),
        offset_ns=0 if irregular else draw(st.sampled_from([0, 1, 3_000_000])),
        jitter_ns=draw(st.sampled_from([0, 1, 500_000])),
        lost_after_ns=draw(st.sampled_from([None, 4 * period_ns])),
        moves=draw(st.booleans()),
        accept=draw(st.sampled_from([None, Acceptance((2, 3), False, True, True, True)])),
        tags=draw(st.sampled_from([(), ("maintenance", "no")])),
        long_code=draw(st.sampled_from([None, None, 9, 15])),
        comment=draw(TEXTS),
    )


def tenths(least: int, most: int) -> st.SearchStrategy[Fraction]:
    """Fractions with one decimal from ``least`` to ``most`` tenths."""
    return st.builds(Fraction, st.integers(least, most), st.just(10))


@st.composite
def harnesses_of(draw: st.DrawFn, nodes: list[str]) -> Harness:
    """No wires, the short form, or the long one with any of its keys."""
    form = draw(st.sampled_from(["none", "short", "long", "long"]))
    if form == "none":
        return Harness()
    if form == "short":
        return Harness(Fraction(9), draw(st.sampled_from([None, Fraction(1, 4)])), Fraction(120))
    trunk_m = draw(tenths(10, 5000))
    along, stub = tenths(0, int(trunk_m * 10)), tenths(0, min(int(trunk_m * 10), 50))
    cable = draw(
        st.sampled_from(
            [
                None,
                Cable(),
                Cable(Fraction(11, 2), Fraction(7, 100), None, None, Fraction(120)),
                Cable(Fraction(5), None, Fraction(1, 4), Fraction(-40)),
            ]
        )
    )
    terminations = st.lists(st.builds(Termination, along, st.integers(60, 240), st.just(Fraction(1, 100))), max_size=3)
    return Harness(
        trunk_m,
        cable=cable,
        stubs=tuple(Stub(draw(along), draw(stub), node) for node in nodes),
        terminations=draw(st.one_of(st.none(), terminations.map(tuple))),
    )


OWN = Limits("own", (1, 64), (2, 16), (2, 8), 4, (8, 25), (1, 8), (1, 8), prescaler_step=1, information_processing=2)
# A setting that makes each rate from 16 MHz as nearly as the clock can, at a sample point of 87.5 %.
TIMINGS = {250_000: Timing(4, Segments(11, 2, 2, 2)), 10**6: Timing(1, Segments(11, 2, 2, 1))}


@st.composite
def nodes_of(draw: st.DrawFn, name: str, bit_rate: Fraction, is_supplied: bool) -> Node:
    """A node with any of its keys."""
    clock_hz = draw(st.sampled_from([None, Fraction(16_000_000)]))
    controller = draw(st.sampled_from([None, *GENERIC_LIMITS.values(), OWN]))
    timing = TIMINGS.get(int(bit_rate)) if clock_hz and draw(st.booleans()) else None
    if timing is not None and controller is not None and not controller.allow(Setting(16_000_000, *parts(timing))):
        controller = None
    transceiver = draw(
        st.one_of(st.none(), st.builds(Transceiver, st.integers(0, 300), tenths(0, 200), st.integers(5_000, 10**5)))
    )
    power = Wire(draw(tenths(0, 90)), draw(tenths(1, 25)), draw(st.sampled_from([20, 70])), Fraction(1, 100))
    ground = draw(st.sampled_from([power, replace(power, length_m=Fraction(1, 2))]))
    return Node(
        name,
        clock_hz,
        draw(st.sampled_from([Fraction(0), Fraction(50, 10**6), Fraction(3, 1000)])),
        draw(st.sampled_from([0, 2_000_000])),
        draw(TEXTS),
        controller=controller,
        timing=timing,
        transceiver=transceiver,
        common_mode_v=draw(st.sampled_from([None, (Fraction(-12), Fraction(12))])) if transceiver else None,
        supply=Supply(power, ground, draw(tenths(1, 90)), Fraction(9), draw(tenths(0, 1))) if is_supplied else None,
        transmit=draw(QUEUES),
        receive=draw(st.sampled_from([None, Receive(1, 1_500_000), Receive(64, 1_000_000_000)])),
    )


def parts(timing: Timing) -> tuple[int, Segments]:
    """For a `Setting`."""
    return timing.prescaler, timing.segments


@st.composite
def catalogues(draw: st.DrawFn) -> Catalogue:
    """One to four messages of two or three nodes, and perhaps a remote request for one of them."""
    senders = ["panel", "strut", "air"][: draw(st.integers(2, 3))]
    identifiers = draw(st.lists(st.integers(0, 0x7FF), min_size=1, max_size=4, unique=True))
    messages = [draw(messages_of(f"m{number}", identifier, senders)) for number, identifier in enumerate(identifiers)]
    asked = next((message for message in messages if message.irregular), None)
    if asked is not None and draw(st.booleans()):
        asker = next(node for node in senders if node != asked.sender)
        messages.append(
            replace(
                asked,
                name="ask",
                requests=asked.name,
                sender=asker,
                receivers=(asked.sender,),
                signals=(),
                irregular=False,
                accept=None,
            )
        )
    harness = draw(harnesses_of(senders))
    supply_v = draw(st.sampled_from([None, Fraction(12), Fraction(275, 10)]))
    bit_rate = draw(st.sampled_from([Fraction(250_000), Fraction(83_333), Fraction(10**6)]))
    nodes = {name: draw(nodes_of(name, bit_rate, supply_v is not None)) for name in senders}
    limit = draw(st.sampled_from([None, Fraction(3, 5)]))
    codes = {"lamp": MappingProxyType(codes_of(draw, 4))} if draw(st.booleans()) else {}
    path, limits = ("panel.switch", "m0", "strut.drive"), st.one_of(st.none(), NS)
    functions = (Function("f", path, draw(NS), draw(limits), draw(limits)),) if draw(st.booleans()) else ()
    return Catalogue(
        name=draw(TEXTS.filter(lambda text: text and not text.endswith('"'))),
        revision=draw(st.integers(0, 10**6)),
        bus=Bus(bit_rate, Fraction(7, 8), limit, harness, supply_v, draw(ERRORS)),
        nodes=MappingProxyType(nodes),
        messages=tuple(messages),
        codes=MappingProxyType(codes),
        functions=functions,
        comment=draw(TEXTS),
    )
