"""Controllers as they are: no run exceeds the bound of its controllers, and one does if the analysis is told others."""

from collections.abc import Mapping
from dataclasses import replace
from fractions import Fraction
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from busdesign.analysis.frame_lengths import longest_frames, shortest_frame_bits
from busdesign.analysis.receiving import most_between_reads
from busdesign.analysis.response import Bound, response_bounds
from busdesign.analysis.streams import on_the_bus, worst_cases
from busdesign.catalogue.model import Catalogue, Message
from busdesign.catalogue.model_controllers import Queue, Receive, Transmit
from busdesign.virtual.run import Run
from busdesign.wire.frame import Frame
from busdesign.wire.longest import longest_frame
from busdesign.wire.payload_sets import any_payload
from tests.networks import MS, catalogue_of, catalogues, fixed, message_of, run_of

QUICKLY = settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.too_slow])
RUN_NS = 100 * MS
WAYS = st.fixed_dictionaries(
    {
        "phases": st.sampled_from(["declared", "random", "aligned"]),
        "jitter": st.sampled_from(["none", "random", "worst"]),
        "drift": st.sampled_from(["none", "random", "worst"]),
        "seed": st.integers(0, 2**32),
    }
)
DEPTHS = st.sampled_from([1, 2, 4, 9, 30, 200])
FIFOS = st.builds(Transmit, st.just(Queue.FIFO), depth=DEPTHS)
KEPT = st.builds(Transmit, st.just(Queue.BUFFERS), buffers=st.integers(1, 4))
ABORTED = st.builds(Transmit, st.just(Queue.BUFFERS), buffers=st.integers(1, 4), abort=st.just(True))
PRIORITY = st.sampled_from([None, Transmit()])
KINDS: Mapping[str, st.SearchStrategy[Any]] = {
    "fifo": FIFOS,
    "kept buffers": KEPT,
    "aborted buffers": ABORTED,
    "a mix": st.one_of(FIFOS, KEPT, ABORTED, PRIORITY),
}


