"""What the messages of nodes without a model carry: zero, random or fixed, counters and checks filled in."""

from fractions import Fraction
from types import MappingProxyType

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from busdesign.catalogue.codec import MessageCodec
from busdesign.catalogue.model import ByteOrder, Message, Role, Signal
from busdesign.scenario.model import PayloadChoice
from tests.networks import MS
from tests.virtual.small_buses import Ear, bus, byte, data, message, played

COUNTER = Signal("counter", 8, 4, role=Role.COUNTER, modulo=16)
CHECK = Signal("check", 16, 8, role=Role.CHECK, crc="crc8-j1850")
GUARDED = message("guarded", 0x110, "a", length=3, period=MS, signals=[byte(), COUNTER, CHECK])
FREE = message("free", 0x120, "b", length=8, period=MS)


def carried(sent: Message, run_for_ns: int = 30 * MS, **choice: object) -> list[bytes]:
    return data(played(bus(sent, bit_rate=1_000_000), run_for_ns, payload=PayloadChoice(**choice)), sent.name)  # type: ignore[arg-type]


@pytest.mark.parametrize("others", ["zero", "random"])
def test_counters_and_checks_are_filled_in(others: str) -> None:
    codec = MessageCodec(GUARDED)
    sent = carried(GUARDED, others=others)
    assert [codec.decode(payload)["counter"] for payload in sent] == [number % 16 for number in range(30)]
    assert all(codec.check_holds(payload) for payload in sent)
    assert len({payload[2] for payload in sent}) > 10


def test_zero_is_zero_but_for_counter_and_check() -> None:
    assert {payload[0] for payload in carried(GUARDED, others="zero")} == {0}
    assert set(carried(FREE, others="zero")) == {bytes(8)}


@pytest.mark.parametrize(("counts", "modulo"), [(1, 15), (3, 16), (2, 15), (1, 1)])
def test_a_counter_counts_by_its_step_and_starts_anew(counts: int, modulo: int) -> None:
    counter = Signal("counter", 0, 4, role=Role.COUNTER, counts=counts, modulo=modulo)
    sent = carried(message("m", 0x1, "a", period=MS, signals=[counter]), 40 * MS, others="random")
    assert [payload[0] for payload in sent] == [number * counts % modulo for number in range(40)]


def test_random_bytes_of_a_message_without_signals() -> None:
    sent = carried(FREE, 400 * MS, others="random")
    assert len(set(sent)) == 400
    for place in range(8):
        values = [payload[place] for payload in sent]
        assert min(values) < 16
        assert max(values) >= 240


def test_random_data_of_an_empty_message_is_empty() -> None:
    assert set(carried(message("m", 0x1, "a", length=0, period=MS), others="random")) == {b""}


def test_fixed_bytes_are_sent_as_given_nothing_filled_in() -> None:
    assert set(carried(GUARDED, fixed={"guarded": b"\x01\xff\xee"})) == {b"\x01\xff\xee"}


def test_fixed_for_one_message_and_a_filling_for_the_rest() -> None:
    for others, different in (("zero", 1), ("random", 20)):
        choice = PayloadChoice(others, {"free": b"12345678"})  # type: ignore[arg-type]
        other = message("other", 0x130, "b", length=8, period=MS)
        run = played(bus(FREE, other, bit_rate=1_000_000), 20 * MS, payload=choice)
        assert set(data(run, "free")) == {b"12345678"}
        assert len(set(data(run, "other"))) == different


def test_unused_bits_are_zero() -> None:
    sent = carried(message("m", 0x1, "a", length=4, period=MS, signals=[Signal("value", 9, 6)]), others="random")
    assert {int.from_bytes(payload, "little") & ~(0x3F << 9) for payload in sent} == {0}
    assert len(set(sent)) > 5


@pytest.mark.parametrize("signed", [False, True])
@pytest.mark.parametrize("byte_order", list(ByteOrder))
def test_a_signal_of_all_sixty_four_bits(signed: bool, byte_order: ByteOrder) -> None:
    start_bit = 0 if byte_order is ByteOrder.LITTLE else 7
    whole = Signal("whole", start_bit, 64, byte_order, signed)
    sent = carried(message("m", 0x1, "a", length=8, period=MS, signals=[whole]), 200 * MS, others="random")
    raws = [int.from_bytes(payload, byte_order.value, signed=signed) for payload in sent]
    assert len(set(raws)) == 200
    assert min(raws) < whole.raw_min + 2**61
    assert max(raws) > whole.raw_max - 2**61


