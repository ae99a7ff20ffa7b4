"""Controllers as they are: a FIFO, buffers that are kept, a receive FIFO that overruns, length codes above 8."""

from dataclasses import replace
from typing import Any

import pytest

from busdesign.catalogue.model import Catalogue
from busdesign.catalogue.model_controllers import Queue, Receive, Transmit
from busdesign.wire.frame import Frame, lay_out
from tests.networks import MS, fixed
from tests.virtual.small_buses import BIT_NS, Ear, bits_of, bus, data, ends, message, order, played, silent

FIFO = Transmit(Queue.FIFO, depth=8)


def fitted(catalogue: Catalogue, **controllers: Transmit | Receive) -> Catalogue:
    """``catalogue`` with the given node's transmit or receive part."""
    nodes: dict[str, Any] = dict(catalogue.nodes)
    for name, part in controllers.items():
        nodes[name] = replace(nodes[name], **{"transmit" if isinstance(part, Transmit) else "receive": part})
    return replace(catalogue, nodes=nodes)


LATE = message("late", 0x300, "a", offset_ns=0)
MIDDLE = message("middle", 0x200, "b", offset_ns=10_000)
EARLY = message("early", 0x100, "a", offset_ns=20_000)
BUSY = message("busy", 0x080, "c", length=8)  # holds the bus while the others come


def heard(catalogue: Catalogue, **more: Any) -> list[str]:
    return order(played(catalogue, 20 * MS, **more))


def test_a_fifo_sends_what_came_first_however_urgent_the_next_one_is() -> None:
    net = bus(LATE, MIDDLE, EARLY, BUSY)
    assert heard(net) == ["busy", "early", "middle", "late"]
    assert heard(fitted(net, a=FIFO)) == ["busy", "middle", "late", "early"]
    assert heard(fitted(net, a=Transmit())) == ["busy", "early", "middle", "late"]


def test_a_full_fifo_drops_the_newest_and_counts_it() -> None:
    several = [message(f"m{number}", 0x100 + number, "a", offset_ns=number) for number in range(5)]
    run = played(fitted(bus(*several, BUSY), a=Transmit(Queue.FIFO, depth=3)), 20 * MS)
    assert order(run) == ["busy", "m0", "m1", "m2"]
    assert run.transmit_overruns == {"a": 2}
    assert {name: run.unfinished[name] for name in ("m2", "m3", "m4")} == {"m2": 0, "m3": 1, "m4": 1}


def test_the_frame_on_the_wire_keeps_its_place_until_its_end() -> None:
    first, second = message("first", 0x100, "a"), message("second", 0x101, "a")
    end_ns = (bits_of(first) - 3) * BIT_NS
    for offset_ns, dropped in ((end_ns - 1, 1), (end_ns, 0)):
        net = bus(first, replace(second, offset_ns=offset_ns))
        assert played(fitted(net, a=Transmit(Queue.FIFO, depth=1)), 20 * MS).transmit_overruns == {"a": dropped}


@pytest.mark.parametrize(("buffers", "abort", "expected"), [(1, False, 2), (2, False, 0), (1, True, 0), (3, False, 0)])
def test_kept_buffers_hold_up_what_is_more_urgent(buffers: int, abort: bool, expected: int) -> None:
    """``late`` fills the only buffer, and what comes between them goes first."""
    between = [MIDDLE, replace(MIDDLE, name="too", identifier=0x201, sender="c", offset_ns=10_001)]
    net = fitted(bus(LATE, *between, EARLY, replace(BUSY, sender="b")), a=Transmit(Queue.BUFFERS, None, buffers, abort))
    found = heard(net)
    assert found[0] == "busy"
    assert found[1:].index("early") == (expected + 1 if expected else 0)


def test_of_several_buffers_the_most_urgent_is_offered() -> None:
    several = [message(f"m{number}", 0x105 - number, "a", offset_ns=number) for number in range(5)]
    run = played(fitted(bus(*several, BUSY), a=Transmit(Queue.BUFFERS, buffers=2)), 20 * MS)
    # m0 and m1 are in the buffers; whenever one is free, the most urgent of the others moves up.
    assert order(run) == ["busy", "m1", "m4", "m3", "m2", "m0"]
    assert list(run.waiting) == [5, 4, 3, 2, 1, 0]