@st.composite
def networks(draw: st.DrawFn, transmits: st.SearchStrategy[Transmit | None]) -> Catalogue:
    """Random messages, some with a length code above 8, some asked for by a remote frame; controllers as drawn."""
    drawn = draw(catalogues())
    nodes = {name: replace(node, transmit=draw(transmits)) for name, node in drawn.nodes.items()}
    messages = [
        replace(message, long_code=draw(st.sampled_from([None, 9, 12, 15])) if message.length_bytes == 8 else None)
        for message in drawn.messages
    ]
    if draw(st.booleans()):
        period_ns = draw(st.sampled_from([10, 20, 50])) * MS
        asked, asker = messages[0], draw(st.sampled_from(sorted(nodes)))
        # An answer is released as its request ends: so much earlier or later than the request's own period.
        messages[0] = replace(asked, irregular=True, offset_ns=0, jitter_ns=0, period_ns=period_ns // 2)
        request = replace(messages[0], name="ask", sender=asker, requests=asked.name, irregular=False)
        messages.append(replace(request, period_ns=period_ns, deadline_ns=period_ns))
    return replace(drawn, nodes=nodes, messages=tuple(messages))


def responses(run: Run, name: str) -> NDArray[np.int64]:
    index = [message.name for message in run.catalogue.messages].index(name)
    found: NDArray[np.int64] = run.response_ns[run.message_index == index]
    return found


def bound_ns(catalogue: Catalogue, name: str) -> int:
    found = worst_cases(catalogue, longest_frames(catalogue)).cases[name].response_ns
    assert found is not None
    return found


def asked_too_often(catalogue: Catalogue, request: Message, response_ns: int | None) -> bool:
    """Whether two answers may come closer to each other than the answer declares."""
    answer = catalogue.message(request.requests)
    fastest = 1 + catalogue.nodes[request.sender].tolerance
    return response_ns is None or answer.period_ns > request.period_ns / fastest - response_ns


@pytest.mark.parametrize("kind", KINDS)
@given(data=st.data(), way=WAYS)
@QUICKLY
def test_no_response_is_longer_than_the_bound_of_its_controller(
    kind: str, data: st.DataObject, way: Mapping[str, Any]
) -> None:
    catalogue = data.draw(networks(KINDS[kind]))
    cases = worst_cases(catalogue, longest_frames(catalogue)).cases
    for message in catalogue.messages:
        if message.requests and asked_too_often(catalogue, message, cases[message.name].response_ns):
            return
    run = run_of(catalogue, RUN_NS, **way)
    for message in catalogue.messages:
        bound = cases[message.name].response_ns
        found = responses(run, message.name)
        if bound is None:
            assert cases[message.name].why_not
            continue
        if len(found):
            assert found.max() <= bound
        assert run.transmit_overruns.get(message.sender, 0) == 0, "what has a bound is not dropped"


@given(data=st.data(), way=WAYS)
@QUICKLY
def test_every_release_is_sent_or_waits_or_was_dropped(data: st.DataObject, way: Mapping[str, Any]) -> None:
    catalogue = data.draw(networks(KINDS["a mix"]))
    run = run_of(catalogue, RUN_NS, **way)
    for index, message in enumerate(catalogue.messages):
        sent = int((run.message_index == index).sum())
        assert sent + run.unfinished[message.name] == run.released[message.name]
    for name, dropped in run.transmit_overruns.items():
        assert dropped <= sum(run.unfinished[message.name] for message in catalogue.sent_by(name))


@given(data=st.data(), way=WAYS)
@QUICKLY
def test_a_fifo_sends_in_order_and_an_aborted_buffer_as_a_priority_queue(
    data: st.DataObject, way: Mapping[str, Any]
) -> None:
    catalogue = data.draw(networks(FIFOS))
    run = run_of(catalogue, RUN_NS, **way)
    senders = np.array([message.sender for message in catalogue.messages])[run.message_index]
    for name in catalogue.nodes:
        ready = run.ready_ns[senders == name]
        assert (np.diff(ready) >= 0).all()
    two = Transmit(Queue.BUFFERS, buffers=2, abort=True)
    aborted = {name: replace(node, transmit=two) for name, node in catalogue.nodes.items()}
    plain = {name: replace(node, transmit=None) for name, node in catalogue.nodes.items()}
    runs = [run_of(replace(catalogue, nodes=nodes), RUN_NS, **way) for nodes in (aborted, plain)]
    assert runs[0].traffic.equal(runs[1].traffic)


@given(catalogue=catalogues(), way=WAYS, read_every_ms=st.sampled_from([1, 3, 10, 40]), short=st.integers(0, 2))
@QUICKLY
def test_a_receive_fifo_as_deep_as_the_bound_says_never_overruns(
    catalogue: Catalogue, way: Mapping[str, Any], read_every_ms: int, short: int
) -> None:
    names = sorted(catalogue.nodes)
    messages = tuple(
        replace(message, receivers=tuple(name for name in names if name != message.sender))
        for message in catalogue.messages
    )
    heard = replace(catalogue, messages=messages)
    cases = worst_cases(heard, longest_frames(heard)).cases
    asking = {name: replace(node, receive=Receive(1, read_every_ms * MS)) for name, node in heard.nodes.items()}
    most = {name: most_between_reads(heard, node, cases) for name, node in asking.items()}
    nodes = {
        name: replace(node, receive=Receive(max(most[name] - short, 1), read_every_ms * MS))
        for name, node in heard.nodes.items()
    }
    run = run_of(replace(heard, nodes=nodes), RUN_NS, **way)
    if not short:
        assert set(run.receive_overruns.values()) <= {0}


def test_a_frame_after_one_of_a_faster_clock_ends_a_little_sooner_than_it_is_long() -> None:
    """Its own intermission comes after its end; the one before it is shorter by what the other clock is fast."""
    tolerances = {"a": Fraction(0), "b": Fraction(15, 1000), "c": Fraction(0)}
    short = message_of("short", 0x555, "a", 0, 10 * MS, offset_ns=1)
    messages = [short, message_of("long", 0x554, "b", 8, 10 * MS)]
    messages = [replace(message, receivers=("c",)) for message in messages]
    catalogue = catalogue_of(messages, 250_000, tolerances)
    run = run_of(catalogue, 9 * MS, drift={"b": tolerances["b"]}, payload=fixed({"long": LONG_BYTES}))
    ends_ns = run.traffic.end_ns
    apart_ns = int(ends_ns[1] - ends_ns[0])
    shortest_ns = shortest_frame_bits(short) * 4_000
    assert apart_ns < shortest_ns
    receiver = replace(catalogue.nodes["c"], receive=Receive(1, apart_ns + 1))
    cases = worst_cases(catalogue, longest_frames(catalogue)).cases
    assert most_between_reads(catalogue, receiver, cases) == 2


# What follows shows that the properties above can fail: each is a set in which a run takes longer than the bound for
# another controller than the one it has.

LONG_BYTES = b"\x3c" * 8


def told(catalogue: Catalogue, **transmits: Transmit | None) -> Catalogue:
    nodes = {name: replace(node, transmit=transmits.get(name, node.transmit)) for name, node in catalogue.nodes.items()}
    return replace(catalogue, nodes=nodes)


def held_up() -> Catalogue:
    """``urgent`` is queued in `a` after three others of `a`, while `b` and `c` fill the bus with what is between."""
    messages = [message_of("urgent", 0x010, "a", 1, 50 * MS, offset_ns=200_000)]
    messages += [message_of("busy", 0x080, "b", 8, 50 * MS)]
    messages += [message_of(f"own{number}", 0x700 + number, "a", 8, 50 * MS) for number in range(3)]
    messages += [
        message_of(f"other{number}", 0x100 + number, "bc"[number % 2], 8, 50 * MS, offset_ns=100_000)
        for number in range(8)
    ]
    return catalogue_of(messages, 250_000, dict.fromkeys("abc", Fraction(0)))


WRONG = [
    (Transmit(Queue.FIFO, depth=10), Transmit()),
    (Transmit(Queue.FIFO, depth=10), Transmit(Queue.BUFFERS, buffers=3, abort=True)),
    (Transmit(Queue.FIFO, depth=10), Transmit(Queue.BUFFERS, buffers=4)),
    (Transmit(Queue.BUFFERS, buffers=1), Transmit()),
    (Transmit(Queue.BUFFERS, buffers=3), Transmit(Queue.BUFFERS, buffers=3, abort=True)),
    (Transmit(Queue.BUFFERS, buffers=2), Transmit(Queue.BUFFERS, buffers=4)),
]


@pytest.mark.parametrize(("true", "wrong"), WRONG, ids=str)
def test_the_bound_of_another_controller_is_exceeded(true: Transmit, wrong: Transmit) -> None:
    catalogue = told(held_up(), a=true)
    taken_ns = responses(run_of(catalogue, 45 * MS), "urgent").max()
    assert bound_ns(told(catalogue, a=wrong), "urgent") < taken_ns <= bound_ns(catalogue, "urgent")


def test_what_was_held_up_in_a_fifo_comes_all_at_once() -> None:
    """Three frames of ``often`` wait behind ``own``, and go before ``last`` of another node one after the other."""
    messages = [message_of("own", 0x700, "a", 8, 100 * MS), message_of("often", 0x010, "a", 8, 5 * MS)]
    messages += [message_of(f"between{number}", 0x100 + number, "c", 8, 100 * MS) for number in range(24)]
    messages += [message_of("last", 0x050, "b", 8, 100 * MS, offset_ns=90 * MS)]
    catalogue = catalogue_of(messages, 250_000, dict.fromkeys("abc", Fraction(0)))
    true = told(catalogue, a=Transmit(Queue.FIFO, depth=30))
    run = run_of(true, 50 * MS)
    just_after_ns = int(run.start_ns[run.message_index == 0][0]) + 4_000
    moved = replace(true, messages=(*messages[:-1], replace(messages[-1], offset_ns=just_after_ns)))
    taken_ns = responses(run_of(moved, 50 * MS), "last").max()
    assert bound_ns(catalogue, "last") < taken_ns <= bound_ns(true, "last")


@pytest.mark.parametrize("code", [9, 12, 15])
def test_the_longest_frame_with_another_length_code_is_another(code: int) -> None:
    """Told code 8, the analysis misses the longest frame of some identifier."""
    for identifier in range(0x800):
        plain = message_of("m", identifier, "a", 8, 50 * MS)
        coded = replace(plain, long_code=code)
        pair = [catalogue_of([message], 250_000, dict.fromkeys("ab", Fraction(0))) for message in (plain, coded)]
        if bound_ns(pair[0], "m") < bound_ns(pair[1], "m"):
            break
    worst: Frame = longest_frame(identifier, any_payload(8), dlc=code)
    run = run_of(pair[1], 45 * MS, payload=fixed({"m": worst.data}))
    assert bound_ns(pair[0], "m") < responses(run, "m").max() == bound_ns(pair[1], "m")


def test_one_order_of_priority_for_all_formats() -> None:
    """A base data frame goes before a base remote frame, and both before an extended frame that begins alike.

    Told any other order, the analysis gives one of them a bound that the run exceeds.
    """
    data = message_of("data", 0x123, "a", 8, 50 * MS, irregular=True)
    remote = replace(data, name="remote", sender="b", requests="data", irregular=False)
    messages = [
        remote,
        message_of("extended", 0x123 << 18, "a", 8, 50 * MS, extended=True),
        message_of("base", 0x122, "c", 8, 50 * MS),
        replace(data, offset_ns=0),
    ]
    catalogue = catalogue_of(messages, 250_000, dict.fromkeys("abc", Fraction(0)))
    run = run_of(catalogue, 45 * MS, phases="aligned", payload=fixed({"extended": LONG_BYTES, "base": LONG_BYTES}))
    names = [catalogue.messages[index].name for index in run.message_index]
    assert names == ["base", "remote", "data", "extended"]
    bus = on_the_bus(catalogue, longest_frames(catalogue))
    right = {stream.name: stream for stream in bus.placed}
    assert sorted(right, key=lambda name: right[name].priority) == ["base", "data", "remote", "extended"]
    swapped = [replace(right["extended"], priority=0), *(right[name] for name in ("base", "data", "remote"))]
    wrong = response_bounds(swapped, bit=bus.bit)[0]
    assert isinstance(wrong, Bound)
    assert responses(run, "extended").max() > -(-wrong.response // bus.ticks)
    assert responses(run, "extended").max() <= bound_ns(catalogue, "extended")