@st.composite
def guarded_messages(draw: st.DrawFn) -> Message:
    """A few signals side by side, each with codes, a declared range, or all that its bits can hold."""
    signals: list[Signal] = []
    first_bit = 0
    while first_bit < 56 and len(signals) < 6:
        length = draw(st.integers(1, min(30, 64 - first_bit)))
        signals.append(draw(fields(f"s{len(signals)}", first_bit, length)))
        first_bit += length + draw(st.integers(0, 3))
    return message("m", 0x1, "a", length=8, period=MS // 2, signals=signals)


@st.composite
def fields(draw: st.DrawFn, name: str, start_bit: int, length: int) -> Signal:
    signed = draw(st.booleans())
    plain = Signal(name, start_bit, length, signed=signed)
    ends = st.lists(st.integers(plain.raw_min, plain.raw_max), min_size=2, max_size=2).map(sorted)
    kind = draw(st.sampled_from(["codes", "range", "bits"]))
    if kind == "codes":
        raws = draw(st.sets(st.integers(plain.raw_min, plain.raw_max), min_size=1, max_size=4))
        return Signal(name, start_bit, length, signed=signed, codes=MappingProxyType({raw: f"c{raw}" for raw in raws}))
    if kind == "bits":
        return plain
    factor, offset = draw(st.sampled_from([1.0, 0.5, 0.1, -0.25, 3.0])), draw(st.sampled_from([0.0, -40.0, 12.5]))
    low, high = sorted(raw * Fraction(str(factor)) + Fraction(str(offset)) for raw in draw(ends))
    return Signal(
        name,
        start_bit,
        length,
        signed=signed,
        factor=factor,
        offset=offset,
        minimum=float(low),
        maximum=float(high),
    )


@given(sent=guarded_messages(), seed=st.integers(0, 2**32))
@settings(max_examples=40)
def test_random_values_are_declared_ones(sent: Message, seed: int) -> None:
    run = played(bus(sent, bit_rate=1_000_000), 10 * MS, payload=PayloadChoice("random"), seed=seed)
    codec = MessageCodec(sent)
    assert len(run.traffic) == 20
    for payload in data(run, "m"):
        for signal, raw in zip(sent.signals, codec.unpack(int.from_bytes(payload, "little")), strict=True):
            assert is_declared(signal, raw)


def is_declared(signal: Signal, raw: int) -> bool:
    if signal.codes:
        return raw in signal.codes
    if signal.minimum is None or signal.maximum is None:
        return signal.raw_min <= raw <= signal.raw_max
    value = raw * Fraction(str(signal.factor)) + Fraction(str(signal.offset))
    return Fraction(str(signal.minimum)) <= value <= Fraction(str(signal.maximum))


def test_random_values_reach_both_ends_of_a_declared_range() -> None:
    narrow = Signal("narrow", 0, 8, signed=True, factor=0.5, minimum=-2.0, maximum=1.5)
    sent = carried(message("m", 0x1, "a", period=MS, signals=[narrow]), 300 * MS, others="random")
    raws = {int.from_bytes(payload, "little", signed=True) for payload in sent}
    assert raws == set(range(-4, 4))


def test_every_code_comes_and_no_other() -> None:
    coded = byte(codes=MappingProxyType({0: "off", 7: "on", 255: "broken"}))
    sent = carried(message("m", 0x1, "a", period=MS, signals=[coded]), 100 * MS, others="random")
    assert {payload[0] for payload in sent} == {0, 7, 255}


def test_a_receiver_hears_what_the_filling_says() -> None:
    ear = Ear()
    heard = message("m", 0x1, "a", period=MS, to=["c"], signals=[byte(codes=MappingProxyType({0: "off", 7: "on"}))])
    run = played(bus(heard), 30 * MS, {"c": ear}, payload=PayloadChoice("random"))
    words = {0: "off", 7: "on"}
    assert [values["value"] for values in ear.contents] == [words[payload[0]] for payload in data(run, "m")]