@pytest.mark.parametrize("queue", [FIFO, Transmit(Queue.BUFFERS, buffers=1)])
def test_a_silent_node_forgets_what_waits_behind_too(queue: Transmit) -> None:
    several = [message(f"m{number}", 0x105 - number, "a", period=10 * MS) for number in range(4)]
    run = played(fitted(bus(*several, BUSY), a=queue), 15 * MS, faults=(silent("a", 100_000, 5 * MS),))
    assert sorted(order(run)) == ["busy", "m0", "m1", "m2", "m3"]
    assert [run.unfinished[each.name] for each in several] == [1, 1, 1, 1]
    assert min(int(start) for start in run.start_ns[1:]) >= 10 * MS


def test_what_still_waits_at_the_end_is_counted() -> None:
    several = [message(f"m{number}", 0x105 - number, "a") for number in range(4)]
    run = played(fitted(bus(*several), a=FIFO), 300_000)
    assert len(run.traffic) + sum(run.unfinished.values()) == sum(run.released.values()) == 4
    assert sum(run.unfinished.values()) >= 2


TO_B = [message(f"m{number}", 0x100 + number, "a", to=["b"], length=1, offset_ns=number) for number in range(5)]


def test_a_node_hears_when_it_reads_and_loses_what_found_its_fifo_full() -> None:
    ear = Ear()
    catalogue = fitted(
        bus(*TO_B, *[replace(TO_B[0], name="again", offset_ns=12 * MS, identifier=0x200)]), b=Receive(3, 10 * MS)
    )
    run = played(catalogue, 25 * MS, models={"b": ear})
    assert ear.arrivals == [(10 * MS, "m0"), (10 * MS, "m1"), (10 * MS, "m2"), (20 * MS, "again")]
    assert run.receive_overruns == {"b": 2}
    assert len(run.traffic) == 6, "the others heard them all"


def test_frames_for_others_take_no_place() -> None:
    others = [replace(each, receivers=("c",)) for each in TO_B[1:]]
    run = played(fitted(bus(TO_B[0], *others), b=Receive(1, 10 * MS)), 9 * MS)
    assert run.receive_overruns == {"b": 0}


def test_a_frame_that_ends_as_the_node_reads_is_read() -> None:
    end_ns = ends(played(bus(TO_B[0]), 9 * MS), "m0")[0]
    for read_every_ns, expected in ((end_ns, [end_ns]), (end_ns - 1, [2 * (end_ns - 1)])):
        ear = Ear()
        played(fitted(bus(TO_B[0]), b=Receive(1, read_every_ns)), 9 * MS, models={"b": ear})
        assert [at_ns for at_ns, _ in ear.arrivals] == expected


@pytest.mark.parametrize("code", range(9, 16))
def test_a_length_code_above_8_is_on_the_wire(code: int) -> None:
    payload = bytes(range(8))
    sent = replace(message("m", 0x123, "a", length=8), long_code=code)
    run = played(bus(sent), 9 * MS, payload=fixed({"m": payload}))
    assert run.wire_bits[0] == lay_out(Frame(0x123, payload, dlc=code)).length_bits
    assert data(run, "m") == [payload]
    assert run.traffic.length[0] == 8


def test_a_remote_frame_asks_with_the_length_code_of_what_it_asks_for() -> None:
    told = replace(message("told", 0x123, "b", length=8, irregular=True), long_code=12)
    ask = replace(told, name="ask", sender="a", irregular=False, requests="told", period_ns=50 * MS)
    run = played(bus(ask, told), 9 * MS)
    assert order(run) == ["ask", "told"]
    assert run.wire_bits[0] == lay_out(Frame(0x123, remote=True, dlc=12)).length_bits
    assert list(run.traffic.length) == [12, 8]
