"""Which of the frames that compete goes first."""

from itertools import permutations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from busdesign.catalogue.model import Message, Role
from busdesign.wire.frame import Frame, lay_out
from tests.networks import MS
from tests.virtual.small_buses import bus, byte, data, message, order, played, rows

# From the strongest to the weakest: the base frame wins at RTR/SRR and IDE where the leading eleven bits are equal.
STRONGEST_FIRST = [
    message("base_0", 0x000, "a"),
    message("extended_0", 0x0000_0000, "b", extended=True),
    message("extended_1", 0x0000_0001, "c", extended=True),
    message("base_1", 0x001, "a"),
    message("extended_1_0", 0x0004_0000, "b", extended=True),
    message("base_7ff", 0x7FF, "c"),
    message("extended_last", 0x1FFF_FFFF, "a", extended=True),
]


def test_eleven_and_twenty_nine_bits_on_one_bus() -> None:
    expected = [message.name for message in STRONGEST_FIRST]
    for messages in (STRONGEST_FIRST, STRONGEST_FIRST[::-1], STRONGEST_FIRST[3:] + STRONGEST_FIRST[:3]):
        assert order(played(bus(*messages), 20 * MS, phases="aligned")) == expected


@given(identifiers=st.sets(st.tuples(st.booleans(), st.integers(0, 0x1FFF_FFFF)), min_size=2, max_size=8))
@settings(max_examples=40)
def test_the_order_is_that_of_the_bits_on_the_pair(identifiers: set[tuple[bool, int]]) -> None:
    """Dominant beats recessive, bit by bit: the frames sorted by their bits as text."""
    messages = {
        (extended, identifier if extended else identifier & 0x7FF): message(
            f"m{number}", identifier if extended else identifier & 0x7FF, "abc"[number % 3], length=0, extended=extended
        )
        for number, (extended, identifier) in enumerate(identifiers)
    }
    run = played(bus(*messages.values()), 50 * MS)
    assert order(run) == [found.name for found in sorted(messages.values(), key=bits_on_the_pair)]


def bits_on_the_pair(message: Message) -> str:
    assert message.identifier is not None
    return lay_out(Frame(message.identifier, extended=message.extended)).bits


@pytest.mark.parametrize("ranking", list(permutations(range(3))))
def test_within_one_node_the_smallest_identifier_goes_first_too(ranking: tuple[int, ...]) -> None:
    catalogue = bus(
        message("blocks", 0x7FF, "b"),
        *(message(f"m{rank}", 0x100 + rank, "a", offset_ns=100_000) for rank in ranking),
    )
    assert order(played(catalogue, 5 * MS)) == ["blocks", "m0", "m1", "m2"]


def test_equal_messages_go_first_in_first_out() -> None:
    """Released every 0.1 ms while a frame takes over 0.2 ms: they queue, and their counters tell the order."""
    counter = byte("counter", role=Role.COUNTER, modulo=256)
    catalogue = bus(message("m", 0x100, "a", signals=[counter], period=100_000))
    run = played(catalogue, 3 * MS)
    assert len(rows(run, "m")) >= 10
    assert [sent[0] for sent in data(run, "m")] == list(range(len(rows(run, "m"))))
    assert list(run.release_ns) == [number * 100_000 for number in range(len(rows(run, "m")))]
    assert run.waiting[-1] > run.waiting[1] > 0


def test_a_backlog_lets_a_stronger_one_pass_and_goes_on_in_order() -> None:
    catalogue = bus(
        message("often", 0x200, "a", period=100_000),
        message("strong", 0x100, "b", offset_ns=1_000_000),
    )
    run = played(catalogue, 3 * MS)
    assert [int(time) for time in run.release_ns[rows(run, "often")]] == sorted(run.release_ns[rows(run, "often")])
    row = rows(run, "strong")[0]
    assert run.start_ns[row - 1] < 1_000_000 < run.start_ns[row]
